package book

import (
	"testing"

	"limbgauge/analyze/health"
)

// What was not seen proves nothing: the problem waits on, with the reason.
func TestNoProofNoCure(t *testing.T) {
	limited := func(m health.Measure) health.Measure { return health.Judge(m, 0.5) }
	for _, c := range []struct {
		name  string
		after health.Joint
	}{
		{"not observable, no limit", found("knee", health.BeltSlack, false, health.Unseen("play", health.Transmission, "", "the torque keeps its sign"))},
		{"not observable, limit", found("knee", health.BeltSlack, false, limited(health.Unseen("play", health.Transmission, "", "the torque keeps its sign")))},
		{"measure not in the run", found("knee", health.BeltSlack, false)},
		{"seen on another path only", found("knee", health.BeltSlack, false, limited(health.Of("play", health.Total, 0.1, 0.01, "")))},
		{"no limit any more", found("knee", health.BeltSlack, false, health.Of("play", health.Transmission, 0.1, 0.01, ""))},
		{"unproven", playJoint(0.48, false)},
		{"still there as a hint", func() health.Joint {
			j := playJoint(0.2, true)
			j.Findings[0].Severity = health.SeverityHint
			return j
		}()},
	} {
		t.Run(c.name, func(t *testing.T) {
			l := Replay([]Event{ran(1, "A", playJoint(0.8, true)), ServiceEvent{When: day(2), ID: 1, What: "tightened", Joint: "knee"}, ran(3, "A", c.after)})
			p := l.Find(knee)
			last := p.Changes[len(p.Changes)-1]
			if p.State != Answered || last.By != "run r03" || last.Why == "" {
				t.Errorf("%s, by %s: %s", p.State, last.By, last.Why)
			}
		})
	}
}

// A second answer before the first is proven takes over: who cured it must be the one that did.
func TestNewAnswerWhileWaiting(t *testing.T) {
	start := []Event{RevisionEvent{When: day(0), Name: "A"}, ran(1, "A", playJoint(0.8, true)),
		ServiceEvent{When: day(2), ID: 1, What: "tightened", Joint: "knee"}, ran(3, "A", playJoint(0.48, false))}
	for name, refs := range map[string][]Ref{"named": {knee}, "by itself": nil} {
		t.Run(name, func(t *testing.T) {
			l := Replay(append(start[:4:4], RevisionEvent{When: day(4), Name: "B", Parent: "A", Answers: refs}, ran(5, "B", playJoint(0.2, false))))
			if p := l.Find(knee); p.State != Cured || p.AnsweredBy != "revision B" {
				t.Errorf("%s, answered by %s", p.State, p.AnsweredBy)
			}
		})
	}
}

// A joint may lose motion on two paths for two causes; each is cured on its own.
func TestTwoCausesOfPlay(t *testing.T) {
	on := func(p health.Path, v float64) health.Measure {
		return health.Judge(health.Of("play", p, v, 0.05, ""), 0.5)
	}
	both := found("knee", health.BeltSlack, true, on(health.Servo, 0.9), on(health.Transmission, 0.8))
	both.Findings = append(both.Findings, health.Finding{Cause: health.ServoPlay, Severity: health.SeverityFault})
	servo := found("knee", health.ServoPlay, true, on(health.Servo, 0.9), on(health.Transmission, 0.1))
	l := Replay([]Event{ran(1, "A", both), ServiceEvent{When: day(2), ID: 1, What: "belt re-tensioned"}, ran(3, "A", servo)})
	if p := l.Find(knee); p.State != Cured || p.Path != health.Transmission {
		t.Errorf("slack: %s on %q", p.State, p.Path)
	}
	if p := l.Find(Ref{"knee", health.ServoPlay}); p.State != Returned || p.Path != health.Servo {
		t.Errorf("servo: %s on %q", p.State, p.Path)
	}
	// Without a motor-side angle all is seen on the total path.
	l = Replay([]Event{ran(1, "A", found("knee", health.ServoPlay, true, on(health.Total, 0.9)))})
	if p := l.Find(Ref{"knee", health.ServoPlay}); p.Path != health.Total {
		t.Errorf("on %q", p.Path)
	}
}

// What a hand says of a problem's state stands, and what answered or closed it before does not.
func TestNotesByHand(t *testing.T) {
	note := func(n int, s State) Event {
		return NoteEvent{When: day(n), Ref: knee, State: s, Text: "seen by hand"}
	}
	b := RevisionEvent{When: day(2), Name: "B"}
	for _, c := range []struct {
		name       string
		events     []Event
		state      State
		by, closed string
	}{
		{"opened", []Event{note(1, "")}, Open, "", ""},
		{"opened as cured", []Event{note(1, Cured)}, Cured, "", "hand"},
		{"a remark", []Event{ran(1, "A", playJoint(0.8, true)), b, note(3, "")}, Answered, "revision B", ""},
		{"cured", []Event{ran(1, "A", playJoint(0.8, true)), b, note(3, Cured)}, Cured, "revision B", "hand"},
		{"opened again", []Event{ran(1, "A", playJoint(0.8, true)), b, ran(3, "B", playJoint(0.2, false)), note(4, Open)}, Open, "revision B", ""},
		{"answered by hand after B failed, proven on A", []Event{ran(1, "A", playJoint(0.8, true)), b, ran(3, "B", playJoint(0.8, true)),
			note(4, Answered), ran(5, "A", playJoint(0.2, false))}, Cured, "hand", "run r05"},
		{"cured by hand, shown again", []Event{note(1, Cured), ran(2, "A", playJoint(0.8, true))}, Returned, "", ""},
		{"cured by hand after B failed, shown by A", []Event{ran(1, "A", playJoint(0.8, true)), b, ran(3, "B", playJoint(0.8, true)),
			note(4, Cured), ran(5, "A", playJoint(0.8, true))}, Returned, "revision B", ""},
		{"opened by hand, cured by a run of any routine", []Event{note(1, ""), note(2, Answered), ran(3, "A", playJoint(0.2, false))}, Cured, "hand", "run r03"},
	} {
		t.Run(c.name, func(t *testing.T) {
			l := Replay(c.events)
			p := l.Find(knee)
			if p == nil || p.State != c.state || p.AnsweredBy != c.by || p.ClosedBy != c.closed {
				t.Errorf("%+v", p)
			}
		})
	}
}

// A run that names a cause twice shows it once.
func TestNamedTwice(t *testing.T) {
	j := playJoint(0.8, true)
	j.Findings = append(j.Findings, j.Findings[0])
	l := Replay([]Event{ran(1, "A", j), ran(2, "A", j)})
	if p := l.Find(knee); len(p.Shows) != 2 || len(p.Changes) != 1 {
		t.Errorf("%+v", p)
	}
}
