package book

import (
	"context"
	"fmt"

	"limbgauge/analyze/alike"
)

// Outcome is what came of a revision: what the runs with it say of the problems it answered, and what
// came with it. A problem may stand in one list only.
type Outcome struct {
	Revision string `json:"revision"`
	// Cured by it, and proven by a run. NotCured came back in a run with it or with what comes from it.
	// Waiting are answered by it and not proven. ByHand are answered by it and closed by hand.
	Cured    []Problem `json:"cured"`
	NotCured []Problem `json:"not_cured"`
	Waiting  []Problem `json:"waiting"`
	ByHand   []Problem `json:"closed_by_hand"`
	// Brought are problems first seen with it that its parent, run the same way, did not show, and those
	// that were proven cured before and came back with it. New are first seen with it too, but the parent
	// was not run the same way, so that it cannot be told what brought them.
	Brought []Problem `json:"brought"`
	New     []Problem `json:"new"`
}

// OutcomeOf says what came of a revision.
func (b *Book) OutcomeOf(ctx context.Context, revision string) (Outcome, error) {
	out := Outcome{Revision: revision, Cured: []Problem{}, NotCured: []Problem{}, Waiting: []Problem{}, ByHand: []Problem{}, Brought: []Problem{}, New: []Problem{}}
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
		case answered && p.State == Cured && p.AnswerRevision == revision && p.ClosedBy != hand:
			out.Cured = append(out.Cured, p)
		case answered && p.State == Cured && p.AnswerRevision == revision:
			out.ByHand = append(out.ByHand, p)
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
		case c.State == Answered && c.By != hand && len(c.By) > 4 && c.By[:4] == "run ":
			// a run that does not prove it leaves the answer as it is
		case c.State == Answered:
			standing = ""
		case c.State == Returned:
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
	c, err := conditionsOf(ctx, b.db, last.Run, p.Joint)
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
