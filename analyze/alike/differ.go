package alike

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"limbgauge/analyze/health"
	"limbgauge/rig"
)

// From where on conditions differ, all [common practice].
const (
	loadDiffers    = 0.05 // share of the load torque
	voltsCorrected = 0.01 // share of the voltage from which a law is used
	voltsDiffer    = 0.05 // share of the voltage up to which figures without a law compare
	ambientDiffers = 5.0  // K
	rateDiffers    = 2.0  // factor between sample rates
	angleDiffers   = 1.0  // deg, of an end of the range or of where the load hangs down
)

func routine(at, to Conditions) difference {
	var d difference
	d.refuse = true
	switch {
	case at.Bare != to.Bare && at.Bare:
		d.text = "it speaks of the servo alone"
	case at.Bare != to.Bare:
		d.text = "the other speaks of the servo alone"
	case at.Leg != to.Leg:
		d.text = fmt.Sprintf("it is of leg %q, not of %q", at.Leg, to.Leg)
	case at.Routine != to.Routine:
		d.text = fmt.Sprintf("the routine is %q, not %q", at.Routine, to.Routine)
	}
	return d
}

// loads returns the load torques of both, NaN where they cannot be set beside each other: what set-ups
// state is the torque with the axis level, what a run saw is the greatest in its stretch of angles.
func loads(at, to Conditions) (a, b float64) {
	if at.Setup.Load != nil && to.Setup.Load != nil {
		return at.Setup.Load.Amplitude(), to.Setup.Load.Amplitude()
	}
	if known(at.LoadNm) && known(to.LoadNm) {
		return at.LoadNm, to.LoadNm
	}
	return math.NaN(), math.NaN()
}

func known(v float64) bool { return v > 0 && !math.IsInf(v, 0) }

func load(at, to Conditions) difference {
	a, b := loads(at, to)
	if math.IsNaN(a) {
		one := at.Setup.Load != nil || known(at.LoadNm)
		two := to.Setup.Load != nil || known(to.LoadNm)
		if one != two {
			return difference{text: "the load is known of one only and taken as alike", unknown: true}
		}
		return difference{}
	}
	if math.Abs(a-b) <= loadDiffers*math.Max(a, b) {
		return difference{}
	}
	return difference{text: fmt.Sprintf("the load torque is %.3f, not %.3f N·m", a, b), refuse: true, law: true}
}

func turning(at, to Conditions) difference {
	a, b := inertia(at.Setup.Load), inertia(to.Setup.Load)
	if !known(a) || !known(b) || math.Abs(a-b) <= loadDiffers*math.Max(a, b) {
		return difference{}
	}
	return difference{text: fmt.Sprintf("load.inertia_kg_m2 is %.4g, not %.4g", a, b), refuse: true, law: true}
}

func inertia(l *rig.Load) float64 {
	switch {
	case l == nil:
		return math.NaN()
	case l.InertiaKgM2 == 0:
		return l.MassKg * l.LeverM * l.LeverM
	}
	return l.InertiaKgM2
}

func volts(at, to Conditions) difference {
	a, b := at.SupplyV, to.SupplyV
	if !known(a) || !known(b) {
		return difference{}
	}
	off := math.Abs(a-b) / math.Max(a, b)
	if off <= voltsCorrected {
		return difference{}
	}
	return difference{text: fmt.Sprintf("the supply is %.2f, not %.2f V", a, b), law: true, refuse: off > voltsDiffer}
}

func ambient(at, to Conditions) difference {
	off := at.AmbientC - to.AmbientC
	word := "warmer"
	if off < 0 {
		word = "colder"
	}
	if !(math.Abs(off) > ambientDiffers) { // also where it is not known
		return difference{}
	}
	return difference{text: fmt.Sprintf("it was %.0f K %s", math.Abs(off), word), refuse: true}
}

func rate(at, to Conditions) difference {
	a, b := at.SampleHz, to.SampleHz
	if !known(a) || !known(b) || math.Max(a/b, b/a) < rateDiffers {
		return difference{}
	}
	return difference{text: fmt.Sprintf("it was sampled at %.0f, not %.0f Hz", a, b), refuse: true}
}

func place(at, to Conditions) difference {
	var keys []string
	a, b := at.Setup, to.Setup
	if nameless(a, b) {
		return difference{}
	}
	for i := range a.RangeDeg {
		if math.Abs(a.RangeDeg[i]-b.RangeDeg[i]) > angleDiffers {
			keys = []string{"range_deg"}
		}
	}
	if a.Load != nil && b.Load != nil && math.Abs(a.Load.DownDeg-b.Load.DownDeg) > angleDiffers {
		keys = append(keys, "load.down_deg")
	}
	return difference{text: differs(keys), refuse: true}
}

func calibration(at, to Conditions) difference {
	a, b := named(at.Calibration), named(to.Calibration)
	if a == b {
		return difference{}
	}
	return difference{text: fmt.Sprintf("the calibration is %s, not %s", a, b), refuse: true}
}

func named(calibration string) string {
	if calibration == "" {
		return "none"
	}
	return calibration
}

// setup says in which keys the drive, the belt and the sensors differ, as far as they lie on the path.
// These are what a redesign changes, so figures compare, and it is said.
func setup(a, b rig.Joint, p health.Path) []string {
	if nameless(a, b) {
		return nil
	}
	var keys []string
	add := func(key string, same bool) {
		if !same {
			keys = append(keys, key)
		}
	}
	if p != health.Transmission {
		s, t := a.Servo, b.Servo
		add("servo.rated", slices.Equal(s.Rated, t.Rated))
		add("servo.travel_deg", s.TravelDeg == t.TravelDeg)
		add("servo.pulse_us", s.PulseUS == t.PulseUS)
		add("servo.deadband_us", s.DeadbandUS == t.DeadbandUS)
		add("servo.frame_hz", s.FrameHz == t.FrameHz)
		add("servo.serial", s.Serial == t.Serial)
		add("servo.bare_run", s.BareRun == t.BareRun)
	}
	if p != health.Servo {
		switch s, t := a.Belt, b.Belt; {
		case (s == nil) != (t == nil):
			keys = append(keys, "belt")
		case s != nil:
			add("belt.teeth", s.Teeth == t.Teeth)
			add("belt.pitch_mm", s.PitchMM == t.PitchMM)
			add("belt.ratio", s.Ratio == t.Ratio)
		}
	}
	if p != health.Servo {
		add("sensors.joint_counts", a.Sensors.JointCounts == b.Sensors.JointCounts)
	}
	if p == health.Servo || p == health.Transmission {
		add("sensors.motor_counts", a.Sensors.MotorCounts == b.Sensors.MotorCounts)
	}
	if len(keys) == 0 {
		return nil
	}
	return []string{differs(keys)}
}

// nameless says that a set-up is not known: every joint has a name.
func nameless(a, b rig.Joint) bool { return a.Name == "" || b.Name == "" }

func differs(keys []string) string {
	switch len(keys) {
	case 0:
		return ""
	case 1:
		return keys[0] + " differs"
	}
	return strings.Join(keys, ", ") + " differ"
}
