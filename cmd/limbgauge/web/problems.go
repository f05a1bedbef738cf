package web

import (
	"cmp"
	"context"
	"html/template"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"limbgauge/analyze/book"
	"limbgauge/analyze/health"
	"limbgauge/analyze/report"
)

// problemsView is every problem by where it stands, what is open first.
type problemsView struct {
	Groups    []problemGroup
	All, Runs int        // Runs is how many a lane shows
	None      *noProblem // where there is none
}

// noProblem says why no problem is known.
type noProblem struct {
	Says string
	Next string // what to do on the Bench, up to that word
}

// Heading says how many problems stand where, in the order of the groups.
func (v problemsView) Heading() string {
	if v.None != nil {
		return v.None.Says
	}
	var said []string
	for i, g := range v.Groups {
		n, word := len(g.Problems), map[book.State]string{book.Open: "open", book.Returned: "back again", book.Answered: "waiting for proof", book.Cured: "cured"}[g.State]
		if i == 0 {
			word = map[bool]string{true: "problem ", false: "problems "}[n == 1] + word
		}
		said = append(said, strconv.Itoa(n)+" "+word)
	}
	return strings.Join(said, ", ")
}

// noneOf tells runs in which nothing was wrong from runs that could not show it, and from none at all.
func noneOf(told []book.Told) *noProblem {
	judged, limits := 0, false
	for _, t := range told {
		if !t.Run.Judged || t.Run.Bare {
			continue
		}
		judged++
		for _, j := range t.Joints {
			limits = limits || slices.ContainsFunc(j.Measures, func(m health.Measure) bool { return m.Verdict != health.NoVerdict })
		}
	}
	switch {
	case len(told) == 0:
		return &noProblem{"No run yet, so no problem", "Run a joint on the"}
	case judged == 0:
		return &noProblem{plural(len(told), "run", "runs") + ", but none was judged", "Run a whole routine on the"}
	case !limits:
		return &noProblem{"No problem in " + plural(judged, "run", "runs") + ", but no limit is set", "State below [joint.limits] in bench.toml what you accept, and run the joint again on the"}
	}
	return &noProblem{"No problem in " + plural(judged, "run", "runs"), "Repeat the same routine after the next hours of use, on the"}
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
	Next    string        // what the newest run that shows it says to do; "" where it is cured or answered
	Proof   string        // the run that would prove the answer, "" where none is waited for
}

func (s *server) problems(ctx context.Context, _ *http.Request) (any, error) {
	return withBook(ctx, s, func(b *book.Book) (v problemsView, err error) {
		list, err := b.Problems(ctx)
		if err != nil {
			return v, err
		}
		v.All = len(list)
		if v.All == 0 {
			told, err := b.Told(ctx)
			v.None = noneOf(told)
			return v, err
		}
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
				if state == book.Open || state == book.Returned {
					if l.Next, err = nextStep(ctx, b, p); err != nil {
						return v, err
					}
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

// nextStep returns what the newest run that shows a problem says to do about it, "" where no run does.
func nextStep(ctx context.Context, b *book.Book, p book.Problem) (string, error) {
	if len(p.Shows) == 0 {
		return "", nil
	}
	_, joints, _, err := b.Run(ctx, p.Shows[len(p.Shows)-1])
	for _, j := range joints {
		for _, f := range j.Findings {
			if j.Joint == p.Joint && f.Cause == p.Cause {
				return f.Next, err
			}
		}
	}
	return "", err
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
