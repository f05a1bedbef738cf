package book

import (
	"context"
	"fmt"
	"strings"

	"limbgauge/analyze/alike"
	"limbgauge/analyze/health"
)

// Outcome is what came of a revision: what the runs with it say of the problems it answered, and what
// came with it. A problem may stand in one list only.
type Outcome struct {
	Revision string `json:"revision"`
	// Cured by it, and proven by a run. NotCured came back, or were opened again by hand, while its answer
	// stood. Waiting are answered by it and not proven. ByHand are answered by it and closed by hand.
	// Overtaken got another answer before a run could tell.
	Cured     []Problem `json:"cured"`
	NotCured  []Problem `json:"not_cured"`
	Waiting   []Problem `json:"waiting"`
	ByHand    []Problem `json:"closed_by_hand"`
	Overtaken []Problem `json:"overtaken"`
	// Brought are problems first seen with it that its parent, run the same way, did not show, and those
	// that were proven cured before and came back with it. New are first seen with it too, but the parent
	// was not run the same way, so that it cannot be told what brought them.
	Brought []Problem `json:"brought"`
	New     []Problem `json:"new"`
}

// OutcomeOf says what came of a revision.
func (b *Book) OutcomeOf(ctx context.Context, revision string) (Outcome, error) {
	out := Outcome{Revision: revision, Cured: []Problem{}, NotCured: []Problem{}, Waiting: []Problem{}, ByHand: []Problem{}, Overtaken: []Problem{}, Brought: []Problem{}, New: []Problem{}}
	problems, err := b.Problems(ctx)
	if err != nil {
		return out, err
	}
	revs, err := b.Revisions(ctx)
	if err != nil {
		return out, err
	}
	r, err := Family(revs).Find(revision)
	if err != nil {
		return out, err
	}
	for _, p := range problems {
		switch answered, failed := p.answeredBy(revision); {
		case failed:
			out.NotCured = append(out.NotCured, p)
		case answered && p.State == Cured && p.ClosedBy == hand:
			out.ByHand = append(out.ByHand, p)
		case answered && p.AnswerRevision != revision:
			out.Overtaken = append(out.Overtaken, p)
		case answered && p.State == Cured:
			out.Cured = append(out.Cured, p)
		case answered:
			out.Waiting = append(out.Waiting, p)
		case p.cameBackWith(revision):
			out.Brought = append(out.Brought, p)
		case p.Revision == revision && r.Parent != "":
			brought, err := b.BroughtBy(ctx, p)
			if err != nil {
				return out, err
			}
			if brought == revision {
				out.Brought = append(out.Brought, p)
			} else {
				out.New = append(out.New, p)
			}
		}
	}
	return out, nil
}

// answeredBy says whether a revision answered a problem, and whether the problem came back while that
// answer stood.
func (p Problem) answeredBy(revision string) (answered, failed bool) {
	standing := ""
	for _, c := range p.Changes {
		switch {
		case c.State == Answered && c.By == "revision "+revision:
			answered, standing = true, revision
		case c.State == Answered && strings.HasPrefix(c.By, "run "):
			// a run that does not prove it leaves the answer as it is
		case c.State == Answered:
			standing = ""
		case c.State == Returned || c.State == Open:
			failed = failed || standing == revision
			standing = ""
		}
	}
	return answered, failed
}

// cameBackWith says whether a problem that a run proved cured came back first in a run with a revision.
func (p Problem) cameBackWith(revision string) bool {
	cured := false
	for _, c := range p.Changes {
		switch c.State {
		case Cured:
			cured = c.By != hand
		case Returned:
			if cured && len(p.Showing) > 0 && p.Showing[0].Revision == revision && c.By == "run "+p.Showing[0].Run {
				return true
			}
			cured = false
		}
	}
	return false
}

// Proof is what it takes to prove a problem cured.
type Proof struct {
	Joint    string `json:"joint"`
	Routine  string `json:"routine"`  // "" where any will do
	Revision string `json:"revision"` // to be on the stand; "" where it does not matter
	// Like is the run to repeat, with what it was made under; "" and nil where a hand opened the problem.
	Like       string            `json:"like,omitempty"`
	Conditions *alike.Conditions `json:"-"`
	Words      string            `json:"under,omitempty"`
}

// ProofOf says which run would prove the answer to a problem.
func (b *Book) ProofOf(ctx context.Context, p Problem) (Proof, error) {
	out := Proof{Joint: p.Joint, Routine: p.Routine, Revision: p.AnswerRevision}
	if len(p.Showing) == 0 {
		return out, nil
	}
	last := p.Showing[len(p.Showing)-1]
	out.Routine, out.Like = last.Routine, last.Run
	if out.Revision == "" && p.AnsweredBy != hand {
		out.Revision = last.Revision
	}
	c, err := ask(ctx, b, func(q querier) (*alike.Conditions, error) { return conditionsOf(ctx, q, last.Run, p.Joint) })
	if err != nil || c == nil {
		return out, err
	}
	out.Conditions = c
	if c.SupplyV > 0 {
		out.Words = fmt.Sprintf("%.2f V", c.SupplyV)
	}
	if l := c.Setup.Load; l != nil {
		if out.Words != "" {
			out.Words += ", "
		}
		out.Words += fmt.Sprintf("%.3g kg at %.3g m", l.MassKg, l.LeverM)
	}
	if c.Calibration != "" {
		if out.Words != "" {
			out.Words += ", "
		}
		out.Words += "calibration " + c.Calibration
	}
	return out, nil
}

// parentsAsked is how many of a parent's newest runs are asked whether they compare with the one that
// first showed a problem.
const parentsAsked = 10

// BroughtBy says whether a problem was first seen under a revision whose parent had whole runs of the
// same joint and routine, none that shows it, and one at least that compares: what a redesign brought.
// A run compares where its figure, brought to the conditions of the run that showed the problem, does not
// miss the limit too; so a lower voltage or a heavier load on the stand is not blamed on the design.
func (b *Book) BroughtBy(ctx context.Context, p Problem) (revision string, err error) {
	if p.Revision == "" || len(p.Shows) == 0 {
		return "", nil
	}
	revs, err := b.Revisions(ctx)
	if err != nil {
		return "", err
	}
	r, err := Family(revs).Find(p.Revision)
	if err != nil || r.Parent == "" {
		return "", nil // first seen with a revision that came from none, or is lost
	}
	return ask(ctx, b, func(q querier) (string, error) { return broughtBy(ctx, q, p, r) })
}

func broughtBy(ctx context.Context, q querier, p Problem, r Revision) (string, error) {
	showing, err := rows(ctx, q, scanText, "SELECT id FROM findings JOIN runs ON runs.id = findings.run WHERE joint = ? AND cause = ? AND severity IN (?, ?) AND revision = ? AND NOT bare LIMIT 1",
		p.Joint, p.Cause, health.SeverityWarning, health.SeverityFault, r.Parent)
	if err != nil || len(showing) > 0 {
		return "", err
	}
	same, err := rows(ctx, q, scanText, `SELECT id FROM runs WHERE revision = ? AND NOT bare AND whole AND routine = ?
		AND EXISTS (SELECT 1 FROM past WHERE run = runs.id AND joint = ? AND answered > 0) ORDER BY number DESC, id DESC LIMIT ?`,
		r.Parent, p.Routine, p.Joint, parentsAsked)
	if err != nil {
		return "", err
	}
	then, err := conditionsOf(ctx, q, p.Shows[0], p.Joint)
	if err != nil {
		return "", err
	}
	for _, id := range same {
		ok, err := clean(ctx, q, p, id, then)
		if err != nil {
			return "", err
		}
		if ok {
			return r.Name, nil
		}
	}
	return "", nil
}

// clean says whether a run of a parent, which does not name a problem, would not have shown it under the
// conditions of the run that first did.
func clean(ctx context.Context, q querier, p Problem, run string, then *alike.Conditions) (bool, error) {
	var shown *health.Measure
	for _, c := range p.Changes {
		if c.By == "run "+p.Shows[0] {
			shown = c.Measure
			break
		}
	}
	if shown == nil || then == nil { // no measure stands for it: that it was not found must do
		return true, nil
	}
	at, measures, err := seenIn(ctx, q, run, p.Joint, shown.Name)
	if err != nil || at == nil {
		return false, err
	}
	to := *then
	if alike.LoadCost(shown.Name) { // a leg may be heavier by design
		to.Setup.Load, to.LoadNm = at.Setup.Load, at.LoadNm
	}
	m, ok := health.Joint{Measures: measures}.Find(shown.Name, shown.Path)
	if !ok {
		return false, nil
	}
	m, a := alike.Figures(m, *at, to)
	return a.Kind != alike.NotComparable && m.Status != health.NotObservable && health.Judge(m, shown.Limit).Verdict != health.Fail, nil
}
