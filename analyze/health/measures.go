package health

import (
	"math"
	"slices"
)

// Definition is what there is to know about a measure apart from its value.
type Definition struct {
	Name     string
	Unit     string // "1" for a pure number
	Title    string // in words, for tables and pages
	Decimals int    // digits after the point in tables
	// More is true where more is better, so that a limit is the least the builder accepts.
	More bool
	// Source names the standard, book or derivation the measure rests on.
	Source string
}

// Definitions lists every measure, in the order tables show them.
func Definitions() []Definition { return slices.Clone(definitions) }

// definitions is a table that nothing changes: it is looked into for each of very many figures.
var definitions = define()

func define() []Definition {
	const (
		iso230   = "ISO 230-2:2014, clause 3"
		iso9283  = "ISO 9283:1998, clause 7.2"
		loop     = "torque-deflection loop: dead zone, slope and gap fitted together (derived)"
		spans    = "two-span belt statics, T0 = M_s/(2r) (derived)"
		invdyn   = "inverse dynamics by linear least squares (Gautier and Khalil; Swevers et al. 2007)"
		dc       = "torque-speed line of a DC motor scaled to the voltage seen (derived)"
		stepresp = "step response, levels of IEC 60469 (10 % and 90 %)"
		ring     = "matrix pencil, Hua and Sarkar 1990"
		offsets  = "mean difference of repeated stops with its uncertainty (JCGM 100:2008)"
	)
	return []Definition{
		{"reversal_error", "deg", "Reversal error", 3, false, iso230},
		{"mean_reversal", "deg", "Mean reversal", 3, false, iso230},
		{"repeatability", "deg", "Bidirectional repeatability", 3, false, iso230},
		{"systematic_deviation", "deg", "Systematic deviation", 3, false, iso230},
		{"accuracy", "deg", "Accuracy", 3, false, iso230},
		{"pose_repeatability", "deg", "Pose repeatability", 3, false, iso9283},
		{"play", "deg", "Play", 3, false, loop},
		{"compliance", "deg/N·m", "Compliance", 3, false, loop},
		{"span_slack_torque", "N·m", "Torque at which a belt span goes slack", 3, true, spans},
		{"belt_tension", "N", "Belt tension", 1, true, spans},
		{"friction", "N·m", "Friction", 4, false, invdyn},
		{"viscous_friction", "N·m·s/rad", "Viscous friction", 4, false, invdyn},
		{"friction_asymmetry", "N·m", "Friction, difference between directions", 4, false, invdyn},
		{"tight_spot", "N·m", "Tight spot, height", 3, false, "friction by angle, median and MAD (common practice)"},
		{"tight_spot_angle", "deg", "Tight spot, place", 1, false, "friction by angle, median and MAD (common practice)"},
		{"tight_spot_width", "deg", "Tight spot, width", 1, false, "friction by angle, width at half height (common practice)"},
		{"load_torque_peak", "N·m", "Greatest load torque", 3, false, "statics of a point mass"},
		{"load_torque_amplitude", "N·m", "Load torque level with the axis, by the current", 3, false, invdyn},
		{"torque_use", "1", "Torque use", 3, false, dc},
		{"heat_share", "1", "Heating, share of what may last", 2, false, "first-order average of squared current, I²t (derived); copper losses"},
		{"temp_rise", "K", "Temperature rise", 1, false, "greatest reading less the first (definition)"},
		{"stall_time", "s", "Time in stall", 2, false, dc},
		{"supply_sag", "V", "Supply sag", 3, false, "no-load voltage less the lowest seen (definition)"},
		{"offset_step", "deg", "Step of the offset", 3, false, offsets},
		{"offset_step_time", "s", "Time of the step", 2, false, offsets},
		{"creep", "deg", "Creep in the hold", 3, false, "Findley, Lai, Onaran 1976: growth under constant load"},
		{"permanent_set", "deg", "Permanent set after the hold", 3, false, "rest after unloading less rest before (definition)"},
		{"rise_time", "s", "Rise time", 3, false, stepresp},
		{"overshoot", "deg", "Overshoot", 3, false, stepresp},
		{"settle_time", "s", "Settling time", 3, false, stepresp},
		{"natural_frequency", "Hz", "Natural frequency", 2, false, ring},
		{"damping_ratio", "1", "Damping ratio", 3, false, ring},
		{"peak_speed", "deg/s", "Peak speed", 1, true, stepresp},
		{"dead_time", "s", "Dead time", 3, false, stepresp},
		{"bandwidth", "Hz", "Bandwidth, -3 dB", 2, true, "H1 by Welch's method, Welch 1967; Bendat and Piersol, Random Data, chapter 9"},
		{"resonance", "Hz", "Resonance, motor side to joint", 2, false, "H1 by Welch's method, Welch 1967; Bendat and Piersol, Random Data, chapter 9"},
		{"lost_samples", "1", "Lost samples, share of all", 5, false, "count of gaps (definition)"},
	}
}

// DefinitionOf returns the definition of a measure; ok is false for a name that is none.
func DefinitionOf(name string) (d Definition, ok bool) {
	for i := range definitions {
		if definitions[i].Name == name {
			return definitions[i], true
		}
	}
	return Definition{}, false
}

// Undirected says whether neither more nor less of a measure is better: a place, a time, a property of
// the leg, a condition of the run.
func Undirected(name string) bool { return undirected[name] }

var undirected = map[string]bool{
	"tight_spot_angle": true, "offset_step_time": true, "natural_frequency": true, "resonance": true,
	"damping_ratio": true, "load_torque_peak": true, "load_torque_amplitude": true,
}

// Of makes a measured figure; the unit comes from the definitions. It panics on a name that is
// none, which is a mistake of the caller.
func Of(name string, path Path, value, uncertainty float64, method string) Measure {
	d, ok := DefinitionOf(name)
	if !ok {
		panic("health: no measure is called " + name)
	}
	return Measure{Name: name, Path: path, Value: value, Unit: d.Unit, Uncertainty: uncertainty,
		Status: Measured, Limit: math.NaN(), Method: method}
}

// Bound makes a figure that is only known from one side.
func Bound(name string, path Path, status Status, value, uncertainty float64, method, reason string) Measure {
	m := Of(name, path, value, uncertainty, method)
	m.Status, m.Reason = status, reason
	return m
}

// Unseen makes a measure that could not be observed.
func Unseen(name string, path Path, method, reason string) Measure {
	m := Of(name, path, math.NaN(), math.NaN(), method)
	m.Status, m.Reason = NotObservable, reason
	return m
}

// Judge compares a measure with a limit by ISO 14253-1 with the guard band g = U: it passes when
// the whole interval lies on the good side, fails when the whole interval lies on the bad side, and
// is unproven else. A bound decides only on the side it bounds. What was not seen never passes.
// Deviations with a sign are judged by their size. A NaN limit gives no verdict.
func Judge(m Measure, limit float64) Measure {
	if math.IsNaN(limit) {
		return m
	}
	m.Limit, m.Verdict = limit, Unproven
	if m.Status == NotObservable || math.IsNaN(m.Value) {
		return m
	}
	d, _ := DefinitionOf(m.Name)
	u := m.Uncertainty
	if math.IsNaN(u) {
		if m.Status == Measured {
			return m // a figure whose doubt is not known proves nothing
		}
		u = 0 // a bound without more is the bound itself
	}
	lo, hi := m.Value-u, m.Value+u
	switch {
	case m.Status == BoundLow:
		hi = math.Inf(1)
	case m.Status == BoundHigh:
		lo = math.Inf(-1)
	case !d.More && m.Value < 0:
		lo, hi = -hi, -lo
	}
	good, bad := hi <= limit, lo > limit
	if d.More {
		good, bad = lo >= limit, hi < limit
	}
	switch {
	case good:
		m.Verdict = Pass
	case bad:
		m.Verdict = Fail
	}
	return m
}
