package book

import (
	"fmt"
	"maps"
	"slices"
	"time"

	"limbgauge/analyze/alike"
	"limbgauge/analyze/health"
)

// State is where a problem stands.
type State string

// The states. A problem begins open. A revision or service answers it; only a later run that
// compares and passes cures it; a run that shows it again makes it returned.
const (
	Open     State = "open"
	Answered State = "answered"
	Cured    State = "cured"
	Returned State = "returned"
)

// Problem is a finding followed over time. Joint and Cause name it.
type Problem struct {
	ID       int          `json:"id"`
	Joint    string       `json:"joint"`
	Cause    health.Cause `json:"cause"`
	Part     string       `json:"part"`
	Path     health.Path  `json:"path"` // on which the measure failed that showed it; empty when none did
	State    State        `json:"state"`
	Revision string       `json:"revision"` // under which it was first seen
	Routine  string       `json:"routine"`  // of the run that opened it
	Shows    []string     `json:"shows"`    // runs that show it
	// Showing are the runs a proof must repeat one of: since it opened, or came back, the newest of each
	// routine that shows it, oldest first. None where only a hand says it.
	Showing []Showing `json:"showing,omitempty"`
	// Usual is the limit that was missed when it opened where that was the joint's own baseline. A cure must keep it too: what came after may have become usual.
	Usual *float64 `json:"usual,omitempty"`
	// Limit is the stated limit that was missed when it last showed: a limit that was loosened since cures nothing.
	Limit *float64 `json:"limit,omitempty"`
	// AnsweredBy is "revision B" or "service 2"; AnswerRevision is the revision's name, empty for a
	// service. Before are answers that were not proven when the present one came. ClosedBy is the run
	// that cured it.
	AnsweredBy     string   `json:"answered_by"`
	AnswerRevision string   `json:"answer_revision"`
	Before         []string `json:"answered_before,omitempty"`
	ClosedBy       string   `json:"closed_by"`
	Changes        []Change `json:"changes"`
}

// hand is who answered, closed or changed a problem where a person did so in words.
const hand = "hand"

// Showing is a run that shows a problem.
type Showing struct {
	Run      string `json:"run"`
	Revision string `json:"revision"`
	Routine  string `json:"routine"`
}

// Change is one step in a problem's life, with its evidence.
type Change struct {
	When  time.Time `json:"when"`
	State State     `json:"state"` // after the change; unchanged for a remark
	By    string    `json:"by"`
	Why   string    `json:"why"`
	// Measure is the figure it rests on, as it was judged; nil where it rests on none.
	Measure *health.Measure `json:"measure,omitempty"`
}

// Life is every problem of a bench and what is needed to follow them. The zero value is the
// beginning.
type Life struct {
	Problems []Problem
	designs  map[string]design             // by name of the revision
	seen     map[jointRun]alike.Conditions // of runs that show a problem
}

// jointRun names a joint of a run.
type jointRun struct{ run, joint string }

// design is what is to be known of a revision to say which comes from which.
type design struct {
	parent string
	made   time.Time
}

// Step returns the problems after an event. It does not modify its receiver. Events come in the
// order of their time.
func (l Life) Step(e Event) Life {
	out := Life{designs: maps.Clone(l.designs), seen: maps.Clone(l.seen)}
	for _, p := range l.Problems {
		p.Changes, p.Shows = slices.Clone(p.Changes), slices.Clone(p.Shows)
		p.Showing, p.Before = slices.Clone(p.Showing), slices.Clone(p.Before)
		out.Problems = append(out.Problems, p)
	}
	out.take(e)
	return out
}

func (l *Life) take(e Event) {
	switch e := e.(type) {
	case RunEvent:
		for _, j := range e.Joints {
			l.run(e, j)
		}
	case RevisionEvent:
		if l.designs == nil {
			l.designs = map[string]design{}
		}
		l.designs[e.Name] = design{e.Parent, e.When}
		l.answer(e.When, "revision "+e.Name, e.Name, "", e.Answers)
	case ServiceEvent:
		l.answer(e.When, fmt.Sprintf("service %d (%s)", e.ID, e.What), "", e.Joint, e.Answers)
	case NoteEvent:
		l.note(e)
	}
}

// Find returns the problem of that name, nil when there is none.
func (l *Life) Find(r Ref) *Problem {
	for i := range l.Problems {
		if p := &l.Problems[i]; p.Joint == r.Joint && p.Cause == r.Cause {
			return p
		}
	}
	return nil
}

// change writes a step into a problem's life.
func (p *Problem) change(when time.Time, to State, by, why string, m *health.Measure) {
	p.State = to
	p.Changes = append(p.Changes, Change{when, to, by, why, m})
}

func (l *Life) run(e RunEvent, j health.Joint) {
	found := map[health.Cause]bool{}
	hinted := map[health.Cause]bool{} // too little to open a problem, too much to call it cured
	for _, f := range j.Findings {
		switch {
		case f.Severity != health.SeverityWarning && f.Severity != health.SeverityFault:
			hinted[f.Cause] = true
		case !found[f.Cause]: // may be named twice in one run
			found[f.Cause] = true
			l.show(e, j, f)
		}
	}
	for i := range l.Problems {
		p := &l.Problems[i]
		if p.Joint != j.Joint || found[p.Cause] || p.State != Answered || !l.speaksOfCure(p, e.Revision) {
			continue
		}
		pr := l.proves(p, e, j)
		if hinted[p.Cause] {
			pr = proof{why: "still named as a hint"}
		}
		if !pr.ok {
			p.change(e.When, Answered, "run "+e.Run, pr.why, pr.m)
			continue
		}
		if p.AnswerRevision != "" && e.Revision != p.AnswerRevision {
			pr.why += "; seen with revision " + e.Revision + ", which comes from " + p.AnswerRevision
		}
		if len(p.Before) > 0 {
			pr.why += "; which of this and " + joined(p.Before) + " before it did it cannot be told, since that was not proven"
		}
		p.ClosedBy = "run " + e.Run
		p.change(e.When, Cured, p.ClosedBy, pr.why, pr.m)
	}
}

// show takes in that a run found a cause.
func (l *Life) show(e RunEvent, j health.Joint, f health.Finding) {
	ref := Ref{j.Joint, f.Cause}
	p := l.Find(ref)
	m := shownMeasure(f.Cause, j)
	why := "found"
	if len(f.Evidence) > 0 {
		why = f.Evidence[0]
	}
	if p == nil {
		l.Problems = append(l.Problems, Problem{ID: len(l.Problems) + 1, Joint: j.Joint, Cause: f.Cause})
		p = &l.Problems[len(l.Problems)-1]
		p.change(e.When, Open, "run "+e.Run, why, m)
	}
	if len(p.Shows) == 0 {
		p.first(e, f.Part, m)
	}
	p.Shows = append(p.Shows, e.Run)
	if (p.State == Answered || p.State == Cured) && !l.speaksOfReturn(p, e.Revision) {
		return // an old revision on the stand again: it says nothing of the answer
	}
	if p.State == Answered || p.State == Cured {
		p.ClosedBy, p.Showing, p.Before = "", nil, nil
		if r := p.AnswerRevision; r != "" && !l.descends(e.Revision, r) {
			why += "; revision " + e.Revision + " does not come from " + r + ", which cured it"
		}
		p.change(e.When, Returned, "run "+e.Run, why, m)
	}
	if limits(m) && !m.FromBaseline() {
		p.Limit = &m.Limit
	}
	l.repeat(p, e, j)
}

// first takes over from the first run that shows a problem what a hand that opened it may not have said.
func (p *Problem) first(e RunEvent, part string, m *health.Measure) {
	if p.Part == "" {
		p.Part = part
	}
	if p.Path == health.NoPath && m != nil {
		p.Path = m.Path
	}
	p.Revision, p.Routine = e.Revision, e.Routine
	if limits(m) && m.FromBaseline() {
		p.Usual = &m.Limit
	}
}

// repeat makes a run one that a proof must repeat.
func (l *Life) repeat(p *Problem, e RunEvent, j health.Joint) {
	p.Showing = slices.DeleteFunc(p.Showing, func(s Showing) bool { return s.Routine == e.Routine })
	p.Showing = append(p.Showing, Showing{e.Run, e.Revision, e.Routine})
	if c, ok := e.Conditions[j.Joint]; ok {
		if l.seen == nil {
			l.seen = map[jointRun]alike.Conditions{}
		}
		l.seen[jointRun{e.Run, j.Joint}] = seenUnder(c, j)
	}
}

// speaksOfCure says whether a run with a revision can prove the answer to a problem: after a redesign
// only one with that revision, or with one that comes from it, can. After a service it is the revision
// that showed the problem, or one that comes from it, as another one may never have had it. What a hand
// calls answered may be proven with any.
func (l *Life) speaksOfCure(p *Problem, revision string) bool {
	if p.AnswerRevision != "" {
		return l.descends(revision, p.AnswerRevision)
	}
	if len(p.Showing) == 0 || p.AnsweredBy == hand {
		return true
	}
	for _, s := range p.Showing {
		if s.Revision == "" || l.descends(revision, s.Revision) {
			return true
		}
	}
	return false
}

// speaksOfReturn says whether a run that shows a problem brings it back. A revision older than the one
// that answered it shows what is known; a later one shows it again, wherever it comes from.
func (l *Life) speaksOfReturn(p *Problem, revision string) bool {
	if p.AnswerRevision == "" || l.descends(revision, p.AnswerRevision) {
		return true
	}
	at, known := l.designs[revision]
	return p.State == Cured && known && at.made.After(l.designs[p.AnswerRevision].made)
}

// descends says whether a revision is another one or comes from it.
func (l *Life) descends(revision, from string) bool {
	seen := map[string]bool{}
	for r := revision; r != "" && !seen[r]; r = l.designs[r].parent {
		if r == from {
			return true
		}
		seen[r] = true
	}
	return false
}

// Replay follows all events from the beginning, in the order of their time; equal times keep the
// order given.
func Replay(events []Event) Life {
	sorted := slices.Clone(events)
	slices.SortStableFunc(sorted, func(a, b Event) int { return a.at().Compare(b.at()) })
	var l Life
	for _, e := range sorted {
		l.take(e)
	}
	return l
}
