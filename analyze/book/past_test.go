package book

import (
	"encoding/json"
	"fmt"
	"math"
	"testing"
	"time"

	"limbgauge/analyze/health"
	"limbgauge/rig"
	"limbgauge/rig/record"

	"pgregory.net/rapid"
)

// kneeOnBelt is a run of a belt joint that went so far; a negative way was not counted.
func kneeOnBelt(id, dayN int, deg float64, reversals int) record.Info {
	i := kneeInfo(id, dayN, "A")
	j := &i.Joints[0]
	j.Setup.Belt = &rig.Belt{Teeth: 20, PitchMM: 2, Ratio: 1}
	if deg >= 0 {
		j.TravelDeg, j.Reversals = &deg, &reversals
	}
	return i
}

func pastOf(t testing.TB, b *Book, joint string, want ...string) []JointPast {
	t.Helper()
	past, err := b.History(t.Context(), joint, want...)
	must(t, err)
	return past
}

// What a joint and its belt went through, added up by hand: a re-tension changes nothing, a new belt
// begins at nothing, a run without a count makes all later totals a least, and the bare servo moves
// neither.
func TestTravelAddsUp(t *testing.T) {
	b, _ := open(t, t.TempDir())
	ctx := t.Context()
	service := func(at int, joint, part string, replaced bool) {
		_, err := b.AddService(ctx, Service{When: day(at), What: "x", Joint: joint, Part: part, Replaced: replaced})
		must(t, err)
	}
	run := func(i record.Info) { keepInfo(t, b, i, playJoint(0.2, false)) }
	run(kneeOnBelt(1, 1, 100, 5))
	run(kneeOnBelt(2, 2, 50, 3))
	service(3, "knee", "belt", false) // a re-tension
	run(kneeOnBelt(3, 4, 10, 1))
	service(5, "hip", "belt", true) // another joint's
	service(5, "knee", "horn", true)
	bare := kneeOnBelt(4, 6, 1000, 50)
	bare.Conditions.BareServo, bare.Joints[0].Setup.Belt = true, nil
	run(bare)
	service(7, "", "belt", true) // of the whole leg, in the very moment of the next run
	run(kneeOnBelt(5, 7, 7, 2))
	run(kneeOnBelt(6, 8, -1, 0))
	run(kneeOnBelt(7, 9, 3, 1))
	other := kneeOnBelt(8, 10, 5, 4)
	other.Leg = "fore-right"
	run(other)
	want := []string{
		"100 5 0 | 100 5 0", "150 8 0 | 150 8 0", "160 9 0 | 160 9 0", "160 9 0 | none",
		"167 11 0 | 7 2 0", "167 11 1 | 7 2 1", "170 12 1 | 10 3 1", "5 4 0 | 5 4 0",
	}
	check := func(when string) {
		t.Helper()
		past := pastOf(t, b, "knee")
		if len(past) != len(want) {
			t.Fatalf("%s: %d runs, want %d", when, len(past), len(want))
		}
		for n, p := range past {
			words := func(c *Total) string {
				if c == nil {
					return "none"
				}
				return fmt.Sprintf("%g %d %d", c.Deg, c.Reversals, c.Uncounted)
			}
			if got := words(&p.Travel.Joint) + " | " + words(p.Travel.Belt); got != want[n] {
				t.Errorf("%s: run %s: %s, want %s", when, p.Run.ID, got, want[n])
			}
			if (p.Travel.Run == nil) != (p.Run.ID == "0006") {
				t.Errorf("%s: run %s counted %v", when, p.Run.ID, p.Travel.Run)
			}
		}
	}
	check("as it grew")
	_, err := b.Rebuild(ctx)
	must(t, err)
	check("made anew")
}

// The conditions a run states are given back as they stand in run.json, and NaN where it is silent.
func TestHistoryHasConditions(t *testing.T) {
	b, _ := open(t, t.TempDir())
	set, rest, ambient := 6.0, 5.87, 21.5
	silent := kneeInfo(1, 1, "A")
	told := kneeInfo(2, 2, "B")
	told.Conditions.SupplySetV, told.Conditions.AmbientC, told.Stand.SampleHz = &set, &ambient, 250
	told.Joints[0].Setup.Calibration = "2026-03-01-knee-1"
	seen := told
	seen.Run, seen.Started = "0003", day(3)
	seen.Joints = []record.JointInfo{told.Joints[0]}
	seen.Joints[0].SupplyRestV = &rest
	for _, i := range []record.Info{silent, told, seen} {
		keepInfo(t, b, i, found("knee", health.BeltSlack, i.Run == "0002", health.Of("play", health.Total, 0.2, 0.05, "m"), health.Unseen("creep", health.Total, "m", "no hold of 3 min"),
			health.Of("load_torque_peak", health.NoPath, 0.27, 0.01, "m")))
	}
	past := pastOf(t, b, "knee", "creep")
	if len(past) != 3 {
		t.Fatalf("%d runs", len(past))
	}
	if c := past[0].Conditions; !math.IsNaN(c.SampleHz) || !math.IsNaN(c.SupplyV) || !math.IsNaN(c.AmbientC) || c.Calibration != "" || c.Leg != "fore-left" || c.Routine != "assembly" {
		t.Errorf("%+v", c)
	}
	if c := past[1].Conditions; c.SampleHz != 250 || c.SupplyV != 6 || c.AmbientC != 21.5 || c.Calibration != "2026-03-01-knee-1" || c.LoadNm != 0.27 {
		t.Errorf("%+v", c)
	}
	if c := past[2].Conditions; c.SupplyV != 5.87 {
		t.Errorf("what was seen counts more than what was set: %+v", c)
	}
	got, err := json.Marshal(past[1].Conditions.Setup)
	must(t, err)
	want, err := json.Marshal(told.Joints[0].Setup)
	must(t, err)
	if string(got) != string(want) {
		t.Errorf("set-up\n%s, want\n%s", got, want)
	}
	if m := past[0].Measures; len(m) != 1 || m[0].Name != "creep" || m[0].Reason != "no hold of 3 min" || m[0].Status != health.NotObservable || !math.IsNaN(m[0].Value) {
		t.Errorf("asked for creep: %+v", m)
	}
	if len(past[0].Causes) != 0 || len(past[1].Causes) != 1 || past[1].Causes[0] != health.BeltSlack {
		t.Errorf("causes %v, %v", past[0].Causes, past[1].Causes)
	}
	of, err := b.HistoryOf(t.Context(), "knee", []string{"B"})
	must(t, err)
	if len(of) != 3 || len(of[0].Measures) != 0 || len(of[1].Measures) != 3 || len(of[1].Causes) != 1 {
		t.Errorf("of revision B: %+v", of)
	}
}

// Services and revisions in the order of their time, other joints' left out.
func TestEventsOfAJoint(t *testing.T) {
	b, _ := open(t, t.TempDir())
	ctx := t.Context()
	must(t, b.AddRevision(ctx, Revision{Name: "A", Made: day(0)}))
	for _, s := range []Service{{When: day(3), What: "belt", Joint: "knee", Part: "belt", Replaced: true}, {When: day(4), What: "oil", Joint: "hip"}, {When: day(1), What: "all"}} {
		_, err := b.AddService(ctx, s)
		must(t, err)
	}
	must(t, b.AddRevision(ctx, Revision{Name: "B", Parent: "A", Made: day(2), Why: "stiffer"}))
	list, err := b.Events(ctx, "knee")
	must(t, err)
	got := ""
	for _, e := range list {
		got += fmt.Sprintf("%s%d %s %v; ", e.Revision, e.Service, e.What, e.Replaced)
	}
	if want := "A0  false; 3 all false; B0 stiffer false; 1 belt true; "; got != want {
		t.Errorf("%s, want %s", got, want)
	}
}

// Totals only ever grow from run to run but where a new belt comes in, a belt went no further than its
// joint, and each is the plain sum over the runs it speaks of, which is worked out here run by run.
func TestTotalsAreMonotone(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var services []Service
		for range rapid.IntRange(0, 6).Draw(rt, "services") {
			services = append(services, Service{When: day(rapid.IntRange(0, 20).Draw(rt, "day")), Replaced: rapid.Bool().Draw(rt, "replaced"),
				Part: rapid.SampledFrom([]string{"belt", "horn", ""}).Draw(rt, "part"), Joint: rapid.SampledFrom([]string{"knee", "hip", ""}).Draw(rt, "joint")})
		}
		var past []JointPast
		for n := range rapid.IntRange(1, 20).Draw(rt, "runs") {
			var p JointPast
			p.Run = Run{Started: day(n), Leg: "fore-left", Bare: rapid.IntRange(0, 5).Draw(rt, "bare") == 0}
			p.Conditions.Setup.Belt = &rig.Belt{}
			if rapid.IntRange(0, 3).Draw(rt, "counted") > 0 {
				p.Travel.Run = &Count{float64(rapid.IntRange(0, 1000).Draw(rt, "deg")), rapid.IntRange(0, 100).Draw(rt, "reversals")}
			}
			past = append(past, p)
		}
		o := newOdometer("knee", services)
		for n := range past {
			o.add(&past[n])
			sum := func(from time.Time) (t Total) {
				for _, p := range past[:n+1] {
					switch {
					case p.Run.Bare || p.Run.Started.Before(from):
					case p.Travel.Run == nil:
						t.Uncounted++
					default:
						t.Deg, t.Reversals = t.Deg+p.Travel.Run.Deg, t.Reversals+p.Travel.Run.Reversals
					}
				}
				return t
			}
			var newest time.Time
			for _, s := range services {
				if s.Replaced && s.Part == "belt" && s.Joint != "hip" && !s.When.After(past[n].Run.Started) && s.When.After(newest) {
					newest = s.When
				}
			}
			joint, belt := past[n].Travel.Joint, *past[n].Travel.Belt
			if joint != sum(time.Time{}) || belt != sum(newest) {
				rt.Fatalf("run %d: joint %+v, belt %+v, want %+v and %+v", n, joint, belt, sum(time.Time{}), sum(newest))
			}
			if n == 0 {
				continue
			}
			if was := past[n-1].Travel.Joint; joint.Deg < was.Deg || joint.Reversals < was.Reversals || joint.Uncounted < was.Uncounted || belt.Deg > joint.Deg {
				rt.Fatalf("run %d: %+v after %+v, belt %+v", n, joint, was, belt)
			}
		}
	})
}

// Every figure and word comes back as it was, absent ones too.
func TestMeasuresAreKeptExactly(t *testing.T) {
	b, _ := open(t, t.TempDir())
	ms := []health.Measure{
		health.Judge(health.Of("play", health.Transmission, 0.123456789012345, 0.05, "loop"), 0.5),
		health.Of("play", health.Servo, -1e-300, nan, "loop"),
		health.Bound("belt_tension", health.Transmission, health.BoundLow, 33.3, 1, "spans", ""),
		health.Unseen("creep", health.Total, "hold", "no hold"),
		health.Unseen("friction", health.Total, "ramps", "7 ramps of 12"),
		health.Of("lost_samples", health.NoPath, 0, 0, ""),
	}
	ms[0].LimitFrom = "baseline of runs 0001, 0002"
	for n := 1; n <= 3; n++ {
		keepInfo(t, b, kneeInfo(n, n, "A"), found("knee", health.Creep, false, ms...))
	}
	want, err := json.Marshal(ms)
	must(t, err)
	for _, p := range pastOf(t, b, "knee") {
		if got, err := json.Marshal(p.Measures); err != nil || string(got) != string(want) {
			t.Errorf("%v\n%s, want\n%s", err, got, want)
		}
	}
	if p := pastOf(t, b, "knee", "creep", "play")[1]; len(p.Measures) != 3 || !math.IsNaN(p.Conditions.LoadNm) {
		t.Errorf("asked for two: %+v", p.Measures)
	}
	if p := pastOf(t, b, "knee", NoMeasures)[1]; len(p.Measures) != 0 {
		t.Errorf("asked for none: %+v", p.Measures)
	}
}
