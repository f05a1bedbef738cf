package web

import (
	"cmp"
	"context"
	"html/template"
	"net/http"
	"slices"

	"limbgauge/analyze/book"
	"limbgauge/analyze/report"
)

// problemsView is every problem by where it stands, what is open first.
type problemsView struct {
	Groups    []problemGroup
	All, Runs int // Runs is how many a lane shows
}

type problemGroup struct {
	State    book.State
	Problems []problemLine
}

type problemLine struct {
	book.Problem
	Brought string // the revision that brought it
	Lane    template.HTML
	Newest  book.Change
	Again   *report.Again // where it is not cured
	Proof   string        // the run that would prove the answer, "" where none is waited for
}

func (s *server) problems(ctx context.Context, _ *http.Request) (any, error) {
	return withBook(ctx, s, func(b *book.Book) (v problemsView, err error) {
		list, err := b.Problems(ctx)
		if err != nil {
			return v, err
		}
		v.All = len(list)
		runs, _, err := b.Newest(ctx, laneRuns, "")
		if err != nil {
			return v, err
		}
		v.Runs = len(runs)
		for _, state := range []book.State{book.Open, book.Returned, book.Answered, book.Cured} {
			g := problemGroup{State: state}
			for _, p := range list {
				if p.State != state {
					continue
				}
				by, err := b.BroughtBy(ctx, p)
				if err != nil {
					return v, err
				}
				l := problemLine{Problem: p, Brought: by, Lane: lane(p, runs)}
				if state != book.Cured {
					l.Again = report.AgainOf(p.Cause, p.Joint, shownWith(p, runs))
				}
				if n := len(p.Changes); n > 0 {
					l.Newest = p.Changes[n-1]
				}
				if state == book.Answered {
					proof, err := b.ProofOf(ctx, p)
					if err != nil {
						return v, err
					}
					l.Proof, l.Again = proofWords(proof), report.AgainOf(p.Cause, p.Joint, cmp.Or(proof.Routine, l.Again.Routine))
				}
				g.Problems = append(g.Problems, l)
			}
			if len(g.Problems) > 0 {
				v.Groups = append(v.Groups, g)
			}
		}
		return v, nil
	})
}

// shownWith returns the routine of the newest run that shows a problem, "" where it is none of these runs.
func shownWith(p book.Problem, runs []book.Run) string {
	for _, r := range slices.Backward(runs) {
		if slices.Contains(p.Shows, r.ID) {
			return r.Routine
		}
	}
	return ""
}

// proofWords say which run would prove an answer.
func proofWords(p book.Proof) string {
	said := "a whole run of the " + p.Joint
	if p.Routine != "" {
		said += ", routine " + p.Routine
	}
	if p.Revision != "" {
		said += ", with revision " + p.Revision + " on the stand"
	}
	if p.Like != "" {
		said += ", made as run " + p.Like + " was"
		if p.Words != "" {
			said += " (" + p.Words + ")"
		}
	}
	return said
}
