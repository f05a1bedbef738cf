package budget

import (
	"fmt"
	"math"
	"strings"
)

// verdict compares the body that is stated with the greatest, by the guard band of ISO 14253-1: the
// whole uncertainty of the difference lies on one side, or the answer is unproven.
func (s Setup) verdict(a Answer) Verdict {
	switch {
	case s.Mu > 0 && s.lean() > s.Mu:
		return Slips
	case a.Support.OutM > tipSlack:
		return Tips
	}
	kg, _ := s.demand()
	if kg == 0 {
		return ""
	}
	spare := float64(a.GreatestBodyKg) - s.bodyOf(kg)
	u := math.Hypot(float64(a.BodyU), 2*massU*kg)
	switch {
	case spare <= -u:
		return Fails
	case spare >= u && s.unknown() == "":
		return Holds
	}
	return Unproven
}

// unknown says what is not stated of that which carries the weight: with it the leg holds less, never
// more. The yaw carries none of it.
func (s Setup) unknown() string {
	for _, j := range s.Joints[1:] {
		if !(j.StallNm > 0) {
			return "of the " + j.Name + " no rated torque is stated"
		}
	}
	if s.Leg.Kg() == 0 && s.ScaleKg == 0 {
		return "the mass of the legs is not stated"
	}
	return ""
}

func (s Setup) sentence(a Answer, joint int) string {
	stand := fmt.Sprintf("standing on %d of %d legs", s.Stance, s.Legs)
	if s.Slope > 0 {
		stand += fmt.Sprintf(" on a slope of %.3g deg", s.Slope/rad)
	}
	kg, _ := s.demand()
	own := s.bodyOf(kg)
	most := fmt.Sprintf("%.2f ± %.2f kg", float64(a.GreatestBodyKg), float64(a.BodyU))
	weak := fmt.Sprintf("the %s is the weakest, with the foot %.0f mm out and %.0f mm below the hip", s.Joints[joint].Name, 1000*a.At.ReachM, 1000*a.At.HeightM)
	switch a.Verdict {
	case Slips:
		return fmt.Sprintf("A foot slips: a slope of %.3g deg needs a friction of %.2f, and %.2f is stated.", s.Slope/rad, s.lean(), s.Mu)
	case Tips:
		return fmt.Sprintf("Tips over %s: its centre of mass lies %.0f mm beyond the feet at worst. By torque alone it would hold a body of %s; %s.", stand, 1000*a.Support.OutM, most, weak)
	}
	if float64(a.GreatestBodyKg) <= 0 {
		return fmt.Sprintf("Does not hold even its own legs %s: %s.", stand, weak)
	}
	switch a.Verdict {
	case Holds:
		return fmt.Sprintf("Holds a body of %s %s, its own of %.2f kg with it; %s.", most, stand, own, weak)
	case Fails:
		return fmt.Sprintf("Does not hold its body of %.2f kg %s: %s is the most; %s.", own, stand, most, weak)
	case Unproven:
		if why := s.unknown(); why != "" {
			return fmt.Sprintf("Not shown to hold its body of %.2f kg %s, as %s; by what is stated %s is the most, and %s.", own, stand, why, most, weak)
		}
		return fmt.Sprintf("Not shown to hold its body of %.2f kg %s: %s is the most; %s.", own, stand, most, weak)
	}
	if why := s.unknown(); why != "" {
		return fmt.Sprintf("Holds a body of at most %s %s, and perhaps less, as %s; %s.", most, stand, why, weak)
	}
	return fmt.Sprintf("Holds a body of up to %s %s; %s.", most, stand, weak)
}

func (s Setup) assumptions(seen map[string]Seen) (out []string) {
	why := fmt.Sprintf("at most %.2f of the stall torque: %.2f may last, a leg that stands %.2f of the time may give 1/√%.2f of that, and never more than %.2f [common practice]",
		s.Allowed(), LastingShare, s.Duty, s.Duty, ShortShare)
	if s.Fraction > 0 {
		why = fmt.Sprintf("at most %.2f of the stall torque, as asked for; %.2f for long and %.2f for a short hold are usual [common practice]", s.Fraction, LastingShare, ShortShare)
	}
	out = append(out, why, "joint torque by the transposed Jacobian (Craig, Introduction to Robotics, static forces; from memory), links' own weight included")
	push := "feet do not push sideways"
	if s.sideways() > 0 {
		push = fmt.Sprintf("a foot may push sideways with up to %.2f of its load in the worst direction; legs that stand at once can do that to each other", s.sideways())
	}
	out = append(out, push, s.support().How)
	for _, j := range s.Joints {
		switch x, ok := seen[j.Name]; {
		case !(j.StallNm > 0):
		case ok && x.Volts > 0 && j.FrictionNm > 0:
			out = append(out, fmt.Sprintf("%s: stall torque %.3f N·m at the %.2f V of run %s, friction %.3f N·m of the same run added", j.Name, j.StallNm, x.Volts, x.Run, j.FrictionNm))
		case ok && x.Volts > 0:
			out = append(out, fmt.Sprintf("%s: stall torque %.3f N·m at the %.2f V of run %s; its friction was not seen", j.Name, j.StallNm, x.Volts, x.Run))
		default:
			out = append(out, fmt.Sprintf("%s: stall torque %.3f N·m as rated, no run shows the voltage or the friction: a sagging supply and friction leave less", j.Name, j.StallNm))
		}
	}
	if len(seen) > 0 {
		out = append(out, "on the bench one joint at a time draws current; on the robot all share the supply, which sags further")
	}
	return append(out, "the worst place counts as if the foot stood there all the time", "cold motors: 50 K warmer copper leaves 84 % of the stall torque (copper 0.39 %/K)",
		"statics: a quick gait asks for 1.5 to 2.5 times as much [common practice]")
}

func (s Setup) warnings(a Answer) (out []string) {
	var unrated, massless []string
	for _, j := range s.Joints {
		if !(j.StallNm > 0) {
			unrated = append(unrated, j.Name)
		}
	}
	if len(unrated) > 0 {
		out = append(out, fmt.Sprintf("No rated line is stated in bench.toml of %s: nothing is limited by that here.", strings.Join(unrated, ", ")))
	}
	for i, l := range s.Leg.Links {
		if l.Kg == 0 {
			massless = append(massless, [3]string{"coxa", "femur", "tibia"}[i])
		}
	}
	if len(massless) > 0 {
		out = append(out, fmt.Sprintf("No mass is stated of the %s: legs count as lighter than they are. Add, with your figures:\n%s", strings.Join(massless, ", "), linkLines))
	}
	if a.Support.Line {
		out = append(out, "Two legs support a line only: standing still the robot falls over, so this holds while it trots.")
	}
	if u := a.Support.Uneven; u > a.Share*1.05 {
		out = append(out, fmt.Sprintf("On uneven ground three legs may bear all, and one of them %.2f of the weight instead of %.2f; the greatest body is then %.2f kg.",
			u, a.Share, s.bodyOf((float64(a.GreatestBodyKg)+float64(s.Legs)*s.Leg.Kg())*a.Share/u)))
	}
	if s.BodyKg > 0 && s.ScaleKg > 0 {
		stated := s.BodyKg + float64(s.Legs)*s.Leg.Kg()
		if d := s.ScaleKg - stated; math.Abs(d) > 2*massU*math.Hypot(stated, s.ScaleKg) {
			out = append(out, fmt.Sprintf("The scale shows %.2f kg, body and legs as stated make %.2f kg: %+.2f kg are not accounted for. The scale counts.", s.ScaleKg, stated, d))
		}
	}
	for _, r := range a.Joints {
		if float64(r.SwingSpeed) > 1-float64(r.SwingUse) { // the line from stall to no-load speed
			out = append(out, fmt.Sprintf("The swing asks the %s for %.2f of its speed without load, under %.2f of its stall torque: the motor is no quicker. Step slower or lift less.", r.Joint, float64(r.SwingSpeed), float64(r.SwingUse)))
		}
		if float64(r.SwingUse) > ShortShare {
			out = append(out, fmt.Sprintf("The swing asks the %s for %.2f of its stall torque: step slower, lift less, or move mass towards the body.", r.Joint, float64(r.SwingUse)))
		}
	}
	if a.SwingS > 1e-3 && len(a.Joints) > 0 && math.IsNaN(float64(a.Joints[0].SwingNm)) {
		out = append(out, "The swing leads where the leg does not reach, so its torque is not told: change step_m or lift_m.")
	}
	return out
}
