package book

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

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
	Routine  string       `json:"routine"`  // of the run that opened it: what a proof must repeat
	Shows    []string     `json:"shows"`    // runs that show it
	// Usual is the limit that was missed when it opened where that was the joint's own baseline. A cure must keep it too: what came after may have become usual.
	Usual *float64 `json:"usual,omitempty"`
	// AnsweredBy is "revision B" or "service 2"; AnswerRevision is the revision's name, empty for a
	// service. ClosedBy is the run that cured it.
	AnsweredBy     string   `json:"answered_by"`
	AnswerRevision string   `json:"answer_revision"`
	ClosedBy       string   `json:"closed_by"`
	Changes        []Change `json:"changes"`
}

// Change is one step in a problem's life, with its evidence.
type Change struct {
	When  time.Time `json:"when"`
	State State     `json:"state"` // after the change; unchanged for a remark
	By    string    `json:"by"`
	Why   string    `json:"why"`
}

// Event is one of RunEvent, RevisionEvent, ServiceEvent, NoteEvent.
type Event interface{ at() time.Time }

// RunEvent is a judged run.
type RunEvent struct {
	When     time.Time
	Run      string
	Revision string
	Routine  string
	Whole    bool // the routine ran to its end
	Joints   []health.Joint
}

// RevisionEvent is a new state of the design.
type RevisionEvent struct {
	When    time.Time
	Name    string
	Parent  string
	Answers []Ref // empty: all that is open
}

// ServiceEvent is something done to the leg.
type ServiceEvent struct {
	When    time.Time
	ID      int
	What    string
	Joint   string // empty: all joints
	Answers []Ref  // empty: all that is open at the joint
}

// NoteEvent is what a person says of a problem.
type NoteEvent struct {
	When  time.Time
	Ref   Ref
	State State // empty: a remark only
	Text  string
	Part  string
}

// Ref names a problem.
type Ref struct {
	Joint string
	Cause health.Cause
}

func (e RunEvent) at() time.Time      { return e.When }
func (e RevisionEvent) at() time.Time { return e.When }
func (e ServiceEvent) at() time.Time  { return e.When }
func (e NoteEvent) at() time.Time     { return e.When }

// shownBy says which measures show a cause: a cure needs one of them seen and passing, and none of
// them failing or unproven. A cause without measures is cured by a run in which it is not found.
var shownBy = map[health.Cause][]string{
	health.BeltTensionLow:   {"belt_tension"},
	health.BeltSlack:        {"play"},
	health.ServoPlay:        {"play"},
	health.ExcessCompliance: {"compliance"},
	health.Creep:            {"creep"},
	health.HornSlip:         {"offset_step"},
	health.ToothSkip:        {"offset_step"},
	health.TightSpot:        {"tight_spot"},
	health.HighFriction:     {"friction"},
	health.NearStall:        {"torque_use"},
	health.Stall:            {"stall_time", "torque_use"},
	health.SupplySag:        {"supply_sag"},
	health.LostSamples:      {"lost_samples"},
}

// Life is every problem of a bench and what is needed to follow them. The zero value is the
// beginning.
type Life struct {
	Problems []Problem
	parents  map[string]string // revision -> parent
}

// Step returns the problems after an event. It does not modify its receiver. Events come in the
// order of their time.
func (l Life) Step(e Event) Life {
	out := Life{parents: map[string]string{}}
	for k, v := range l.parents {
		out.parents[k] = v
	}
	for _, p := range l.Problems {
		p.Changes = slices.Clone(p.Changes)
		p.Shows = slices.Clone(p.Shows)
		out.Problems = append(out.Problems, p)
	}
	switch e := e.(type) {
	case RunEvent:
		for _, j := range e.Joints {
			out.run(e, j)
		}
	case RevisionEvent:
		out.parents[e.Name] = e.Parent
		out.answer(e.When, "revision "+e.Name, e.Name, "", e.Answers)
	case ServiceEvent:
		out.answer(e.When, fmt.Sprintf("service %d (%s)", e.ID, e.What), "", e.Joint, e.Answers)
	case NoteEvent:
		out.note(e)
	}
	return out
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

func (l *Life) run(e RunEvent, j health.Joint) {
	found := map[health.Cause]bool{}
	hinted := map[health.Cause]bool{} // too little to open a problem, too much to call it cured
	for _, f := range j.Findings {
		if f.Severity != health.SeverityWarning && f.Severity != health.SeverityFault {
			hinted[f.Cause] = true
			continue
		}
		if found[f.Cause] {
			continue // named twice in one run
		}
		found[f.Cause] = true
		why := "found"
		if len(f.Evidence) > 0 {
			why = f.Evidence[0]
		}
		p := l.Find(Ref{j.Joint, f.Cause})
		if p == nil {
			l.Problems = append(l.Problems, Problem{ID: len(l.Problems) + 1, Joint: j.Joint, Cause: f.Cause, Part: f.Part,
				Path: failedOn(f.Cause, j), Usual: usualLimit(f.Cause, j), State: Open, Revision: e.Revision, Routine: e.Routine, Shows: []string{e.Run},
				Changes: []Change{{e.When, Open, "run " + e.Run, why}}})
			continue
		}
		p.Shows = append(p.Shows, e.Run)
		if !l.concerns(p, e) {
			continue // an old revision on the stand again: it says nothing of the answer
		}
		if p.State == Answered || p.State == Cured {
			p.State, p.ClosedBy = Returned, ""
			p.Changes = append(p.Changes, Change{e.When, Returned, "run " + e.Run, why})
		}
	}
	for i := range l.Problems {
		p := &l.Problems[i]
		if p.Joint != j.Joint || found[p.Cause] || p.State != Answered || !l.concerns(p, e) {
			continue
		}
		ok, why := proves(p, e, j)
		if hinted[p.Cause] {
			ok, why = false, "still named as a hint"
		}
		c := Change{e.When, p.State, "run " + e.Run, why}
		if ok {
			p.State, p.ClosedBy, c.State = Cured, "run "+e.Run, Cured
		}
		p.Changes = append(p.Changes, c)
	}
}

// concerns says whether a run can speak about the answer to a problem: after a redesign only runs
// of that revision, or of one that descends from it, do.
func (l *Life) concerns(p *Problem, e RunEvent) bool {
	if p.AnswerRevision == "" || (p.State != Answered && p.State != Cured) {
		return true
	}
	return l.descends(e.Revision, p.AnswerRevision)
}

// descends says whether a revision is another one or comes from it.
func (l *Life) descends(revision, from string) bool {
	seen := map[string]bool{}
	for r := revision; r != "" && !seen[r]; r = l.parents[r] {
		if r == from {
			return true
		}
		seen[r] = true
	}
	return false
}

// proves says whether a run without the finding proves the cure, and why.
func proves(p *Problem, e RunEvent, j health.Joint) (bool, string) {
	if !e.Whole {
		return false, "not found, but the routine did not run to its end"
	}
	if p.Routine != "" && e.Routine != p.Routine {
		return false, fmt.Sprintf("not found, but routine %q does not compare with %q that showed it", e.Routine, p.Routine)
	}
	names := shownBy[p.Cause]
	if len(names) == 0 {
		return true, "not found any more"
	}
	passed, open := "", fmt.Sprintf("not found, but %s was not measured", strings.Join(names, " or "))
	for _, m := range j.Measures {
		if !slices.Contains(names, m.Name) || p.Path != "" && m.Path != p.Path {
			continue
		}
		if p.Usual != nil && m.LimitFrom != health.FromBench {
			m = health.Judge(m, *p.Usual)
		}
		switch m.Verdict {
		case health.Fail:
			return false, fmt.Sprintf("not named, but %s still fails", m.Name)
		case health.Unproven:
			return false, fmt.Sprintf("not found, but %s is unproven against its limit", m.Name)
		case health.NoVerdict:
			open = fmt.Sprintf("not found, but %s has no limit to pass", m.Name)
			if m.Status == health.NotObservable {
				open = fmt.Sprintf("not found, but %s could not be seen: %s", m.Name, m.Reason)
			}
		case health.Pass:
			passed = passWords(m)
		}
	}
	if passed != "" {
		return true, passed
	}
	return false, open
}

// passWords says a passing measure with its doubt, or as the bound it is.
func passWords(m health.Measure) string {
	d, _ := health.DefinitionOf(m.Name)
	value := fmt.Sprintf("%.*f", d.Decimals, m.Value)
	switch {
	case m.Status == health.BoundLow:
		value = "at least " + value
	case m.Status == health.BoundHigh:
		value = "at most " + value
	case !math.IsNaN(m.Uncertainty):
		value += fmt.Sprintf(" ± %.*f", d.Decimals, m.Uncertainty)
	}
	if m.Unit != "1" {
		value += " " + m.Unit
	}
	return fmt.Sprintf("%s passes: %s, limit %g", strings.ToLower(d.Title), value, m.Limit)
}

// failedOn returns the path on which a measure that shows a cause failed. Where several paths failed,
// each with a cause of its own, it is the one the cause speaks of: play in the servo is cured on the
// servo's path and nowhere else.
func failedOn(c health.Cause, j health.Joint) health.Path {
	order := []health.Path{health.Transmission, health.Total, health.Servo}
	if c == health.ServoPlay {
		order = []health.Path{health.Servo, health.Total, health.Transmission}
	}
	for _, p := range order {
		for _, m := range j.Measures {
			if m.Path == p && m.Verdict == health.Fail && slices.Contains(shownBy[c], m.Name) {
				return p
			}
		}
	}
	return health.NoPath
}

// usualLimit returns the limit of the joint's own baseline that a cause missed, nil where it missed
// none or one that is stated.
func usualLimit(c health.Cause, j health.Joint) *float64 {
	path := failedOn(c, j)
	for _, m := range j.Measures {
		if m.Path == path && m.Verdict == health.Fail && m.FromBaseline() && slices.Contains(shownBy[c], m.Name) {
			return &m.Limit
		}
	}
	return nil
}

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
		p.State, p.AnsweredBy, p.AnswerRevision = Answered, by, revision
		p.Changes = append(p.Changes, Change{when, Answered, by, "waits for a run that proves it"})
	}
}

func (l *Life) note(e NoteEvent) {
	const hand = "hand"
	p := l.Find(e.Ref)
	if p == nil {
		l.Problems = append(l.Problems, Problem{ID: len(l.Problems) + 1, Joint: e.Ref.Joint, Cause: e.Ref.Cause, Part: e.Part, State: Open})
		p = &l.Problems[len(l.Problems)-1]
	}
	if e.State != "" {
		// What closed it before, or answered it before it came back, no longer stands.
		p.ClosedBy = ""
		switch e.State {
		case Answered:
			p.AnsweredBy, p.AnswerRevision = hand, ""
		case Cured:
			p.ClosedBy = hand
			if p.State != Answered && p.State != Cured {
				p.AnswerRevision = ""
			}
		}
		p.State = e.State
	}
	p.Changes = append(p.Changes, Change{e.When, p.State, hand, e.Text})
}

// Replay follows all events from the beginning, in the order of their time; equal times keep the
// order given.
func Replay(events []Event) Life {
	sorted := slices.Clone(events)
	slices.SortStableFunc(sorted, func(a, b Event) int { return a.at().Compare(b.at()) })
	var l Life
	for _, e := range sorted {
		l = l.Step(e)
	}
	return l
}
