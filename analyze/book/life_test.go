package book

import (
	"slices"
	"strings"
	"testing"

	"limbgauge/analyze/health"
	"pgregory.net/rapid"
)

func ran(n int, revision string, joints ...health.Joint) RunEvent {
	return RunEvent{When: day(n), Run: "r" + string(rune('0'+n/10)) + string(rune('0'+n%10)), Revision: revision, Routine: "assembly", Whole: true, Joints: joints}
}

// The whole life, step by step: what each event makes of the problem.
func TestWholeLife(t *testing.T) {
	steps := []struct {
		name    string
		e       Event
		state   State
		by      string // answered by
		closed  string
		changes int
		shows   int
		why     string // of the last change
	}{
		{"a revision before all", RevisionEvent{When: day(0), Name: "A"}, "", "", "", 0, 0, ""},
		{"healthy", ran(1, "A", playJoint(0.2, false)), "", "", "", 0, 0, ""},
		{"opens", ran(2, "A", playJoint(0.8, true)), Open, "", "", 1, 1, "it shows"},
		{"seen again", ran(3, "A", playJoint(0.9, true)), Open, "", "", 1, 2, "it shows"},
		{"not seen once, without an answer", ran(4, "A", playJoint(0.3, false)), Open, "", "", 1, 2, "it shows"},
		{"answered by a service", ServiceEvent{When: day(5), ID: 1, What: "belt re-tensioned", Joint: "knee"}, Answered, "service 1 (belt re-tensioned)", "", 2, 2, "waits"},
		{"a service on another joint is none", ServiceEvent{When: day(6), ID: 2, What: "oiled", Joint: "hip"}, Answered, "service 1 (belt re-tensioned)", "", 2, 2, "waits"},
		{"unproven", ran(7, "A", playJoint(0.48, false)), Answered, "service 1 (belt re-tensioned)", "", 3, 2, "unproven"},
		{"cut short", func() Event { e := ran(8, "A", playJoint(0.2, false)); e.Whole = false; return e }(), Answered, "service 1 (belt re-tensioned)", "", 4, 2, "did not run to its end"},
		{"another routine", func() Event { e := ran(9, "A", playJoint(0.2, false)); e.Routine = "quick"; return e }(), Answered, "service 1 (belt re-tensioned)", "", 5, 2, "does not compare"},
		{"another joint", ran(10, "A", found("hip", health.BeltSlack, false)), Answered, "service 1 (belt re-tensioned)", "", 5, 2, "does not compare"},
		{"cured", ran(11, "A", playJoint(0.2, false)), Cured, "service 1 (belt re-tensioned)", "run r11", 6, 2, "play passes"},
		{"returned", ran(12, "A", playJoint(0.8, true)), Returned, "service 1 (belt re-tensioned)", "", 7, 3, "it shows"},
		{"answered by B", RevisionEvent{When: day(13), Name: "B", Parent: "A"}, Answered, "revision B", "", 8, 3, "waits"},
		{"A again on the stand", ran(14, "A", playJoint(0.8, true)), Answered, "revision B", "", 8, 4, "waits"},
		{"A again, healthy by luck", ran(15, "A", playJoint(0.2, false)), Answered, "revision B", "", 8, 4, "waits"},
		{"cured by B", ran(16, "B", playJoint(0.2, false)), Cured, "revision B", "run r16", 9, 4, "play passes"},
		{"B brings another", ran(17, "B", playJoint(0.2, false), found("hip", health.HighFriction, true)), Cured, "revision B", "run r16", 9, 4, "play passes"},
		{"C comes from B and shows it", ran(19, "C", playJoint(0.8, true)), Returned, "revision B", "", 10, 5, "it shows"},
	}
	var l Life
	events := []Event{}
	for _, s := range steps {
		if strings.HasPrefix(s.name, "C comes") {
			c := RevisionEvent{When: day(18), Name: "C", Parent: "B"}
			l, events = l.Step(c), append(events, c)
		}
		before := len(l.Problems)
		l, events = l.Step(s.e), append(events, s.e)
		p := l.Find(knee)
		if s.state == "" {
			if p != nil {
				t.Fatalf("%s: a problem out of nothing: %+v", s.name, p)
			}
			continue
		}
		last := p.Changes[len(p.Changes)-1]
		if p.State != s.state || p.AnsweredBy != s.by || p.ClosedBy != s.closed || len(p.Changes) != s.changes || len(p.Shows) != s.shows || !strings.Contains(last.Why, s.why) {
			t.Fatalf("%s: %s, answered by %q, closed by %q, %d changes, %d shows, last %q (had %d problems)",
				s.name, p.State, p.AnsweredBy, p.ClosedBy, len(p.Changes), len(p.Shows), last.Why, before)
		}
	}
	other := l.Find(Ref{"hip", health.HighFriction})
	if other == nil || other.Revision != "B" || other.State != Answered {
		t.Errorf("what B brought and C answers: %+v", other)
	}
	if p := l.Find(knee); p.Part != "belt" || p.Path != health.Transmission || p.Revision != "A" {
		t.Errorf("what opened it is lost: %+v", p)
	}
	for i, c := range l.Find(knee).Changes[1:] {
		if c.When.Before(l.Find(knee).Changes[i].When) || c.By == "" || c.Why == "" {
			t.Errorf("a change without time or evidence: %+v", c)
		}
	}
	// The order in which events are handed over is nothing, their time is all.
	slices.Reverse(events)
	if got := Replay(events); len(got.Problems) != len(l.Problems) || got.Find(knee).State != Returned || len(got.Find(knee).Changes) != 10 {
		t.Errorf("replayed backwards: %+v", got.Problems)
	}
}

// Whatever happens: no cure without an answer before it, no state without evidence, and Step leaves
// what it was given alone.
func TestLifeProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var l Life
		for n := range rapid.IntRange(1, 30).Draw(t, "events") {
			rev := rapid.SampledFrom([]string{"A", "B"}).Draw(t, "revision")
			v := rapid.SampledFrom([]float64{0.2, 0.48, 0.8}).Draw(t, "play")
			var e Event
			switch rapid.IntRange(0, 4).Draw(t, "kind") {
			case 0:
				e = ServiceEvent{When: day(n), ID: n, What: "w", Joint: "knee"}
			case 1:
				e = RevisionEvent{When: day(n), Name: rev, Parent: map[string]string{"B": "A"}[rev]}
			default:
				e = RunEvent{When: day(n), Run: "r", Revision: rev, Routine: "assembly", Whole: rapid.Bool().Draw(t, "whole"), Joints: []health.Joint{playJoint(v, v > 0.5)}}
			}
			was := len(l.Problems)
			changes := 0
			if was > 0 {
				changes = len(l.Problems[0].Changes)
			}
			next := l.Step(e)
			if len(l.Problems) != was || was > 0 && len(l.Problems[0].Changes) != changes {
				t.Fatal("Step changed its receiver")
			}
			l = next
		}
		for _, p := range l.Problems {
			prev := State("")
			for _, c := range p.Changes {
				if c.State == Cured && prev != Answered && prev != Cured || c.State == Returned && prev != Answered && prev != Cured && prev != Returned || c.State == Answered && prev == Cured {
					t.Fatalf("%s after %s: %+v", c.State, prev, p.Changes)
				}
				prev = c.State
			}
			if p.State != prev {
				t.Fatalf("state %s, last change %s", p.State, prev)
			}
		}
	})
}

// Every cause but none has a measure that shows it, or is named here as having none.
func TestEveryCauseIsShownBySomething(t *testing.T) {
	without := []health.Cause{health.None, health.Hunting, health.SensorFault}
	for _, c := range health.Causes() {
		names, ok := shownBy[c]
		if ok == slices.Contains(without, c) {
			t.Errorf("%s: measures %v", c, names)
		}
		for _, n := range names {
			if _, known := health.DefinitionOf(n); !known {
				t.Errorf("%s is shown by %s, which is no measure", c, n)
			}
		}
	}
}
