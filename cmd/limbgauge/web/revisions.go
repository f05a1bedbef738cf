package web

import (
	"context"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"limbgauge/analyze/book"
	"limbgauge/analyze/report"
)

// revisionsView is the tree of revisions, each below the one it came from.
type revisionsView struct {
	Revisions []revisionLine
}

// Heading says what came of the newest revision.
func (v revisionsView) Heading() string {
	if len(v.Revisions) == 0 {
		return "No revision yet"
	}
	newest := slices.MaxFunc(v.Revisions, func(x, y revisionLine) int { return x.Made.Compare(y.Made) })
	count := plural(len(v.Revisions), "revision", "revisions")
	var came []string
	for _, o := range []struct {
		word string
		list []book.Problem
	}{{"cured", newest.Outcome.Cured}, {"did not cure", newest.Outcome.NotCured}, {"brought", newest.Outcome.Brought}} {
		if n := len(o.list); n > 0 {
			what := strconv.Itoa(n)
			if len(came) == 0 {
				what = plural(n, "problem", "problems")
			}
			came = append(came, o.word+" "+what)
		}
	}
	if len(came) == 0 {
		return count + ", the newest is " + newest.Name
	}
	return count + "; the newest, " + newest.Name + ", " + strings.Join(came, ", ")
}

type revisionLine struct {
	book.Revision
	Depth   int
	Runs    int
	Changed []string // parts made from another file than the parent's, or new
	Files   []string // what is to say of its files today
	Outcome book.Outcome
	// Comparable says that both it and the one it came from have runs.
	Comparable bool
}

// deepest is how far a revision is set in at most, so that a long line of descent stays readable.
const deepest = 6

func (s *server) revisions(ctx context.Context, _ *http.Request) (any, error) {
	return withBook(ctx, s, func(b *book.Book) (v revisionsView, err error) {
		list, err := b.Revisions(ctx)
		if err != nil {
			return v, err
		}
		known := map[string]book.Revision{}
		for _, r := range list {
			known[r.Name] = r
		}
		look := book.LookAt(s.desk.Folder(), list, false)  // not every file is read for a page
		shown, made := map[string]bool{}, map[string]int{} // made counts runs
		var below func(r book.Revision, depth int) error
		below = func(r book.Revision, depth int) error {
			shown[r.Name] = true
			runs, err := b.RunsOf(ctx, r.Name)
			if err != nil {
				return err
			}
			made[r.Name] = len(runs)
			l := revisionLine{Revision: r, Depth: min(depth, deepest), Runs: len(runs), Changed: changedParts(known[r.Parent], r),
				Comparable: len(runs) > 0 && made[r.Parent] > 0}
			for _, e := range look.Troubles(r) {
				l.Files = append(l.Files, report.Sentence(e.Error()))
			}
			if l.Outcome, err = b.OutcomeOf(ctx, r.Name); err != nil {
				return err
			}
			v.Revisions = append(v.Revisions, l)
			for _, child := range list {
				if child.Parent == r.Name && !shown[child.Name] {
					if err := below(child, depth+1); err != nil {
						return err
					}
				}
			}
			return nil
		}
		for _, r := range list {
			if _, there := known[r.Parent]; !there && !shown[r.Name] {
				if err := below(r, 0); err != nil {
					return v, err
				}
			}
		}
		for _, r := range list { // what a hand tied into a circle
			if !shown[r.Name] {
				if err := below(r, 0); err != nil {
					return v, err
				}
			}
		}
		return v, nil
	})
}

// changedParts names the parts that a revision makes from other files than its parent.
func changedParts(parent, r book.Revision) (names []string) {
	if parent.Name == "" {
		return nil
	}
	was := map[string]string{}
	for _, p := range parent.Parts {
		was[p.Name] = p.SHA256
	}
	for _, p := range r.Parts {
		if sum, there := was[p.Name]; !there || sum != p.SHA256 {
			names = append(names, p.Name)
		}
	}
	return names
}
