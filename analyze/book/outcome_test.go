package book

import (
	"strings"
	"testing"

	"limbgauge/analyze/health"
	"limbgauge/rig"
	"limbgauge/rig/record"
)

// kneeUnder is a run of a knee at a voltage and with a load of so much.
func kneeUnder(id, dayN int, revision string, volts, massKg float64) record.Info {
	i := kneeInfo(id, dayN, revision)
	i.Conditions.SupplySetV = &volts
	s := &i.Joints[0].Setup
	s.Servo.Rated = []rig.Rating{{Volts: 5, StallNm: 1.2, NoLoadDegPerS: 350, StallA: 2}, {Volts: 6, StallNm: 1.4, NoLoadDegPerS: 420, StallA: 2.4}}
	s.Load = &rig.Load{MassKg: massKg, LeverM: 0.11, InertiaKgM2: 0.0036}
	return i
}

func useJoint(v float64) health.Joint {
	return judgedKnee(health.NearStall, v > 0.5, "torque_use", health.NoPath, v, 0.01, 0.5)
}

func names(list []Problem) string {
	var out []string
	for _, p := range list {
		out = append(out, Ref{p.Joint, p.Cause}.String())
	}
	return strings.Join(out, " ")
}

// Each fate a problem may have under a revision, all in one bench.
func TestOutcomeOfARevision(t *testing.T) {
	b, _ := open(t, t.TempDir())
	ctx := t.Context()
	all := []health.Cause{health.BeltSlack, health.Creep, health.HighFriction, health.ExcessCompliance}
	measure := map[health.Cause]string{health.BeltSlack: "play", health.Creep: "creep", health.HighFriction: "friction", health.ExcessCompliance: "compliance", health.TightSpot: "tight_spot"}
	joint := func(bad ...health.Cause) health.Joint {
		j := found("knee", "", false)
		for _, c := range append(all, health.TightSpot) {
			v := 0.1
			for _, is := range bad {
				if is == c {
					v = 0.9
				}
			}
			one := judgedKnee(c, v > 0.5, measure[c], health.Total, v, 0.01, 0.5)
			j.Measures = append(j.Measures, one.Measures...)
			if v > 0.5 {
				j.Findings = append(j.Findings, one.Findings...)
			}
		}
		return j
	}
	must(t, b.AddRevision(ctx, Revision{Name: "A", Made: day(0)}))
	keepInfo(t, b, kneeInfo(1, 1, "A"), joint(all...))
	must(t, b.AddRevision(ctx, Revision{Name: "B", Parent: "A", Made: day(2)}))
	keepInfo(t, b, kneeInfo(2, 3, "B"), joint(health.Creep, health.TightSpot)) // friction, slack, compliance pass
	must(t, b.AddNote(ctx, Note{When: day(4), Joint: "knee", Cause: health.ExcessCompliance, State: Open, Text: "feels soft"}))
	must(t, b.AddNote(ctx, Note{When: day(5), Joint: "knee", Cause: health.ExcessCompliance, State: Cured, Text: "it does not"}))
	_, err := b.AddService(ctx, Service{When: day(6), What: "oiled", Joint: "knee", Answers: []string{"knee/high_friction"}})
	must(t, err)
	keepInfo(t, b, kneeInfo(3, 7, "B"), joint(health.HighFriction, health.Creep, health.TightSpot))
	check := func(when string) {
		t.Helper()
		o, err := b.OutcomeOf(ctx, "B")
		must(t, err)
		for _, c := range []struct{ what, got, want string }{
			{"cured", names(o.Cured), "knee/belt_slack"},
			{"not cured", names(o.NotCured), "knee/creep knee/high_friction knee/excess_compliance"},
			{"brought", names(o.Brought), "knee/tight_spot"},
			{"waiting", names(o.Waiting), ""}, {"by hand", names(o.ByHand), ""}, {"new", names(o.New), ""}, {"overtaken", names(o.Overtaken), ""},
		} {
			if c.got != c.want {
				t.Errorf("%s: B %s: %q, want %q", when, c.what, c.got, c.want)
			}
		}
	}
	check("as it grew")
	_, err = b.Rebuild(ctx)
	must(t, err)
	check("made anew")
	if o, err := b.OutcomeOf(ctx, "A"); err != nil || names(o.New)+names(o.Brought)+names(o.Cured) != "" {
		t.Errorf("A, which came from nothing: %+v %v", o, err)
	}
	if _, err := b.OutcomeOf(ctx, "Z"); err == nil {
		t.Error("an unknown revision has an outcome")
	}
}

// What a redesign brought, and what the conditions on the stand brought: torque use is a share of the
// stall torque, 1.2 N·m at 5 V and 1.4 at 6 V by the ratings.
func TestBroughtUnderLikeConditions(t *testing.T) {
	for _, c := range []struct {
		name  string
		of    record.Info // the parent's run
		use   float64
		then  record.Info
		shown float64
		want  string
	}{
		{"alike", kneeUnder(1, 1, "A", 5, 0.25), 0.40, kneeUnder(2, 3, "B", 5, 0.25), 0.60, "B"},
		{"heavier by design", kneeUnder(1, 1, "A", 5, 0.25), 0.40, kneeUnder(2, 3, "B", 5, 0.40), 0.60, "B"},
		{"the parent had 6 V, and 0.48 of it is 0.56 at 5 V", kneeUnder(1, 1, "A", 6, 0.25), 0.48, kneeUnder(2, 3, "B", 5, 0.25), 0.60, ""},
		{"the parent had 6 V, and 0.30 of it is 0.35 at 5 V", kneeUnder(1, 1, "A", 6, 0.25), 0.30, kneeUnder(2, 3, "B", 5, 0.25), 0.60, "B"},
		{"the parent was run another way", func() record.Info {
			i := kneeUnder(1, 1, "A", 5, 0.25)
			i.Routine = "quick"
			return i
		}(), 0.30, kneeUnder(2, 3, "B", 5, 0.25), 0.60, ""},
		{"the parent shows it", kneeUnder(1, 1, "A", 5, 0.25), 0.60, kneeUnder(2, 3, "B", 5, 0.25), 0.60, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			b, _ := open(t, t.TempDir())
			must(t, b.AddRevision(t.Context(), Revision{Name: "A", Made: day(0)}))
			keepInfo(t, b, c.of, useJoint(c.use))
			must(t, b.AddRevision(t.Context(), Revision{Name: "B", Parent: "A", Made: day(2)}))
			keepInfo(t, b, c.then, useJoint(c.shown))
			got, err := b.BroughtBy(t.Context(), state(t, b, Ref{"knee", health.NearStall}))
			if err != nil || got != c.want {
				t.Errorf("brought by %q, want %q (%v)", got, c.want, err)
			}
		})
	}
}

// The run that would prove an answer: that of the answer's revision, made as the one that showed it.
func TestProofOf(t *testing.T) {
	b, _ := open(t, t.TempDir())
	ctx := t.Context()
	must(t, b.AddRevision(ctx, Revision{Name: "A", Made: day(0)}))
	keepInfo(t, b, kneeUnder(1, 1, "A", 5, 0.25), useJoint(0.6))
	_, err := b.AddService(ctx, Service{When: day(2), What: "x", Joint: "knee"})
	must(t, err)
	p, err := b.ProofOf(ctx, state(t, b, Ref{"knee", health.NearStall}))
	if err != nil || p.Routine != "assembly" || p.Revision != "A" || p.Like != "0001" || p.Words != "5.00 V, 0.25 kg at 0.11 m" {
		t.Errorf("%+v %v", p, err)
	}
	must(t, b.AddRevision(ctx, Revision{Name: "B", Parent: "A", Made: day(3)}))
	if p, err = b.ProofOf(ctx, state(t, b, Ref{"knee", health.NearStall})); err != nil || p.Revision != "B" || p.Like != "0001" {
		t.Errorf("%+v %v", p, err)
	}
	must(t, b.AddNote(ctx, Note{When: day(4), Joint: "hip", Cause: health.Creep, State: Answered, Text: "x"}))
	if p, err = b.ProofOf(ctx, state(t, b, Ref{"hip", health.Creep})); err != nil || p.Like != "" || p.Routine != "" {
		t.Errorf("opened by hand: %+v %v", p, err)
	}
	// And it does: live through the book, where conditions come from what is stored.
	keepInfo(t, b, kneeUnder(2, 5, "B", 6, 0.25), useJoint(0.48))
	if q := state(t, b, Ref{"knee", health.NearStall}); q.State != Answered || !strings.Contains(q.Changes[len(q.Changes)-1].Why, "still fails: 0.56") {
		t.Errorf("at 6 V: %s %+v", q.State, q.Changes)
	}
	keepInfo(t, b, kneeUnder(3, 6, "B", 5, 0.25), useJoint(0.40))
	if q := state(t, b, Ref{"knee", health.NearStall}); q.State != Cured || q.ClosedBy != "run 0003" {
		t.Errorf("at 5 V: %s %+v", q.State, q.Changes)
	}
}

// A hand may point at a run that shows a problem without naming it: the proof must repeat that run.
func TestOpenedByHandFromARun(t *testing.T) {
	b, _ := open(t, t.TempDir())
	ctx := t.Context()
	must(t, b.AddRevision(ctx, Revision{Name: "A", Made: day(0)}))
	hint := kneeUnder(1, 1, "A", 5, 0.25)
	keepInfo(t, b, hint, useJoint(0.495)) // unproven, not named
	must(t, b.AddNote(ctx, Note{When: day(2), Joint: "knee", Cause: health.NearStall, State: Open, Run: "0001", Text: "look at it"}))
	ref := Ref{"knee", health.NearStall}
	p := state(t, b, ref)
	if p.State != Open || p.Routine != "assembly" || p.Revision != "A" || len(p.Shows) != 1 || len(p.Showing) != 1 || p.Changes[0].Measure == nil || p.Changes[0].Measure.Value != 0.495 {
		t.Fatalf("%+v", p)
	}
	_, err := b.AddService(ctx, Service{When: day(3), What: "x", Joint: "knee"})
	must(t, err)
	keepInfo(t, b, kneeUnder(2, 4, "A", 6, 0.25), useJoint(0.48))
	if p = state(t, b, ref); p.State != Answered || !strings.Contains(p.Changes[len(p.Changes)-1].Why, "0.56") {
		t.Errorf("at another voltage: %+v", p)
	}
	live := dump(t, b)
	_, err = b.Rebuild(ctx)
	must(t, err)
	if again := dump(t, b); again != live {
		t.Errorf("made anew\n%s\nwas\n%s", again, live)
	}
	// A run that is lost leaves the problem as a hand told it.
	must(t, b.AddNote(ctx, Note{When: day(5), Joint: "hip", Cause: health.Creep, State: Open, Run: "0999", Text: "x"}))
	if p = state(t, b, Ref{"hip", health.Creep}); p.State != Open || len(p.Shows) != 0 {
		t.Errorf("%+v", p)
	}
}

// What came between a revision and its proof is told from what the revision did.
func TestOutcomeBeforeTheProof(t *testing.T) {
	for _, c := range []struct {
		name   string
		after  func(t *testing.T, b *Book)
		lists  func(o Outcome) []Problem
		listed string
	}{
		{"nothing yet", func(*testing.T, *Book) {}, func(o Outcome) []Problem { return o.Waiting }, "waiting"},
		{"the old revision again", func(t *testing.T, b *Book) { keepInfo(t, b, kneeInfo(2, 3, "A"), useJoint(0.6)) }, func(o Outcome) []Problem { return o.Waiting }, "waiting"},
		{"closed by hand", func(t *testing.T, b *Book) {
			must(t, b.AddNote(t.Context(), Note{When: day(3), Joint: "knee", Cause: health.NearStall, State: Cured, Text: "x"}))
		}, func(o Outcome) []Problem { return o.ByHand }, "by hand"},
		{"another answer, then the proof", func(t *testing.T, b *Book) {
			_, err := b.AddService(t.Context(), Service{When: day(3), What: "x", Joint: "knee", Answers: []string{"knee/near_stall"}})
			must(t, err)
			keepInfo(t, b, kneeInfo(2, 4, "B"), useJoint(0.3))
		}, func(o Outcome) []Problem { return o.Overtaken }, "overtaken"},
		{"proven by what comes from it", func(t *testing.T, b *Book) {
			must(t, b.AddRevision(t.Context(), Revision{Name: "C", Parent: "B", Made: day(3)}))
			keepInfo(t, b, kneeInfo(2, 4, "C"), useJoint(0.3))
		}, func(o Outcome) []Problem { return o.Cured }, "cured"},
		{"back with what comes from it", func(t *testing.T, b *Book) {
			must(t, b.AddRevision(t.Context(), Revision{Name: "C", Parent: "B", Made: day(3)}))
			keepInfo(t, b, kneeInfo(2, 4, "C"), useJoint(0.6))
		}, func(o Outcome) []Problem { return o.NotCured }, "not cured"},
	} {
		t.Run(c.name, func(t *testing.T) {
			b, _ := open(t, t.TempDir())
			must(t, b.AddRevision(t.Context(), Revision{Name: "A", Made: day(0)}))
			keepInfo(t, b, kneeInfo(1, 1, "A"), useJoint(0.6))
			must(t, b.AddRevision(t.Context(), Revision{Name: "B", Parent: "A", Made: day(2)}))
			c.after(t, b)
			o, err := b.OutcomeOf(t.Context(), "B")
			must(t, err)
			if got := names(c.lists(o)); got != "knee/near_stall" {
				t.Errorf("not among %s: %+v", c.listed, o)
			}
		})
	}
	// One that was cured before and comes back with a redesign is brought by it.
	b, _ := open(t, t.TempDir())
	must(t, b.AddRevision(t.Context(), Revision{Name: "A", Made: day(0)}))
	keepInfo(t, b, kneeInfo(1, 1, "A"), useJoint(0.6))
	_, err := b.AddService(t.Context(), Service{When: day(2), What: "x", Joint: "knee"})
	must(t, err)
	keepInfo(t, b, kneeInfo(2, 3, "A"), useJoint(0.3))
	must(t, b.AddRevision(t.Context(), Revision{Name: "B", Parent: "A", Made: day(4)}))
	keepInfo(t, b, kneeInfo(3, 5, "B"), useJoint(0.6))
	if o, err := b.OutcomeOf(t.Context(), "B"); err != nil || names(o.Brought) != "knee/near_stall" {
		t.Errorf("%+v %v", o, err)
	}
}
