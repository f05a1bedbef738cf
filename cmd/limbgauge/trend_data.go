package main

import (
	"context"
	"math"
	"slices"

	"limbgauge/analyze/book"
	"limbgauge/analyze/health"
	"limbgauge/analyze/trend"
	"limbgauge/rig"
)

// trendsOf sets the runs of a joint in order and looks at the measures that may have a limit, or at all
// of them. Runs of other legs than the newest's are another joint.
func trendsOf(ctx context.Context, b *book.Book, joint string, all bool, o trend.Options) ([]trend.Trend, error) {
	var want []string
	for _, k := range rig.LimitKeys() {
		want = append(want, k.Measure)
	}
	if all {
		want = nil
	}
	past, err := b.History(ctx, joint, want...)
	if err != nil {
		return nil, err
	}
	events, err := b.Events(ctx, joint)
	if err != nil {
		return nil, err
	}
	series, breaks := pointsOf(past)
	for _, e := range events {
		if e.Service > 0 { // a revision counts from the first run made with it
			breaks = append(breaks, trend.Break{At: e.When, What: e.What})
		}
	}
	return trend.Joint(series, breaks, o), nil
}

// trendsShown is trendsOf for whoever looks at it: where nothing limits a measure of the joint all are shown, as
// there is nothing else to show.
func trendsShown(ctx context.Context, b *book.Book, joint string, all bool, o trend.Options) (trends []trend.Trend, shown bool, err error) {
	if trends, err = trendsOf(ctx, b, joint, all, o); err != nil || all || len(trends) == 0 {
		return trends, all, err
	}
	if limited(trends) {
		return trends, false, nil
	}
	trends, err = trendsOf(ctx, b, joint, true, o)
	return trends, true, err
}

// limited says whether anything limits any of the measures.
func limited(trends []trend.Trend) bool {
	return slices.ContainsFunc(trends, func(t trend.Trend) bool { return !math.IsNaN(t.Limit) })
}

// standing returns the trend warnings of a joint that its newest runs of a routine still show, most
// urgent first; "" takes the routine with most runs.
func standing(ctx context.Context, b *book.Book, joint, routine string) ([]trend.Warning, error) {
	trends, err := trendsOf(ctx, b, joint, false, trend.Options{Routine: routine, Newest: true})
	return trend.Stand(trends), err
}

// pointsOf turns the past of a joint into series, in the order tables show measures, and the breaks that
// runs themselves tell: another revision, another assembly, the servo by itself in between.
func pointsOf(past []book.JointPast) (series []trend.Series, breaks []trend.Break) {
	place := map[seriesKey]int{}
	for _, d := range health.Definitions() {
		for _, p := range health.Paths() {
			place[seriesKey{d.Name, p}] = len(series)
			series = append(series, trend.Series{Name: d.Name, Path: p})
		}
	}
	for k, n := range counts(past) { // of thousands of runs each list is made once
		series[place[k]].Points = make([]trend.Point, 0, n)
	}
	leg := ""
	if n := len(past); n > 0 {
		leg = past[n-1].Run.Leg
	}
	var before *built
	named, bare := map[string]string{}, false
	for i := range past {
		p := &past[i]
		if p.Run.Leg != leg {
			continue
		}
		if p.Run.Bare {
			bare = true
			continue
		}
		now := builtIn(p.Run, named)
		if p.Run.Whole { // one that was broken off begins nothing: the next that came to its end does
			if before != nil {
				if what := before.changed(now, bare); what != "" {
					breaks = append(breaks, trend.Break{At: p.Run.Started, What: what})
				}
			}
			before, bare = &now, false
		}
		good := p.Run.Whole && len(p.Causes) == 0
		for _, m := range p.Measures {
			good = good && m.Verdict != health.Fail
		}
		cycles := math.NaN()
		if !p.Travel.Joint.AtLeast() {
			cycles = float64(p.Travel.Joint.Reversals) / 2 // there and back
		}
		for _, m := range p.Measures {
			if !p.Run.Whole {
				m = health.Unseen(m.Name, m.Path, m.Method, "the run did not come to its end")
			}
			s := &series[place[seriesKey{m.Name, m.Path}]]
			s.Points = append(s.Points, trend.Point{Run: p.Run.ID, Started: p.Run.Started, Cycles: cycles, Measure: m, At: &p.Conditions, Good: good, Broken: !p.Run.Whole})
		}
	}
	var seen []trend.Series
	for _, s := range series {
		if len(s.Points) > 0 {
			seen = append(seen, s)
		}
	}
	return seen, breaks
}

type seriesKey struct {
	name string
	path health.Path
}

// counts says how many runs have each measure.
func counts(past []book.JointPast) map[seriesKey]int {
	n := map[seriesKey]int{}
	for i := range past {
		for _, m := range past[i].Measures {
			n[seriesKey{m.Name, m.Path}]++
		}
	}
	return n
}

// built is what a joint is put together of in a run.
type built struct{ revision, assembly string }

// builtIn returns how the joint is built in a run. A run without a tag is of the assembly that was named
// last with its revision, as named has it: whoever puts the leg together anew says so.
func builtIn(r book.Run, named map[string]string) built {
	if r.Assembly != "" {
		named[r.Revision] = r.Assembly
	}
	return built{r.Revision, named[r.Revision]}
}

// changed says what makes another joint of it than it was before; "" for nothing.
func (b built) changed(now built, bare bool) string {
	switch {
	case b.revision != now.revision:
		return "revision " + now.revision
	case b.assembly != now.assembly:
		return "assembly " + now.assembly
	case bare:
		return "the servo was run by itself"
	}
	return ""
}
