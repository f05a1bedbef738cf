package diagnose

import (
	"math"
	"slices"
	"strings"
	"testing"

	"limbgauge/analyze/health"
)

// fig is a measured figure judged against a limit; NaN for no limit.
func fig(name string, p health.Path, value, u, limit float64) health.Measure {
	return health.Judge(health.Of(name, p, value, u, "test"), limit)
}

func atLeast(name string, p health.Path, value, limit float64) health.Measure {
	return health.Judge(health.Bound(name, p, health.BoundLow, value, math.NaN(), "test", "test"), limit)
}

func hidden(name string, p health.Path, limit float64) health.Measure {
	return health.Judge(health.Unseen(name, p, "test", "the load pulls one way"), limit)
}

var none = math.NaN()

// joint is evidence of a belt joint with all its sensors; direct and blind change it.
func joint(ms ...health.Measure) *Evidence {
	return &Evidence{Measures: ms, Belt: true, MotorAngle: true, Current: true, Load: true, NominalUse: 0.3, RestVolts: 6}
}

func direct(e *Evidence) *Evidence { e.Belt = false; return e }
func blind(e *Evidence) *Evidence  { e.MotorAngle = false; return e }

func stepped(e *Evidence, s ...Step) *Evidence { e.Steps = s; return e }

// rows of the table, each with evidence made for it alone.
var alone = []struct {
	title string
	cause health.Cause
	e     *Evidence
	also  []health.Cause
}{
	{"angle freezes", health.SensorFault, &Evidence{Sensors: []SensorFault{{Sensor: "joint angle", Text: "stays at one value for 2 s"}}, NominalUse: none}, []health.Cause{health.LostSamples}},
	{"losses over the limit", health.LostSamples, joint(fig("lost_samples", health.NoPath, 0.03, 0, 0.01)), nil},
	{"many losses, no limit", health.LostSamples, joint(fig("lost_samples", health.NoPath, 0.05, 0, none)), nil},
	{"sag over the limit", health.SupplySag, joint(atLeast("supply_sag", health.NoPath, 2.2, 0.6)), nil},
	{"deep sag, no limit", health.SupplySag, joint(atLeast("supply_sag", health.NoPath, 1.0, none)), nil},
	{"stall under little load", health.Stall, joint(fig("stall_time", health.NoPath, 3, 0.1, none)), []health.Cause{health.TightSpot}},
	{"one tooth, motor angle", health.ToothSkip, stepped(joint(), Step{trans, 18.1, 0.2, 40, 1, 1.006, ""}), []health.Cause{health.SensorFault}},
	{"one tooth, no motor angle", health.ToothSkip, stepped(blind(joint()), Step{total, -22.2, 0.2, 40, 1, 0.987, ""}), []health.Cause{health.SensorFault}},
	{"a tooth that is a spline's too", health.ToothSkip, stepped(joint(), Step{trans, 14.4, 0.2, 40, 1, 0.99, "one tooth of a 25-tooth spline"}), []health.Cause{health.HornSlip, health.SensorFault}},
	{"no whole tooth", health.HornSlip, stepped(joint(), Step{trans, 3.06, 0.1, 40, 0, 0.17, ""}), []health.Cause{health.SensorFault}},
	{"one tooth of the spline", health.HornSlip, stepped(direct(joint()), Step{trans, 14.4, 0.1, 40, 0, none, "one tooth of a 25-tooth spline"}), []health.Cause{health.SensorFault}},
	{"a step of a direct joint", health.HornSlip, stepped(blind(direct(joint())), Step{total, 18, 0.1, 40, 0, none, ""}), []health.Cause{health.SensorFault}},
	{"slow slip", health.HornSlip, func() *Evidence {
		e := joint(fig("creep", trans, -0.7, 0.1, 0.5))
		e.Creep = &Creep{LogShare: 0.75, LinearShare: 0.99, CurrentChange: 0.01, Path: trans}
		return e
	}(), []health.Cause{health.Creep}},
	{"creep", health.Creep, func() *Evidence {
		e := joint(fig("creep", trans, -0.7, 0.1, 0.5))
		e.Creep = &Creep{LogShare: 0.95, LinearShare: 0.7, CurrentChange: 0.01, Path: trans}
		return e
	}(), []health.Cause{health.HornSlip}},
	{"tight spot", health.TightSpot, joint(fig("tight_spot", total, 0.15, 0.03, none), fig("tight_spot_angle", total, -33, 1, none)), nil},
	{"friction", health.HighFriction, joint(fig("friction", trans, 0.15, 0.03, 0.06)), nil},
	{"friction, likely", health.HighFriction, joint(fig("friction", trans, 0.08, 0.04, 0.06)), nil},
	{"belt slack, motor angle", health.BeltSlack, joint(fig("play", trans, 0.8, 0.05, 0.5)), []health.Cause{health.HornSlip}},
	{"belt or servo", health.BeltSlack, blind(joint(fig("play", total, 0.9, 0.1, 0.5))), []health.Cause{health.ServoPlay, health.HornSlip}},
	{"servo play, motor angle", health.ServoPlay, joint(fig("play", servo, 2.2, 0.1, 0.5)), []health.Cause{health.HornSlip}},
	{"servo play, direct joint", health.ServoPlay, blind(direct(joint(fig("play", total, 0.9, 0.1, 0.5)))), []health.Cause{health.HornSlip}},
	{"play behind the motor angle of a direct joint", health.ServoPlay, direct(joint(fig("play", trans, 0.9, 0.1, 0.5))), []health.Cause{health.HornSlip}},
	{"belt tension", health.BeltTensionLow, joint(fig("belt_tension", trans, 8, 0.5, 25)), nil},
	{"belt tension, no motor angle", health.BeltTensionLow, blind(joint(fig("belt_tension", total, 8, 1, 25))), nil},
	{"near stall", health.NearStall, joint(fig("torque_use", health.NoPath, 0.72, 0.03, 0.5)), nil},
	{"compliance", health.ExcessCompliance, joint(fig("compliance", trans, 8.8, 0.4, 4.5)), nil},
	{"compliance that may be a slack span", health.ExcessCompliance, func() *Evidence {
		e := blind(joint(fig("compliance", total, 8.8, 0.4, 4.5)))
		e.KneeHidden = true
		return e
	}(), []health.Cause{health.BeltTensionLow}},
	{"compliance that may be a stall", health.ExcessCompliance, blind(joint(fig("compliance", total, 8.8, 0.4, 4.5), hidden("stall_time", health.NoPath, none))), []health.Cause{health.Stall}},
	{"compliance behind the motor angle", health.ExcessCompliance, joint(fig("compliance", trans, 8.8, 0.4, 4.5), hidden("stall_time", health.NoPath, none)), nil},
	{"hunting", health.Hunting, func() *Evidence {
		e := joint()
		e.Hunting = &Hunting{AmplitudeDeg: 0.6, Hz: 7, Text: "in 3 of 3 long rests"}
		return e
	}(), []health.Cause{health.SupplySag, health.ServoPlay}},
}

func TestEveryCauseByItsOwnEvidence(t *testing.T) {
	seen := map[health.Cause]bool{}
	for _, c := range alone {
		seen[c.cause] = true
		t.Run(c.title, func(t *testing.T) {
			got := Diagnose(c.e)
			if len(got) != 1 || got[0].Cause != c.cause {
				t.Fatalf("findings %+v, want %s alone", got, c.cause)
			}
			f := got[0]
			if f.Confidence < 0.5 || f.Confidence > 0.99 || f.Part == "" || f.Next == "" || len(f.Evidence) == 0 {
				t.Errorf("finding %+v", f)
			}
			for _, want := range c.also {
				if !slices.Contains(f.CouldAlsoBe, string(want)) {
					t.Errorf("could also be %v, want %s in it", f.CouldAlsoBe, want)
				}
			}
			if len(f.CouldAlsoBe) != len(c.also) {
				t.Errorf("could also be %v, want %v", f.CouldAlsoBe, c.also)
			}
			if strings.Contains(strings.Join(f.Evidence, " "), "NaN") {
				t.Errorf("evidence speaks of NaN: %q", f.Evidence)
			}
		})
	}
	for _, c := range health.Causes() {
		if c != health.None && !seen[c] {
			t.Errorf("no evidence here for %s", c)
		}
	}
}

// Every cause but none has one row, and every row says what to do with whatever evidence.
func TestTableIsWhole(t *testing.T) {
	rows := map[health.Cause]int{}
	evidence := []*Evidence{{NominalUse: none}}
	for _, c := range alone {
		evidence = append(evidence, c.e)
	}
	known := health.Causes()
	for _, r := range table() {
		rows[r.cause]++
		if !slices.Contains([]health.Severity{health.SeverityHint, health.SeverityWarning, health.SeverityFault}, r.severity) {
			t.Errorf("%s: severity %q", r.cause, r.severity)
		}
		if len(r.forIt) == 0 {
			t.Errorf("%s: no sign speaks for it", r.cause)
		}
		for _, s := range append(slices.Clone(r.forIt), r.against...) {
			if s.weight <= 0 {
				t.Errorf("%s: a sign of weight %g", r.cause, s.weight)
			}
		}
		for _, e := range evidence {
			if r.part(e) == "" || r.next(e) == "" {
				t.Errorf("%s: part %q, next %q", r.cause, r.part(e), r.next(e))
			}
			for _, c := range append(r.explains(e), r.alike(e)...) {
				if !slices.Contains(known, c) || c == health.None || c == r.cause {
					t.Errorf("%s: relation to %q", r.cause, c)
				}
			}
		}
	}
	for _, c := range known {
		want := 1
		if c == health.None {
			want = 0
		}
		if rows[c] != want {
			t.Errorf("%s has %d rows, want %d", c, rows[c], want)
		}
		delete(rows, c)
	}
	if len(rows) > 0 {
		t.Errorf("rows of no known cause: %v", rows)
	}
}
