package web

import (
	"math"
	"testing"
	"time"

	"limbgauge/analyze/book"
	"limbgauge/analyze/health"
)

// Without a problem it is said what that rests on: on runs that kept their limits, on runs that were held against
// none, on runs that were not judged, or on nothing.
func TestNoProblemSaysWhatItRestsOn(t *testing.T) {
	run := func(judged bool, v health.Verdict) book.Told {
		return book.Told{Run: book.Run{Judged: judged}, Joints: []health.Joint{{Joint: "knee", Measures: []health.Measure{{Name: "play", Verdict: v}}}}}
	}
	good, free, raw := run(true, health.Pass), run(true, health.NoVerdict), run(false, health.NoVerdict)
	for want, told := range map[string][]book.Told{
		"No run yet, so no problem":                 nil,
		"No problem in 2 runs":                      {good, free, raw},
		"No problem in 3 runs, but no limit is set": {free, free, free},
		"1 run, but none was judged":                {raw},
	} {
		n := noneOf(told)
		if n.Says != want || n.Next == "" {
			t.Errorf("%q, next %q; want %q", n.Says, n.Next, want)
		}
	}
}

// A page's heading answers what the page is opened for.
func TestHeadingsAnswer(t *testing.T) {
	group := func(s book.State, n int) problemGroup {
		return problemGroup{State: s, Problems: make([]problemLine, n)}
	}
	day := func(n int) time.Time { return time.Date(2026, 9, n, 12, 0, 0, 0, time.UTC) }
	rev := func(name string, made int, o book.Outcome) revisionLine {
		return revisionLine{Revision: book.Revision{Name: name, Made: day(made)}, Outcome: o}
	}
	some := func(n int) []book.Problem { return make([]book.Problem, n) }
	for want, got := range map[string]string{
		"1 problem open, 2 cured":                                 problemsView{Groups: []problemGroup{group(book.Open, 1), group(book.Cured, 2)}}.Heading(),
		"2 problems back again, 1 waiting for proof":              problemsView{Groups: []problemGroup{group(book.Returned, 2), group(book.Answered, 1)}}.Heading(),
		"20 runs, the newest: good":                               runsView{All: 20, Shown: 20, Newest: "good"}.Heading(),
		"20 runs, 3 of them asked for":                            runsView{All: 20, Shown: 3, Newest: "good"}.Heading(),
		"2 revisions; the newest, B, cured 2 problems, brought 1": revisionsView{Revisions: []revisionLine{rev("B", 9, book.Outcome{Cured: some(2), Brought: some(1)}), rev("A", 2, book.Outcome{Brought: some(2)})}}.Heading(),
		"1 revision, the newest is A":                             revisionsView{Revisions: []revisionLine{rev("A", 2, book.Outcome{})}}.Heading(),
		"The knee loses most: 5.8 deg":                            lostView{Worst: "knee", Most: "5.8 deg", Joints: make([]lostJoint, 2)}.Heading(),
		"5.8 deg are lost in the knee":                            lostView{Worst: "knee", Most: "5.8 deg", Joints: []lostJoint{{Name: "knee"}}}.Heading(),
		"No joint is known to lose motion":                        lostView{}.Heading(),
	} {
		if got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// Of the runs of a joint as it is now the one that saw most is asked, the newest of these; what was before a service,
// another assembly or revision is not.
func TestLostMotionIsOfTheRunThatSawMost(t *testing.T) {
	day := func(n int) time.Time { return time.Date(2026, 9, n, 12, 0, 0, 0, time.UTC) }
	seen := func(name string) health.Measure {
		return health.Measure{Name: name, Path: health.Total, Value: 0.5, Uncertainty: 0.1, Status: health.Measured, Unit: "deg"}
	}
	past := func(id string, at int, rev string, names ...string) book.JointPast {
		p := book.JointPast{Run: book.Run{ID: id, Started: day(at), Whole: true, Revision: rev}}
		p.Measures = append(p.Measures, health.Measure{Name: "friction", Path: health.Total, Value: math.NaN(), Status: health.NotObservable})
		for _, n := range names {
			p.Measures = append(p.Measures, seen(n))
		}
		return p
	}
	all := past("0002", 2, "B", "play")
	less := past("0003", 3, "B")
	for name, c := range map[string]struct {
		past   []book.JointPast
		events []book.Alteration
		want   string
	}{
		"sees more":        {[]book.JointPast{all, less}, nil, "0002"},
		"the newest":       {[]book.JointPast{all, past("0004", 4, "B", "play")}, nil, "0004"},
		"another revision": {[]book.JointPast{past("0001", 1, "A", "play"), less}, nil, "0003"},
		"a service since":  {[]book.JointPast{all, less}, []book.Alteration{{When: day(2).Add(time.Hour), Service: 1}}, "0003"},
		"a service before": {[]book.JointPast{all, less}, []book.Alteration{{When: day(1), Service: 1}}, "0002"},
	} {
		if got, ok := seesMost(c.past, c.events); !ok || got.Run.ID != c.want {
			t.Errorf("%s: run %q, want %s", name, got.Run.ID, c.want)
		}
	}
}
