package diagnose

import (
	"fmt"
	"math"
	"slices"

	"limbgauge/analyze/health"
)

// Evidence is all that the diagnosis may look at.
type Evidence struct {
	Measures []health.Measure
	// Belt, MotorAngle, Current and Load say what the joint has and the run shows.
	Belt, MotorAngle, Current, Load bool
	// BareServo is true where a run of the bare servo tells play and give of servo and transmission
	// apart without a motor-side angle. What moves in the course of a run it does not tell.
	BareServo bool
	// BareStale is true where that run is so old that the servo may have worn since.
	BareStale bool
	Steps     []Step
	Creep     *Creep
	Hunting   *Hunting
	Sensors   []SensorFault
	// NominalUse is the greatest share of the torque the servo would have at its rated voltage;
	// NaN when unknown. It tells a weak servo from a weak supply.
	NominalUse float64
	// RestVolts is the supply voltage with the joint at rest; 0 when not measured.
	RestVolts float64
	// KneeHidden is true where a span knee below the torques seen cannot be excluded.
	KneeHidden bool
}

// Step is a lasting step of the offset.
type Step struct {
	Path        health.Path
	Size, SizeU float64 // deg
	TimeS       float64
	Teeth       int     // whole teeth of the joint pulley it equals; 0 when none
	ToothRatio  float64 // step in teeth; NaN without a belt
	Spline      string  // which horn spline pitch it equals, "" when none
}

// Creep says how a hold grew.
type Creep struct {
	LogShare, LinearShare float64
	// CurrentChange is the relative change of the current over the hold.
	CurrentChange float64
	Path          health.Path
}

// Hunting is an oscillation at rest that does not die out.
type Hunting struct {
	AmplitudeDeg, Hz float64
	Text             string // how often, and what current and supply do meanwhile, clauses
	// SupplySteady is true where the supply voltage was measured and stays still meanwhile: then it is
	// not the supply. A supply that swings along proves nothing, as the current makes it swing.
	SupplySteady bool
}

// SensorFault is a reading no joint can make.
type SensorFault struct {
	Sensor string // "joint angle", "motor angle", "current", "supply"
	Text   string // what was seen, a clause
	// Repaired is true where the figures do not suffer: what was wrong was taken out, the sensor is
	// not used, or the figures grow wide with it.
	Repaired bool
	Next     string // what to do about this very fault; "" for the usual
}

// apart says whether play and give of servo and transmission are known by themselves.
func (e *Evidence) apart() bool { return e.MotorAngle || e.BareServo }

// staleBare says whether servo and transmission are apart only by what the servo was long before.
func (e *Evidence) staleBare() bool { return !e.MotorAngle && e.BareServo && e.BareStale }

// find returns the first measure of that name on one of the paths, in the order given.
func (e *Evidence) find(name string, paths ...health.Path) (health.Measure, bool) {
	for _, p := range paths {
		for _, m := range e.Measures {
			if m.Name == name && m.Path == p {
				return m, true
			}
		}
	}
	return health.Measure{}, false
}

// stated returns the evidence without verdicts against the joint's own baseline.
func (e *Evidence) stated() *Evidence {
	if !slices.ContainsFunc(e.Measures, health.Measure.FromBaseline) {
		return e
	}
	out := *e
	out.Measures = slices.Clone(e.Measures)
	for i, m := range out.Measures {
		if m.FromBaseline() {
			out.Measures[i].Limit, out.Measures[i].Verdict, out.Measures[i].LimitFrom = math.NaN(), health.NoVerdict, ""
		}
	}
	return &out
}

// say puts a measure into words.
func say(m health.Measure) string {
	d, _ := health.DefinitionOf(m.Name)
	unit := " " + m.Unit
	if m.Unit == "1" {
		unit = ""
	}
	value, pm := health.Figure(m.Value, m.Uncertainty, d.Decimals)
	if pm != "" {
		value += " ± " + pm
	}
	switch m.Status {
	case health.BoundLow:
		value = "at least " + value
	case health.BoundHigh:
		value = "at most " + value
	}
	text := fmt.Sprintf("%s %s%s", called(m), value, unit)
	if !math.IsNaN(m.Limit) {
		if m.Status == health.Measured && m.Value < 0 && !d.More { // what has a sign is judged by its size
			size, _ := health.Figure(-m.Value, m.Uncertainty, d.Decimals)
			text += ", " + size + " in size"
		}
		rel := "at most"
		if d.More {
			rel = "at least"
		}
		switch {
		case !m.FromBaseline():
			text += fmt.Sprintf(", accepted %s %g%s", rel, m.Limit, unit)
		case m.Verdict == health.Fail:
			text += fmt.Sprintf(", worse than this joint was when new or last serviced: %s %g%s by the %s", rel, m.Limit, unit, m.LimitFrom)
		default:
			text += fmt.Sprintf(", usual %s %g%s by the %s", rel, m.Limit, unit, m.LimitFrom)
		}
	}
	return text
}

// called is the name of a measure in words, with its path.
func called(m health.Measure) string {
	d, _ := health.DefinitionOf(m.Name)
	if m.Path == health.NoPath {
		return lower(d.Title)
	}
	return fmt.Sprintf("%s (%s)", lower(d.Title), m.Path)
}

func lower(s string) string {
	if s == "" {
		return s
	}
	return string(s[0]|0x20) + s[1:]
}
