package virtual

import (
	"errors"
	"fmt"
	"math"

	"limbgauge/rig"
)

// Cause is a fault that can be put into a Truth. The names are those of the findings.
type Cause struct {
	Name    string
	Unit    string // of the size
	Typical float64
	Meaning string // of the size
	belt    bool
	apply   func(t *Truth, size float64)
}

// eventS is when slips and skips happen unless set otherwise: in the middle of a usual staircase.
const eventS = 45.5

// Causes lists every fault that can be put in, in the order of the findings.
func Causes() []Cause {
	return []Cause{
		{"belt_tension_low", "N", 8, "pretension left in each span", true, func(t *Truth, v float64) {
			t.Belt.TensionN += v - t.Belt.TensionAt(t.Belt.AgeS)
			if v == 0 { // a belt already slack may hide any amount below zero
				t.Belt.TensionN = 0
			}
		}},
		{"belt_slack", "deg", 0.8, "dead zone of a belt without tension, at the joint", true, func(t *Truth, v float64) {
			t.Belt.TensionN, t.Belt.SlackDeg = 0, v
		}},
		{"servo_play", "deg", 2, "gear play of the servo", false, func(t *Truth, v float64) { t.Servo.PlayDeg = v }},
		{"excess_compliance", "deg/N·m", 7, "compliance from motor side to joint, the part's share raised", false, func(t *Truth, v float64) {
			t.Part.DegPerNm = math.Max(1e-3, v-(t.DegPerNm()-t.Part.DegPerNm))
		}},
		{"creep", "deg/N·m", 3, "creep for each tenfold of time under load", false, func(t *Truth, v float64) {
			t.Part.CreepDegPerNm, t.Part.CreepExponent = v, 0
		}},
		{"horn_slip", "deg", 3, "one slip of the horn in the direction of the load", false, func(t *Truth, v float64) {
			t.Horn.Slips = append(t.Horn.Slips[:0:0], Slip{AtS: eventS, Deg: v, AlongLoad: true})
		}},
		{"tooth_skip", "teeth", 1, "teeth skipped at once in the direction of the load", true, func(t *Truth, v float64) {
			t.Belt.Skips = append(t.Belt.Skips[:0:0], Slip{AtS: eventS, Deg: v, AlongLoad: true})
		}},
		{"tight_spot", "N·m", 0.15, "height of the friction at one angle", false, func(t *Truth, v float64) {
			if t.Bearing.TightNm = v; t.Bearing.TightDeg == 0 {
				t.Bearing.TightDeg = t.Load.RangeDeg[0] + 0.3*(t.Load.RangeDeg[1]-t.Load.RangeDeg[0])
			}
		}},
		{"high_friction", "N·m", 0.15, "friction of the bearing", false, func(t *Truth, v float64) { t.Bearing.CoulombNm = v }},
		{"near_stall", "1", 0.75, "peak torque of the load as a share of the stall torque", false, heavier},
		{"stall", "1", 1.15, "peak torque of the load as a share of the stall torque", false, heavier},
		{"supply_sag", "ohm", 1, "resistance of supply and leads", false, func(t *Truth, v float64) { t.Supply.Ohm = v }},
		{"hunting", "deg", 0.8, "peak of the wobble the servo steers by", false, func(t *Truth, v float64) { t.Servo.HuntDeg = v }},
		{"sensor_fault", "deg", 20, "jumps of the joint's sensor, two a second; 0: it freezes after a minute", false, func(t *Truth, v float64) {
			t.Sensors.Joint.Fault = EncoderFault{Kind: Jumping, SizeDeg: v, PerS: 2}
			if v == 0 {
				t.Sensors.Joint.Fault = EncoderFault{Kind: Frozen, FromS: 60}
			}
		}},
		{"lost_samples", "1", 0.05, "share of frames that get lost", false, func(t *Truth, v float64) { t.Line.Loss = math.Min(v, 1) }},
	}
}

// heavier gives the load the mass at which it reaches a share of the stall torque at the supply's
// open voltage. The builder knows what hangs there: ask Truth.Bench for the entry that fits.
func heavier(t *Truth, share float64) {
	ratio := 1.0
	if t.Belt != nil {
		ratio = t.Belt.Ratio
	}
	want := share * t.Servo.StallNm * t.Supply.OpenV / t.Servo.RatedV * ratio
	k := want / t.Load.PeakNm()
	t.Load.MassKg *= k
	t.Load.InertiaKgM2 *= k
}

// ErrNoFault marks a fault that can not be put in.
var ErrNoFault = errors.New("fault can not be put in")

// CauseByName finds a cause.
func CauseByName(name string) (Cause, error) {
	var names []string
	for _, c := range Causes() {
		if c.Name == name {
			return c, nil
		}
		names = append(names, c.Name)
	}
	return Cause{}, fmt.Errorf("%w: %w", ErrNoFault, &rig.NameError{What: "cause", Name: name, Known: names})
}

// WithFault returns a copy of t with a fault of a size; what the size means stands in Causes. It
// fails with ErrNoFault for an unknown cause, a size that is none, and a belt's fault on a joint without.
func WithFault(t Truth, cause string, size float64) (Truth, error) {
	c, err := CauseByName(cause)
	if err != nil {
		return t, err
	}
	if !(size >= 0) || math.IsInf(size, 0) {
		return t, fmt.Errorf("%w: %s of size %g %s, wants 0 or more", ErrNoFault, cause, size, c.Unit)
	}
	if c.belt && t.Belt == nil {
		return t, fmt.Errorf("%w: %s needs a belt, this joint is direct", ErrNoFault, cause)
	}
	t = t.clone()
	c.apply(&t, size)
	return t, nil
}

// clone copies what a Truth points to.
func (t Truth) clone() Truth {
	if t.Belt != nil {
		b := *t.Belt
		b.Skips = append([]Slip(nil), b.Skips...)
		t.Belt = &b
	}
	t.Horn.Slips = append([]Slip(nil), t.Horn.Slips...)
	return t
}
