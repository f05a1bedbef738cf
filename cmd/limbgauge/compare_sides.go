package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"limbgauge/analyze/book"
	"limbgauge/analyze/compare"
	"limbgauge/analyze/health"
	"limbgauge/rig"
)

// runSet is one side of a comparison.
type runSet struct {
	name string
	runs []book.Run
	ids  map[string]bool
}

func newRunSet(name string) runSet { return runSet{name: name, ids: map[string]bool{}} }

// add takes a run up. One that was broken off, was not judged or is of the servo alone is no sample of
// the leg.
func (s *runSet) add(r book.Run) {
	if r.Whole && r.Judged && !r.Bare && !s.ids[r.ID] {
		s.runs = append(s.runs, r)
		s.ids[r.ID] = true
	}
}

// only leaves the runs of one routine; "" leaves all.
func (s *runSet) only(routine string) error {
	if routine == "" {
		return nil
	}
	var kept []string
	s.runs = slices.DeleteFunc(s.runs, func(r book.Run) bool {
		if !slices.Contains(kept, r.Routine) {
			kept = append(kept, r.Routine)
		}
		if r.Routine != routine {
			delete(s.ids, r.ID)
		}
		return r.Routine != routine
	})
	if len(s.runs) == 0 {
		return inputError(fmt.Errorf("%s has no run of routine %q", s.name, routine), "it ran "+strings.Join(kept, ", "))
	}
	return nil
}

// shared returns a run that both sets hold, "" where there is none.
func (s runSet) shared(other runSet) string {
	for _, r := range s.runs {
		if other.ids[r.ID] {
			return r.ID
		}
	}
	return ""
}

// pickRuns reads one side of a comparison: a revision, or runs by number.
func pickRuns(ctx context.Context, b *book.Book, runs []book.Run, arg string) (runSet, error) {
	out := newRunSet(arg)
	named := 0
	for _, r := range runs {
		if r.Revision == arg {
			named++
			out.add(r)
		}
	}
	if named == 0 {
		revs, err := b.Revisions(ctx)
		if err != nil {
			return out, err
		}
		if slices.ContainsFunc(revs, func(r book.Revision) bool { return r.Name == arg }) {
			return out, inputError(fmt.Errorf("revision %q has no runs", arg), `"limbgauge rev list" shows revisions and how many runs each has`)
		}
		if !runsWritten.MatchString(arg) {
			_, err := revisionOf(revs, arg)
			return out, fmt.Errorf("%w; runs are written 0001..0005,0010", err)
		}
		if err := out.numbers(runs, arg); err != nil {
			return out, err
		}
	}
	if len(out.runs) == 0 {
		return out, inputError(fmt.Errorf("%s has no run that can be compared", arg), "runs that were broken off, not judged, or made of the bare servo do not count; \"limbgauge runs\" lists them")
	}
	return out, nil
}

// runsWritten is how runs are named.
var runsWritten = regexp.MustCompile(`^ *[0-9]+(\.\.[0-9]+)?( *, *[0-9]+(\.\.[0-9]+)?)* *$`)

// numbers takes up runs such as 0001..0005,0010.
func (s *runSet) numbers(runs []book.Run, arg string) error {
	for _, piece := range strings.Split(arg, ",") {
		first, last, isRange := strings.Cut(strings.TrimSpace(piece), "..")
		if !isRange {
			last = first
		}
		from, errFrom := strconv.Atoi(first)
		to, errTo := strconv.Atoi(last)
		if err := errors.Join(errFrom, errTo); err != nil {
			return usageError{fmt.Errorf("%s: too great a number for a run", piece)}
		}
		if from > to {
			return usageError{fmt.Errorf("%s: the first run of a range comes first", piece)}
		}
		found := false
		for _, r := range runs {
			if n, err := strconv.Atoi(r.ID); err == nil && n >= from && n <= to {
				found = true
				s.add(r)
			}
		}
		if !found {
			return inputError(fmt.Errorf("there is no run %s", piece), `"limbgauge runs" lists them`)
		}
	}
	return nil
}

// jointsOn returns the joints that both sides have runs of, in the order of the first side.
func jointsOn(sides [2]runSet, only string) ([]string, error) {
	in := map[string]int{}
	var order []string
	for i, s := range sides {
		seen := map[string]bool{} // set-ups already read
		for _, r := range s.runs {
			if r.Setups == "" || seen[r.Setups] {
				continue
			}
			seen[r.Setups] = true
			var words []string // joint and digest in turn
			if err := json.Unmarshal([]byte(r.Setups), &words); err != nil {
				return nil, fmt.Errorf("run %s: read which joints it has: %w", r.ID, err)
			}
			for k := 0; k+1 < len(words); k += 2 {
				if in[words[k]] == 0 {
					order = append(order, words[k])
				}
				in[words[k]] |= 1 << i
			}
		}
	}
	both := slices.DeleteFunc(slices.Clone(order), func(j string) bool { return in[j] != 3 || only != "" && j != only })
	switch {
	case len(both) > 0:
		return both, nil
	case only != "" && in[only] == 0:
		return nil, usageError{&rig.NameError{What: "joint", Name: only, Where: "on either side", Known: order}}
	case only != "":
		return nil, inputError(fmt.Errorf("only one side has a run of joint %q", only), "run it on the other side too")
	}
	return nil, inputError(fmt.Errorf("no joint was run on both sides"), "run the same joint on both")
}

// limitedMeasures are those that may have a limit, with what a comparison needs beside them.
func limitedMeasures() []string {
	out := compare.Needs()
	for _, k := range rig.LimitKeys() {
		out = append(out, k.Measure)
	}
	return out
}

// runsOf reads the runs of one joint on both sides with the measures wanted, all when none is named.
func runsOf(ctx context.Context, b *book.Book, joint string, sides [2]runSet, want []string) (out [2][]compare.Run, err error) {
	var revisions []string
	for _, s := range sides {
		for _, r := range s.runs {
			if !slices.Contains(revisions, r.Revision) {
				revisions = append(revisions, r.Revision)
			}
		}
	}
	past, err := b.HistoryOf(ctx, joint, revisions, want...)
	if err != nil {
		return out, err
	}
	for i, s := range sides {
		out[i] = make([]compare.Run, 0, len(s.runs))
	}
	for _, p := range past {
		for i, s := range sides {
			if s.ids[p.Run.ID] {
				out[i] = append(out[i], compare.Run{ID: p.Run.ID, Assembly: p.Run.Assembly, Routine: p.Run.Routine,
					Joint: health.Joint{Joint: joint, Measures: p.Measures}, Conditions: p.Conditions})
			}
		}
	}
	return out, nil
}
