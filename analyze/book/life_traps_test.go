package book

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"limbgauge/analyze/alike"
	"limbgauge/analyze/health"
	"limbgauge/rig"
	"pgregory.net/rapid"
)

// under are the conditions of a usual knee at 5 V, changed.
func under(change func(c *alike.Conditions)) map[string]alike.Conditions {
	c := alike.Conditions{Leg: "fore-left", Routine: "assembly", SampleHz: 250, SupplyV: 5, AmbientC: 20, LoadNm: nan,
		Setup: rig.Joint{Name: "knee", RangeDeg: [2]float64{-75, 75}, Load: &rig.Load{MassKg: 0.25, LeverM: 0.11, InertiaKgM2: 0.0036},
			Servo: rig.Servo{Rated: []rig.Rating{{Volts: 5, StallNm: 1.2, NoLoadDegPerS: 350, StallA: 2}, {Volts: 6, StallNm: 1.4, NoLoadDegPerS: 420, StallA: 2.4}}}}}
	if change != nil {
		change(&c)
	}
	return map[string]alike.Conditions{"knee": c}
}

func at(e RunEvent, change func(c *alike.Conditions)) RunEvent {
	e.Conditions = under(change)
	return e
}

func as(e RunEvent, change func(e *RunEvent)) RunEvent { change(&e); return e }

// judgedKnee is a knee with one measure against a limit, with the cause found where is.
func judgedKnee(c health.Cause, is bool, name string, path health.Path, v, u, limit float64) health.Joint {
	m := health.Judge(health.Of(name, path, v, u, "m"), limit)
	m.LimitFrom = health.FromBench
	return found("knee", c, is, m)
}

// Every way in which a run may look like a proof and be none, and those that are.
func TestTraps(t *testing.T) {
	heavy := func(c *alike.Conditions) { c.Setup.Load = &rig.Load{MassKg: 0.5, LeverM: 0.11, InertiaKgM2: 0.0072} }
	volts := func(c *alike.Conditions) { c.SupplyV = 6 }
	use := func(v float64, is bool) health.Joint {
		return judgedKnee(health.NearStall, is, "torque_use", health.NoPath, v, 0.01, 0.5)
	}
	tension := func(s health.Status, v float64, is bool) health.Joint {
		return found("knee", health.BeltTensionLow, is, health.Judge(health.Bound("belt_tension", health.Transmission, s, v, nan, "m", ""), 25))
	}
	give := func(v float64, is bool) health.Joint {
		return judgedKnee(health.ExcessCompliance, is, "compliance", health.Total, v, 0.1, 4.5)
	}
	service := ServiceEvent{When: day(2), ID: 1, What: "tightened", Joint: "knee"}
	a, b := RevisionEvent{When: day(0), Name: "A"}, RevisionEvent{When: day(2), Name: "B", Parent: "A"}
	for _, c := range []struct {
		name   string
		ref    Ref
		events []Event
		state  State
		says   string // in the last change
	}{
		// Conditions: torque use is a share of the stall torque, 1.2 N·m at 5 V and 1.4 at 6 V by the ratings.
		{"more voltage hides it: 0.48 at 6 V is 0.56 at 5 V", Ref{"knee", health.NearStall},
			[]Event{a, at(ran(1, "A", use(0.6, true)), nil), service, at(ran(3, "A", use(0.48, false)), volts)}, Answered, ", limit 0.5; brought to the conditions of run r01"},
		{"more voltage, and enough: 0.40 at 6 V is 0.47 at 5 V", Ref{"knee", health.NearStall},
			[]Event{a, at(ran(1, "A", use(0.6, true)), nil), service, at(ran(3, "A", use(0.40, false)), volts)}, Cured, "brought to the conditions of run r01"},
		{"less load hides it: 0.30 at half the load", Ref{"knee", health.NearStall},
			[]Event{a, at(ran(1, "A", use(0.6, true)), heavy), service, at(ran(3, "A", use(0.30, false)), nil)}, Answered, "still fails: 0.6"},
		{"less load by the redesign is its cure, and said", Ref{"knee", health.NearStall},
			[]Event{a, at(ran(1, "A", use(0.6, true)), heavy), b, at(ran(3, "B", use(0.30, false)), nil)}, Cured, "under the load of its own revision"},
		{"but not more voltage with it", Ref{"knee", health.NearStall},
			[]Event{a, at(ran(1, "A", use(0.6, true)), heavy), b, at(ran(3, "B", use(0.48, false)), volts)}, Answered, "still fails: 0.56"},
		{"no law: compliance through the servo at another voltage", Ref{"knee", health.ExcessCompliance},
			[]Event{a, at(ran(1, "A", give(6, true)), nil), service, at(ran(3, "A", give(3, false)), volts)}, Answered, "the supply is 6.00, not 5.00 V; repeat run r01 as it was made"},
		{"another leg", knee,
			[]Event{a, at(ran(1, "A", playJoint(0.8, true)), nil), service, at(ran(3, "A", playJoint(0.2, false)), func(c *alike.Conditions) { c.Leg = "hind-left" })}, Answered, `leg "hind-left"`},
		{"another calibration, of a figure that hangs on it", Ref{"knee", health.HighFriction},
			[]Event{a, at(ran(1, "A", judgedKnee(health.HighFriction, true, "friction", health.Total, 0.1, 0.01, 0.06)), nil), service,
				at(ran(3, "A", judgedKnee(health.HighFriction, false, "friction", health.Total, 0.03, 0.01, 0.06)), func(c *alike.Conditions) { c.Calibration = "k2" })}, Answered, "the calibration is k2"},
		{"another load, of a figure that is free of it", knee,
			[]Event{a, at(ran(1, "A", playJoint(0.8, true)), nil), b, at(ran(3, "B", playJoint(0.2, false)), heavy)}, Cured, "play passes: 0.200 ± 0.050 deg, limit 0.5"},
		// Which run may speak.
		{"the old revision between answer and mount, by luck", knee,
			[]Event{a, ran(1, "A", playJoint(0.8, true)), b, ran(3, "A", playJoint(0.2, false))}, Answered, "waits"},
		{"the old revision between answer and mount, showing it", knee,
			[]Event{a, ran(1, "A", playJoint(0.8, true)), b, ran(3, "A", playJoint(0.8, true))}, Answered, "waits"},
		{"a child of the answer", knee,
			[]Event{a, ran(1, "A", playJoint(0.8, true)), b, RevisionEvent{When: day(3), Name: "C", Parent: "B"}, ran(4, "C", playJoint(0.2, false))}, Cured, "seen with revision C, which comes from B"},
		{"a sister of the answer shows it while it waits", knee,
			[]Event{a, ran(1, "A", playJoint(0.8, true)), b, RevisionEvent{When: day(3), Name: "C", Parent: "A", Answers: []Ref{{}}}, ran(4, "C", playJoint(0.8, true))}, Answered, "waits"},
		{"a later sister shows it after the cure", knee,
			[]Event{a, ran(1, "A", playJoint(0.8, true)), b, ran(3, "B", playJoint(0.2, false)), RevisionEvent{When: day(4), Name: "C", Parent: "A"}, ran(5, "C", playJoint(0.8, true))}, Returned, "does not come from B"},
		{"after a service, a revision that never had it", knee,
			[]Event{a, RevisionEvent{When: day(0), Name: "B", Parent: "A"}, ran(1, "B", playJoint(0.8, true)), service, ran(3, "A", playJoint(0.2, false))}, Answered, "waits"},
		{"after a service, a revision that comes from it", knee,
			[]Event{a, ran(1, "A", playJoint(0.8, true)), service, RevisionEvent{When: day(3), Name: "B", Parent: "A", Answers: []Ref{{}}}, ran(4, "B", playJoint(0.2, false))}, Cured, "passes"},
		{"a revision that answers nothing", knee,
			[]Event{a, ran(1, "A", playJoint(0.8, true)), RevisionEvent{When: day(2), Name: "B", Parent: "A", Answers: []Ref{{}}}}, Open, "it shows"},
		{"part of the routine", knee,
			[]Event{a, ran(1, "A", playJoint(0.8, true)), service, as(ran(3, "A", playJoint(0.2, false)), func(e *RunEvent) { e.Routine = "quick" })}, Answered, `"quick" does not compare with "assembly" of run r01`},
		{"part of the routine that showed it too", knee,
			[]Event{a, ran(1, "A", playJoint(0.8, true)), as(ran(1, "A", playJoint(0.8, true)), func(e *RunEvent) { e.Routine = "quick" }), service,
				as(ran(3, "A", playJoint(0.2, false)), func(e *RunEvent) { e.Routine = "quick" })}, Cured, "passes"},
		{"what showed it before it came back counts no more", knee,
			[]Event{a, as(ran(1, "A", playJoint(0.8, true)), func(e *RunEvent) { e.Routine = "quick" }), service, as(ran(3, "A", playJoint(0.2, false)), func(e *RunEvent) { e.Routine = "quick" }),
				ran(4, "A", playJoint(0.8, true)), ServiceEvent{When: day(5), ID: 2, What: "x"}, as(ran(6, "A", playJoint(0.2, false)), func(e *RunEvent) { e.Routine = "quick" })}, Answered, "run r04"},
		{"a joint that is not in the run", knee,
			[]Event{a, ran(1, "A", playJoint(0.8, true)), service, ran(3, "A", found("hip", health.Creep, false))}, Answered, "waits"},
		{"not judged", knee,
			[]Event{a, ran(1, "A", playJoint(0.8, true)), service, ran(3, "A")}, Answered, "waits"},
		// Which figure may speak.
		{"the limit was loosened", knee,
			[]Event{a, ran(1, "A", judgedKnee(health.BeltSlack, true, "play", health.Total, 0.8, 0.05, 0.5)), service,
				ran(3, "A", judgedKnee(health.BeltSlack, false, "play", health.Total, 0.8, 0.05, 2))}, Answered, "loosened"},
		{"the limit was tightened", knee,
			[]Event{a, ran(1, "A", judgedKnee(health.BeltSlack, true, "play", health.Total, 0.8, 0.05, 0.5)), service,
				ran(3, "A", judgedKnee(health.BeltSlack, false, "play", health.Total, 0.3, 0.05, 0.2))}, Answered, "still fails"},
		{"the limit was loosened, and it shows by the new one: that counts from then on", knee,
			[]Event{a, ran(1, "A", judgedKnee(health.BeltSlack, true, "play", health.Total, 0.8, 0.05, 0.5)),
				ran(2, "A", judgedKnee(health.BeltSlack, true, "play", health.Total, 2.8, 0.05, 2)), ServiceEvent{When: day(3), ID: 1, What: "x"},
				ran(4, "A", judgedKnee(health.BeltSlack, false, "play", health.Total, 0.9, 0.05, 2))}, Cured, "passes"},
		{"the run's sensor is in doubt", knee,
			[]Event{a, ran(1, "A", playJoint(0.8, true)), service, ran(3, "A", func() health.Joint {
				j := playJoint(0.2, true)
				j.Findings[0].Cause = health.SensorFault
				return j
			}())}, Answered, "sensor fault"},
		{"a bound that keeps the limit", Ref{"knee", health.BeltTensionLow},
			[]Event{a, ran(1, "A", tension(health.BoundHigh, 5, true)), service, ran(3, "A", tension(health.BoundLow, 30, false))}, Cured, "at least 30"},
		{"a bound on the wrong side of the limit", Ref{"knee", health.BeltTensionLow},
			[]Event{a, ran(1, "A", tension(health.BoundHigh, 5, true)), service, ran(3, "A", tension(health.BoundLow, 20, false))}, Answered, "unproven"},
		{"a bound of the other kind", Ref{"knee", health.BeltTensionLow},
			[]Event{a, ran(1, "A", tension(health.BoundHigh, 5, true)), service, ran(3, "A", tension(health.BoundHigh, 60, false))}, Answered, "unproven"},
		{"inside the guard band: 0.46 ± 0.05 against 0.5", knee,
			[]Event{a, ran(1, "A", playJoint(0.8, true)), service, ran(3, "A", playJoint(0.46, false))}, Answered, "unproven"},
		{"no doubt known", knee,
			[]Event{a, ran(1, "A", playJoint(0.8, true)), service, ran(3, "A", judgedKnee(health.BeltSlack, false, "play", health.Transmission, 0.2, nan, 0.5))}, Answered, ""},
		{"no limit any more: which key states it", knee,
			[]Event{a, ran(1, "A", playJoint(0.8, true)), service, ran(3, "A", found("knee", health.BeltSlack, false, health.Of("play", health.Transmission, 0.1, 0.01, "")))}, Answered, "play_deg"},
		{"named while unproven: it is proven on that path", knee,
			[]Event{a, ran(1, "A", playJoint(0.48, true)), service, ran(3, "A", found("knee", health.BeltSlack, false, health.Judge(health.Of("play", health.Servo, 0.1, 0.01, ""), 0.5)))}, Answered, "not measured"},
		// Answers one upon the other.
		{"two answers in a row", knee,
			[]Event{a, ran(1, "A", playJoint(0.8, true)), service, ServiceEvent{When: day(3), ID: 2, What: "oiled", Joint: "knee"}, ran(4, "A", playJoint(0.2, false))}, Cured,
			"which of this and service 1 (tightened) before it did it cannot be told"},
		{"returned, answered again, and cured: the first answer is no part of it", knee,
			[]Event{a, ran(1, "A", playJoint(0.8, true)), service, ran(3, "A", playJoint(0.8, true)), ServiceEvent{When: day(4), ID: 2, What: "oiled", Joint: "knee"}, ran(5, "A", playJoint(0.2, false))}, Cured,
			"play passes: 0.200 ± 0.050 deg, limit 0.5"},
		{"opened by hand, then shown: proven as shown", knee,
			[]Event{a, NoteEvent{When: day(1), Ref: knee, State: Open, Text: "it rattles", Part: "belt", Path: health.Total}, ran(2, "A", judgedKnee(health.BeltSlack, true, "play", health.Total, 0.8, 0.05, 0.5)),
				ServiceEvent{When: day(3), ID: 1, What: "x"}, as(ran(4, "A", judgedKnee(health.BeltSlack, false, "play", health.Total, 0.2, 0.05, 0.5)), func(e *RunEvent) { e.Routine = "quick" })}, Answered, "run r02"},
	} {
		t.Run(c.name, func(t *testing.T) {
			l := Replay(c.events)
			p := l.Find(c.ref)
			if p == nil {
				t.Fatal("no such problem")
			}
			last := p.Changes[len(p.Changes)-1]
			if p.State != c.state || !strings.Contains(last.Why, c.says) {
				t.Errorf("%s by %s: %s", p.State, last.By, last.Why)
			}
			if strings.Contains(c.name, "no part of it") && last.Why != c.says {
				t.Errorf("by %q", last.Why)
			}
			for _, ch := range p.Changes {
				if ch.When.IsZero() || ch.By == "" || ch.Why == "" || ch.State == "" {
					t.Errorf("a change without when, who or why: %+v", ch)
				}
				if ch.State == Cured && ch.By != hand && (ch.Measure == nil || ch.Measure.Verdict != health.Pass) {
					t.Errorf("a cure without a figure: %+v", ch)
				}
			}
		})
	}
}

// Following any beginning of a story step by step is the same as telling it anew.
func TestReplayOfAnyPrefixEqualsStepping(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var l Life
		var events []Event
		revs := []string{""}
		for n := range rapid.IntRange(1, 25).Draw(t, "events") {
			var named []Ref
			if rapid.IntRange(0, 3).Draw(t, "named") == 0 {
				named = []Ref{rapid.SampledFrom([]Ref{knee, {"knee", health.NearStall}, {}}).Draw(t, "ref")}
			}
			var e Event
			switch rapid.IntRange(0, 6).Draw(t, "kind") {
			case 0:
				e = ServiceEvent{When: day(n), ID: n, What: "w", Joint: rapid.SampledFrom([]string{"", "knee", "hip"}).Draw(t, "joint"), Answers: named}
			case 1:
				r := RevisionEvent{When: day(n), Name: fmt.Sprintf("R%d", n), Parent: rapid.SampledFrom(revs).Draw(t, "parent"), Answers: named}
				revs = append(revs, r.Name)
				e = r
			case 2:
				e = NoteEvent{When: day(n), Ref: knee, State: rapid.SampledFrom(append(states, "")).Draw(t, "state"), Text: "seen"}
			default:
				play := rapid.SampledFrom([]float64{0.2, 0.48, 0.8}).Draw(t, "play")
				use := rapid.SampledFrom([]float64{0.3, 0.48, 0.7}).Draw(t, "use")
				j := playJoint(play, play > 0.5)
				stall := judgedKnee(health.NearStall, use > 0.5, "torque_use", health.NoPath, use, 0.01, rapid.SampledFrom([]float64{0.5, 0.8}).Draw(t, "limit"))
				j.Measures, j.Findings = append(j.Measures, stall.Measures...), append(j.Findings, stall.Findings...)
				r := ran(n, rapid.SampledFrom(revs).Draw(t, "revision"), j)
				r.Routine = rapid.SampledFrom([]string{"assembly", "quick"}).Draw(t, "routine")
				r.Whole = rapid.IntRange(0, 4).Draw(t, "whole") > 0
				r.Conditions = under(func(c *alike.Conditions) {
					c.Routine = r.Routine
					c.SupplyV = rapid.SampledFrom([]float64{5, 6, math.NaN()}).Draw(t, "volts")
					c.Setup.Load.MassKg = rapid.SampledFrom([]float64{0.25, 0.5}).Draw(t, "mass")
				})
				e = r
			}
			events = append(events, e)
			l = l.Step(e)
			stepped, err := json.Marshal(l.Problems)
			if err != nil {
				t.Fatal(err)
			}
			told, err := json.Marshal(Replay(events).Problems)
			if err != nil {
				t.Fatal(err)
			}
			if string(stepped) != string(told) {
				t.Fatalf("step by step\n%s\ntold anew\n%s", stepped, told)
			}
		}
		for _, p := range l.Problems {
			for i, c := range p.Changes {
				if c.State == Cured && c.By != hand && (i == 0 || p.Changes[i-1].State != Answered || c.Measure == nil || c.Measure.Verdict != health.Pass) {
					t.Fatalf("a cure without answer or figure: %+v", p.Changes)
				}
			}
		}
	})
}
