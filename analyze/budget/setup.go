package budget

import (
	"fmt"
	"math"
	"strings"

	"limbgauge/analyze/drive"
	"limbgauge/analyze/health"
	"limbgauge/rig"
)

// Setup is all that the budget is worked out from.
type Setup struct {
	Leg    Leg
	Joints [3]Joint
	Space  Workspace
	Yaw    [2]float64 // how far the leg turns while it stands
	Legs   int
	Stance int     // legs that stand
	Duty   float64 // share of a step each one stands
	Hips   []Point // nil: equal loads
	Com    Point
	// ComHeightM is the height of the centre of mass above the hip axes.
	ComHeightM float64
	BodyKg     float64 // 0 when not known
	ScaleKg    float64 // 0 when not weighed
	Mu         float64 // friction between foot and ground
	Slope      float64
	StepS      float64
	StepM      float64
	LiftM      float64
	// Fraction is the share of the stall torque that may be used; 0 for what Duty allows.
	Fraction float64
	// Zero are the leg's angles at which the bench reads 0.
	Zero Three
	// U are the standard uncertainties that are not the same for all.
	U Doubts
}

// Doubts are standard uncertainties of the inputs.
type Doubts struct {
	FrictionNm Three
	// Scaled is the relative one of a stall torque at a voltage that no rated line has.
	Scaled Three
}

// Seen is what the bench saw of a joint, in its newest whole run.
type Seen struct {
	Run   string
	Volts float64 // the lowest that lasted under load; NaN when not logged
	// Measures as the run was judged.
	Measures []health.Measure
}

// MissingError says what bench.toml lacks for a budget, with the lines to add.
type MissingError struct {
	What  string
	Lines string
}

func (e *MissingError) Error() string { return "the torque budget needs " + e.What + " in bench.toml" }

const (
	geometryLines = `[leg.geometry]
l1_m = 0.03      # yaw axis to hip axis
l2_m = 0.06      # hip axis to knee axis
l3_m = 0.10      # knee axis to foot
`
	robotLines = `[robot]
legs = 6
stance_legs = 3  # that stand at least
body_kg = 0.90   # all that is no leg
`
	linkLines = `[leg.link.coxa]
mass_kg = 0.07
centre_m = 0.015
[leg.link.femur]
mass_kg = 0.07
centre_m = 0.03
[leg.link.tibia]
mass_kg = 0.03
centre_m = 0.04
`
)

// Of reads a bench and what was seen of its joints, by name. Where no run shows a voltage the
// greatest rated one counts. The error is a *MissingError where bench.toml says too little.
func Of(b *rig.Bench, seen map[string]Seen) (Setup, error) {
	g, r := b.Leg.Geometry, b.Robot
	switch {
	case g == nil && r == nil:
		return Setup{}, &MissingError{"the leg's geometry and the robot", geometryLines + "\n" + linkLines + "\n" + robotLines}
	case g == nil:
		return Setup{}, &MissingError{"the leg's geometry", geometryLines + "\n" + linkLines}
	case r == nil:
		return Setup{}, &MissingError{"the robot", robotLines}
	}
	s := Setup{
		Leg:   Leg{L: [3]float64{g.L1M, g.L2M, g.L3M}, KneeOnBody: g.KneeMotor == rig.KneeOnBody},
		Space: Workspace{HeightM: g.HeightM, ReachM: g.ReachM},
		Yaw:   [2]float64{g.YawDeg[0] * rad, g.YawDeg[1] * rad},
		Zero:  Three{0, g.HipZeroDeg * rad, g.KneeZeroDeg * rad},
		Legs:  r.Legs, Stance: r.StanceLegs, Duty: r.Duty, Com: Point(r.ComM), ComHeightM: r.ComHeightM,
		BodyKg: r.BodyKg, ScaleKg: r.ScaleKg, Mu: r.Friction, Slope: r.SlopeDeg * rad,
		StepS: r.StepS, StepM: r.StepM, LiftM: r.LiftM,
	}
	for i, l := range []rig.Link{b.Leg.Coxa, b.Leg.Femur, b.Leg.Tibia} {
		s.Leg.Links[i] = Link{l.MassKg, l.CentreM, l.InertiaKgM2}
	}
	for _, h := range r.HipsM {
		s.Hips = append(s.Hips, Point(h))
	}
	for i, name := range []string{g.Yaw, g.Hip, g.Knee} {
		j, ok := b.JointByName(name)
		if !ok {
			s.Joints[i] = Joint{Name: Places()[i], Ratio: 1, Efficiency: 1}
			continue
		}
		s.Joints[i] = s.joint(i, j, g, seen[name])
	}
	return s, nil
}

// Places names the three joints of a leg by where they are.
func Places() [3]string { return [3]string{"yaw", "hip", "knee"} }

const rad = math.Pi / 180

func (s *Setup) joint(i int, j rig.Joint, g *rig.Geometry, seen Seen) Joint {
	out := Joint{Name: j.Name, Ratio: j.Ratio(), Efficiency: 1}
	if j.Belt != nil {
		out.Efficiency, out.PulleyM = g.BeltEfficiency, j.Belt.JointRadiusM()
	}
	if m, ok := seen.measure("friction"); ok && m.Value > 0 {
		out.FrictionNm = m.Value
		if !math.IsNaN(m.Uncertainty) {
			s.U.FrictionNm[i] = m.Uncertainty / 2
		}
	}
	var rated []drive.Rating
	for _, r := range j.Servo.Rated {
		rated = append(rated, drive.Rating(r))
	}
	if len(rated) == 0 {
		return out
	}
	volts := rated[len(rated)-1].Volts
	out.RatedNm = rated[len(rated)-1].StallNm
	if seen.Volts > 0 {
		volts = seen.Volts
	}
	if m, err := drive.At(rated, j.Servo.IdleA, volts); err == nil {
		out.StallNm, out.NoLoad = m.StallNm, m.NoLoadDegPerS*rad
		if m.Basis == drive.Scaled {
			far := math.Inf(1)
			for _, r := range rated {
				far = math.Min(far, math.Abs(volts/r.Volts-1))
			}
			s.U.Scaled[i] = scaledU * far
		}
	}
	return out
}

// Check returns what is wrong with a setup as it came from the command line.
func (s Setup) Check() error {
	var wrong []string
	if s.Stance < 1 || s.Stance > s.Legs {
		wrong = append(wrong, fmt.Sprintf("%d of %d legs on the ground: give 1 to %d", s.Stance, s.Legs, s.Legs))
	}
	if s.Duty < 0 || s.Duty > 1 {
		wrong = append(wrong, fmt.Sprintf("duty %g: give the share of a step that a leg stands, up to 1", s.Duty))
	}
	if s.Slope < 0 || s.Slope > 60*rad {
		wrong = append(wrong, fmt.Sprintf("slope %g deg: give 0 to 60", s.Slope/rad))
	}
	if s.Fraction < 0 || s.Fraction > 1 {
		wrong = append(wrong, fmt.Sprintf("fraction %g: give the share of the stall torque that may be used, above 0 to 1", s.Fraction))
	}
	if s.BodyKg < 0 || s.ScaleKg < 0 {
		wrong = append(wrong, "a mass must not be negative")
	}
	if s.ScaleKg > 0 && s.ScaleKg < float64(s.Legs)*s.Leg.Kg() {
		wrong = append(wrong, fmt.Sprintf("%.3g kg on the scale is less than the %d legs alone, %.3g kg: weigh the whole robot", s.ScaleKg, s.Legs, float64(s.Legs)*s.Leg.Kg()))
	}
	if len(wrong) > 0 {
		return fmt.Errorf("%s", strings.Join(wrong, "; "))
	}
	return nil
}

// Settled fills in what follows from the rest: the legs that stand, the duty.
func (s Setup) Settled() Setup {
	if s.Stance == 0 {
		s.Stance = max(1, s.Legs/2)
		if s.Legs == 4 { // a crawl lifts one leg at a time
			s.Stance = 3
		}
	}
	if s.Duty == 0 {
		s.Duty = float64(s.Stance) / float64(s.Legs)
	}
	return s
}

const (
	// ShortShare and LastingShare are which part of the stall torque a servo gives for a short hold
	// and for long [common practice].
	ShortShare, LastingShare = 0.5, 0.25

	// lengthU and massU are the relative standard uncertainties taken for lengths and masses weighed and
	// measured at the bench, stallU that of a rated stall torque, scaledU that of one scaled with the
	// voltage, per unit of voltage ratio; as in the analysis of a run [common practice; data sheets].
	lengthU, massU, stallU, scaledU = 0.01, 0.015, 0.05, 0.1
	// efficiencyHalf is half the span of what a belt hands on, taken even [common practice].
	efficiencyHalf = 0.03
)

// Allowed returns the share of the stall torque that may be used. A motor's heat goes with the square
// of its torque, so a leg that stands for a share D of the time may give 1/√D of what it may give for
// ever, and at most what it may give for a short while.
func (s Setup) Allowed() float64 {
	if s.Fraction > 0 {
		return s.Fraction
	}
	return math.Min(ShortShare, LastingShare/math.Sqrt(s.Duty))
}
