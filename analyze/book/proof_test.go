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
