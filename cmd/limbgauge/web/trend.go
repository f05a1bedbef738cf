package web

import (
	"context"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"slices"

	"limbgauge/analyze/health"
	"limbgauge/analyze/report"
	"limbgauge/analyze/trend"
	"limbgauge/rig"
)

// trendView is what the runs of a joint say over time, what moves first.
type trendView struct {
	Joint   string
	Joints  []string
	Verdict string
	Warned  bool
	Stands  []string // further warnings
	Courses []courseView
	Before  []courseView // measures that warned before the joint was last changed
	Resting []courseView // measures that neither moved nor have a forecast
	Some    bool         // what nothing limits is not shown
	Free    bool         // nothing limits any
}

type courseView struct {
	Title, Path, Saying, Last string
	Told                      []string // warnings before the joint was last changed, newest first
	Drawing, Narrow, Spark    template.HTML
	Beyond                    *report.Sign // where the newest sight of it misses its limit
	Moves, Warned             bool
	Left                      []string // runs that do not count, with the reason
	Cut                       string   // what is not drawn
}

// Empty says that there is nothing to show yet.
func (v trendView) Empty() bool { return len(v.Courses)+len(v.Before)+len(v.Resting) == 0 && !v.Some }

func (v trendView) title() string { return "Trend of " + v.Joint }

func (s *server) trend(ctx context.Context, r *http.Request) (any, error) {
	bench, err := s.desk.Bench()
	if err != nil {
		return nil, err
	}
	v := trendView{Joint: r.URL.Query().Get("joint")}
	for _, j := range bench.Joints {
		v.Joints = append(v.Joints, j.Name)
	}
	ask := v.Joints
	if v.Joint != "" {
		if !slices.Contains(v.Joints, v.Joint) {
			return nil, notThere{what: (&rig.NameError{What: "joint", Name: v.Joint, Where: "in bench.toml", Known: v.Joints}).Error(), on: step{Path: "/trend", Name: "Trend"}}
		}
		ask = []string{v.Joint}
	}
	all := r.URL.Query().Has("all")
	told, err := s.desk.Trend(ctx, ask, all)
	if err != nil {
		return nil, err
	}
	if i := slices.IndexFunc(ask, func(name string) bool { return len(trend.Stand(told[name].Trends)) > 0 }); i >= 0 {
		v.Joint = ask[i] // the first joint that warns
	}
	if v.Joint == "" {
		v.Joint = longest(v.Joints, told)
	}
	c := told[v.Joint]
	v.Verdict = c.Verdict // it begins with the joint's name, which stays as it is written
	stand := trend.Stand(c.Trends)
	v.Warned = len(stand) > 0
	for _, w := range stand[min(1, len(stand)):] {
		v.Stands = append(v.Stands, report.Sentence(w.Text))
	}
	v.Some, v.Free = !c.All && len(c.Trends) > 0, c.All && !all && len(c.Trends) > 0
	for _, t := range c.Trends {
		if !t.Watched && !c.All {
			continue
		}
		one, err := courseOf(v.Joint, t)
		switch {
		case err != nil:
			return nil, err
		case one.Moves:
			v.Courses = append(v.Courses, one)
		case len(one.Told) > 0:
			v.Before = append(v.Before, one)
		default:
			v.Resting = append(v.Resting, one)
		}
	}
	slices.SortStableFunc(v.Courses, func(a, b courseView) int {
		if a.Warned != b.Warned && a.Warned {
			return -1
		} else if a.Warned != b.Warned {
			return 1
		}
		return 0
	})
	return v, nil
}

// longest returns the joint with most runs.
func longest(names []string, told map[string]Course) (best string) {
	most := -1
	for _, n := range names {
		runs := 0
		for _, t := range told[n].Trends {
			n := 0
			for _, s := range t.Stretches {
				n += len(s.Rows)
			}
			runs = max(runs, n)
		}
		if runs > most {
			best, most = n, runs
		}
	}
	return best
}

// The sizes of a drawing over runs: on a wide page, and on a phone.
var (
	courseSize = report.Size{Width: 640, Height: 330}
	narrowSize = report.Size{Width: 360, Height: 330}
)

// courseOf says and draws what became of one measure over all stretches.
func courseOf(joint string, t trend.Trend) (v courseView, err error) {
	d, _ := health.DefinitionOf(t.Name)
	v = courseView{Title: d.Title, Path: string(t.Path)}
	h := report.History{Joint: joint, Measure: t.Name, Path: t.Path, Limit: t.Limit}
	for i, stretch := range t.Stretches {
		if i > 0 {
			h.Marks = append(h.Marks, report.Mark{Before: len(h.Points), Label: stretch.Since, Service: true})
			if w := t.Stretches[i-1].Warning; w != nil && w.Level == trend.LevelWarning {
				v.Told = append(v.Told, fmt.Sprintf("Run %s, before %s: %s", w.First, stretch.Since, w.Text))
				h.Warned = append(h.Warned, w.First)
			}
		}
		others := stretch.Others
		for _, row := range stretch.Rows {
			for ; len(others) > 0 && others[0].Started.Before(row.Started); others = others[1:] {
				v.leave(&h, others[0], stretch.Routine)
			}
			h.Points = append(h.Points, report.Point{Run: row.Run, Measure: row.Measure, Out: !row.Used})
			if row.Measure.Status != health.NotObservable {
				v.Last, v.Beyond = report.Amount(row.Measure), nil
				if row.Measure.Verdict == health.Fail {
					v.Beyond = new(report.VerdictSign(health.Fail))
				}
			}
			if !row.Used && row.Why != "" {
				v.Left = append(v.Left, "run "+row.Run+": "+row.Why)
			}
		}
		for _, p := range others {
			v.leave(&h, p, stretch.Routine)
		}
	}
	slices.Reverse(v.Told)
	if newest, ok := t.Newest(); ok {
		v.Saying = report.Sentence(newest.Saying)
		f := newest.Forecast
		if w := newest.Warning; w != nil {
			v.Moves = true
			if w.Level == trend.LevelWarning && w.Stands {
				v.Warned, h.Warned = true, append(h.Warned, w.First)
			}
		}
		if f.Said() && !math.IsNaN(f.Runs.Lo) {
			v.Moves = true
			h.Ahead = &report.Ahead{Runs: f.Runs.Value, Lo: f.Runs.Lo, Hi: f.Runs.Hi}
		}
		v.Moves = v.Moves || f.Passed != ""
	}
	h, v.Cut = report.Latest(h)
	v.Spark = report.Spark(h)
	for _, d := range []struct {
		into *template.HTML
		size report.Size
	}{{&v.Drawing, courseSize}, {&v.Narrow, narrowSize}} {
		svg, err := report.HistorySVG(h, d.size)
		if err != nil {
			return v, err
		}
		*d.into = template.HTML(svg)
	}
	return v, nil
}

// leave draws a run of another routine than that of its stretch as one that does not count, and says why.
func (v *courseView) leave(h *report.History, p trend.Point, routine string) {
	h.Points = append(h.Points, report.Point{Run: p.Run, Measure: p.Measure, Out: true})
	v.Left = append(v.Left, fmt.Sprintf("run %s: its routine is %s, not %s", p.Run, p.At.Routine, routine))
}
