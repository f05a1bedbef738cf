package book

import (
	"slices"
	"time"

	"limbgauge/analyze/health"
)

// answer sets problems to wait for a proof of what was done. One that waits already takes the newer
// answer too, so that a cure is told of what brought it; but what comes of itself does not take a
// problem from the revision that waits for its proof, nor a revision from the one it comes from.
func (l *Life) answer(when time.Time, by, revision, joint string, refs []Ref) {
	for i := range l.Problems {
		p := &l.Problems[i]
		if p.State == Cured {
			continue
		}
		named := slices.Contains(refs, Ref{p.Joint, p.Cause})
		if !named && p.State == Answered && p.AnswerRevision != "" && (revision == "" || l.descends(revision, p.AnswerRevision)) {
			continue
		}
		if !named && (len(refs) > 0 || joint != "" && joint != p.Joint) {
			continue
		}
		if p.State == Answered {
			p.Before = append(p.Before, p.AnsweredBy)
		} else {
			p.Before = nil
		}
		p.AnsweredBy, p.AnswerRevision = by, revision
		p.change(when, Answered, by, "waits for a run that proves it", nil)
	}
}

func (l *Life) note(e NoteEvent) {
	p := l.Find(e.Ref)
	if p == nil {
		l.Problems = append(l.Problems, Problem{ID: len(l.Problems) + 1, Joint: e.Ref.Joint, Cause: e.Ref.Cause, Part: e.Part, Path: e.Path, State: Open})
		p = &l.Problems[len(l.Problems)-1]
	}
	if e.Part != "" {
		p.Part = e.Part
	}
	if e.Path != health.NoPath {
		p.Path = e.Path
	}
	to := p.State
	if e.State != "" {
		// What closed it before, or answered it before it came back, no longer stands.
		p.ClosedBy = ""
		switch e.State {
		case Answered:
			if p.State == Answered {
				p.Before = append(p.Before, p.AnsweredBy)
			} else {
				p.Before = nil
			}
			p.AnsweredBy, p.AnswerRevision = hand, ""
		case Cured:
			p.ClosedBy = hand
			if p.State != Answered && p.State != Cured {
				p.AnswerRevision = ""
			}
		}
		to = e.State
	}
	p.change(e.When, to, hand, e.Text, l.pointed(p, e))
}

// pointed takes in the run that a hand says shows a problem, and returns the figure that stands for it
// there, nil for none.
func (l *Life) pointed(p *Problem, e NoteEvent) *health.Measure {
	i := slices.IndexFunc(e.Of.Joints, func(j health.Joint) bool { return j.Joint == p.Joint })
	if e.Run == "" || i < 0 || slices.Contains(p.Shows, e.Run) {
		return nil
	}
	j := e.Of.Joints[i]
	m := shownMeasure(p.Cause, j)
	if len(p.Shows) == 0 {
		part := ""
		for _, f := range j.Findings {
			if f.Cause == p.Cause {
				part = f.Part
			}
		}
		p.first(e.Of, part, m)
	}
	p.Shows = append(p.Shows, e.Run)
	l.repeat(p, e.Of, j)
	return m
}
