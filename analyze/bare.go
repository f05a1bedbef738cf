package analyze

import (
	"fmt"
	"math"
	"reflect"
	"strings"

	"limbgauge/analyze/health"
	"limbgauge/analyze/segment"
	"limbgauge/rig"
)

// Bare is what a run of the bare servo says: the belt off, the same kind of weight on the servo's own
// horn, the joint's angle sensor on it. Where a joint has no motor-side angle it stands in for one.
type Bare struct {
	Run     string
	Routine string
	Joint   rig.Joint // as the bare servo was set up
	// PeakNm is the greatest torque of the load on the horn; RestV the supply voltage at rest. NaN
	// where not known.
	PeakNm, RestV float64
	// Stale is true where it was made so long before the run to judge that the servo may have worn since.
	Stale    bool
	Measures []health.Measure // those of the path total, which is the servo's here
}

// BareServo analyses a run of the bare servo.
func BareServo(run, routine string, s *rig.Series, j rig.Joint) (*Bare, error) {
	answer, err := Run(s, j)
	if err != nil {
		return nil, err
	}
	b := &Bare{Run: run, Routine: routine, Joint: j, PeakNm: math.NaN(), RestV: restOf(s, j)}
	for _, m := range answer.Measures {
		if m.Path == health.Total {
			b.Measures = append(b.Measures, m)
		}
		if m.Name == "load_torque_peak" {
			b.PeakNm = m.Value
		}
	}
	return b, nil
}

// restOf is the supply voltage of a series at rest.
func restOf(s *rig.Series, j rig.Joint) float64 {
	s, err := usable(s)
	if err != nil {
		return math.NaN()
	}
	return restVoltsOf(s, segment.Split(s.Time, s.Command, s.Move))
}

const (
	// bareLoad is how much the torque on the servo may differ between both runs, as a share: its
	// give, and what its controller leaves, hang on the load [common practice].
	bareLoad = 0.25
	// bareVolts is how much the voltage may differ, as a share [common practice].
	bareVolts = 0.05
)

// bareParts are the measures that add up along the joint, so that the servo's share can be taken off
// the total, and the power of the ratio that refers it to the joint: an angle of the servo is smaller
// by the ratio there, and the torque behind it was smaller too. Reversal errors do not add up, as each
// is the greatest of its own stops; their means do.
func bareParts() map[string]float64 {
	return map[string]float64{"play": 1, "mean_reversal": 1, "compliance": 2}
}

// incomparable says why a bare-servo run can not be taken off this one, "" where it can.
func (c *subject) incomparable(b *Bare, routine string, peakNm float64) string {
	mine, bare := c.j.Servo, b.Joint.Servo
	mine.BareRun, bare.BareRun = "", ""
	mine.CurrentLaw, bare.CurrentLaw = "", "" // how current is read moves no angle
	if mine.Serial == "" || bare.Serial == "" {
		mine.Serial, bare.Serial = "", ""
	}
	var why []string
	if b.Joint.Belt != nil {
		why = append(why, "it was made with the belt on")
	}
	if !reflect.DeepEqual(mine, bare) {
		why = append(why, "the servo is described otherwise: "+servoWords(bare)+", here "+servoWords(mine))
	}
	if routine != "" && b.Routine != "" && routine != b.Routine {
		why = append(why, fmt.Sprintf("its routine is %s, here it is %s", b.Routine, routine))
	}
	if atServo := peakNm / c.j.Ratio(); !(math.Abs(b.PeakNm-atServo) <= bareLoad*atServo) {
		why = append(why, fmt.Sprintf("the load on the servo reached %s there and %s here: hang about the same torque on its horn", nm(b.PeakNm), nm(atServo)))
	}
	if v := c.restVolts(); math.Abs(b.RestV-v) > bareVolts*v {
		why = append(why, fmt.Sprintf("the supply gave %.2f V there and %.2f V here", b.RestV, v))
	}
	return strings.Join(why, "; ")
}

func nm(v float64) string {
	if math.IsNaN(v) {
		return "an unknown torque"
	}
	return fmt.Sprintf("%.3f N·m", v)
}

func servoWords(s rig.Servo) string {
	text := fmt.Sprintf("%d ratings, %g deg of travel between %d and %d us, dead band %g us", len(s.Rated), s.TravelDeg, s.PulseUS[0], s.PulseUS[1], s.DeadbandUS)
	if s.Serial != "" {
		text += ", serial " + s.Serial
	}
	return text
}

// withoutServo takes the bare servo off the total and adds what is left as the transmission, and the
// servo itself; apart is true where that told their play and give apart. ms is not changed. Of what
// was usual before, the same servo must be taken off: see usualWithout.
func (c *subject) withoutServo(ms []health.Measure, past Past) (out []health.Measure, apart bool, note string) {
	b := past.Bare
	switch {
	case b == nil:
		return ms, false, ""
	case c.s.Motor != nil:
		return ms, false, fmt.Sprintf("The bare-servo run %s was not needed: the motor-side angle tells servo and transmission apart.", b.Run)
	}
	peak := math.NaN()
	for _, m := range ms {
		if m.Name == "load_torque_peak" {
			peak = m.Value
		}
	}
	why := c.incomparable(b, past.Routine, peak)
	parts := bareParts()
	found := map[string]bool{}
	for _, m := range ms {
		out = append(out, m)
		power, ok := parts[m.Name]
		if !ok || m.Path != health.Total {
			continue
		}
		servo := bareMeasure(b, m.Name, math.Pow(c.j.Ratio(), power))
		if why != "" {
			out = append(out, health.Unseen(m.Name, health.Transmission, bareMethod(b), "the bare-servo run is not comparable: "+why))
			continue
		}
		trans := difference(m, servo, bareMethod(b))
		found[m.Name] = trans.Status != health.NotObservable && servo.Status != health.NotObservable
		out = append(out, servo, trans)
	}
	if why != "" {
		return out, false, fmt.Sprintf("The bare-servo run %s was not taken off: it is not comparable because %s.", b.Run, why)
	}
	note = fmt.Sprintf("There is no motor-side angle: servo and transmission are told apart by the bare-servo run %s.", b.Run)
	if b.Stale {
		note += " It is much older than this run: what the servo has worn since shows as if it were the transmission's."
	}
	return out, found["play"] && found["compliance"], note
}

// usualWithout takes the bare servo off earlier runs as off the one to judge, so that their
// transmission compares with it. The servo is the same constant in all of them.
func (c *subject) usualWithout(past Past) (out []PastRun) {
	for _, r := range past.Usual {
		all := PastRun{Run: r.Run}
		for _, m := range r.Measures {
			power, part := bareParts()[m.Name]
			switch {
			case part && m.Path == health.Total:
				servo := bareMeasure(past.Bare, m.Name, math.Pow(c.j.Ratio(), power))
				all.Measures = append(all.Measures, m, difference(m, servo, bareMethod(past.Bare)))
			case !part || m.Path == health.NoPath:
				all.Measures = append(all.Measures, m)
			}
		}
		out = append(out, all)
	}
	return out
}

func bareMethod(b *Bare) string {
	return fmt.Sprintf("total less the bare servo of run %s, uncertainties in quadrature", b.Run)
}

// bareMeasure is the servo's own share of a measure, referred to the joint.
func bareMeasure(b *Bare, name string, by float64) health.Measure {
	method := fmt.Sprintf("total of the bare-servo run %s, referred to the joint", b.Run)
	for _, m := range b.Measures {
		if m.Name == name {
			m.Path, m.Method = health.Servo, method+": "+m.Method
			m.Value, m.Uncertainty = m.Value/by, m.Uncertainty/by
			m.Limit, m.Verdict, m.LimitFrom = math.NaN(), health.NoVerdict, ""
			return m
		}
	}
	return health.Unseen(name, health.Servo, method, "the bare-servo run does not show it")
}

// difference is total less servo. It keeps its sign; one that lies below zero beyond its doubt says
// that both runs do not belong together.
func difference(total, servo health.Measure, method string) health.Measure {
	m := total
	m.Path, m.Method = health.Transmission, method
	unseen := func(why string) health.Measure {
		return health.Unseen(total.Name, health.Transmission, method, why)
	}
	switch {
	case total.Status == health.NotObservable:
		return unseen(total.Reason)
	case servo.Status == health.NotObservable:
		return unseen("the bare-servo run does not show it: " + servo.Reason)
	case servo.Status != health.Measured:
		return unseen("the bare-servo run has only a bound of it")
	}
	m.Value, m.Uncertainty = total.Value-servo.Value, math.Hypot(total.Uncertainty, servo.Uncertainty)
	if total.Status != health.Measured && math.IsNaN(total.Uncertainty) {
		m.Uncertainty = servo.Uncertainty // the bound itself has no doubt
	}
	if total.Name != "mean_reversal" && m.Value+m.Uncertainty < 0 {
		return unseen(fmt.Sprintf("the bare servo shows more of it than the whole joint, by %.3g ± %.2g %s: another servo, or it was not run alike", -m.Value, m.Uncertainty, m.Unit))
	}
	return m
}
