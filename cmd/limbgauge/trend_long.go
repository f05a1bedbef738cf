package main

import (
	"fmt"
	"math"
	"strings"

	"limbgauge/analyze/health"
	"limbgauge/analyze/stats"
	"limbgauge/analyze/trend"
)

// printLong tells one measure of a joint with every run.
func (a *app) printLong(j jointTrend, o trendOptions) error {
	shown := 0
	for _, t := range j.trends {
		if t.Name != o.measure || o.path != "" && string(t.Path) != o.path {
			continue
		}
		if s, ok := t.Newest(); ok {
			if shown > 0 {
				fmt.Fprintln(a.out)
			}
			a.printMeasure(j.joint, t, s)
			shown++
		}
	}
	if shown == 0 {
		return inputError(fmt.Errorf("no run of joint %s says anything of %s %s", j.joint, o.measure, o.path), fmt.Sprintf(`"limbgauge trend %s --all" lists what there is`, j.joint))
	}
	return nil
}

// plotWidth is the width of the picture beside the runs.
const plotWidth = 24

func (a *app) printMeasure(joint string, t trend.Trend, s trend.Stretch) {
	d, _ := health.DefinitionOf(t.Name)
	say(a.out, "", joint+": "+s.Saying+".")
	say(a.out, "", stretchWords(s, len(t.Stretches)))
	p := plotOf(t, s)
	unit := ""
	if t.Unit != "1" {
		unit = ", " + t.Unit
	}
	drawn := pageOf(a.out).width >= pageWidth // a narrower page has no room for the picture
	line := func(mark, run, value, z, mean, sum, tilt, picture string) {
		if !drawn {
			picture = ""
		}
		fmt.Fprintln(a.out, strings.TrimRight(fmt.Sprintf("%s %-5s %-18s %6s %6s %6s %6s  %s", mark, run, value, z, mean, sum, tilt, picture), " "))
	}
	fmt.Fprintln(a.out)
	line(" ", "run", "value"+unit, "z", "EWMA", "CUSUM", "slope", p.scale(d))
	var left []remark
	for _, r := range s.Rows {
		mark, value := " ", figure(r.Measure)
		switch {
		case r.Base:
			mark = "b"
		case !r.Used:
			mark = "x"
		}
		if r.Measure.Status == health.NotObservable {
			value = "not seen"
		}
		line(mark, r.Run, strings.TrimPrefix(value, " "), deviation(r.Z), deviation(r.Mean), deviation(r.Sum), deviation(r.Tilt), p.line(r))
		if r.Why != "" {
			left = remarked(left, r)
		}
	}
	say(a.out, "  ", "b baseline, x left out, * past its limit, o value, > at least, < at most, : at first, | limit; z, EWMA, CUSUM, slope: standard deviations to the worse")
	fmt.Fprintln(a.out)
	a.printCourse(d, s)
	a.printForecast(t, s)
	if w := s.Warning; w != nil {
		stands := "stands"
		if !w.Stands {
			stands = "no longer stands"
		}
		say(a.out, "  ", fmt.Sprintf("%s, first raised at run %s, %s: %s", w.Level, w.First, stands, strings.Join(w.Evidence, "; ")))
	}
	say(a.out, "  ", fmt.Sprintf("false warnings: at most %.0f %% of healthy joints raise any in %d runs, all measures together", 100*trend.FalseRate, trend.Runs))
	if len(left) > 0 {
		fmt.Fprintln(a.out, "\n  to know of single runs:")
		for _, l := range left {
			say(a.out, "  ", fmt.Sprintf("- %s: %s", strings.Join(l.runs, ", "), l.why))
		}
	}
}

// remark is what there is to know of some runs.
type remark struct {
	why  string
	runs []string
}

func remarked(list []remark, r trend.Row) []remark {
	for i := range list {
		if list[i].why == r.Why {
			list[i].runs = append(list[i].runs, r.Run)
			return list
		}
	}
	return append(list, remark{r.Why, []string{r.Run}})
}

func deviation(c trend.Chart) string {
	if math.IsNaN(c.Value) {
		return ""
	}
	out := strings.Replace(fmt.Sprintf("%.1f", c.Value), "-", "−", 1)
	if c.Out() {
		out += "*"
	}
	return out
}

func (a *app) printCourse(d health.Definition, s trend.Stretch) {
	c := s.Course
	if math.IsNaN(c.Slope.Slope) {
		return
	}
	line := fmt.Sprintf("slope (Theil-Sen): %s per run", slopeWords(d, c.Slope, 1))
	if c.From > 0 {
		line += " from run " + s.Rows[c.From].Run + " on"
	}
	if !math.IsNaN(c.CycleSlope.Slope) {
		line += fmt.Sprintf("; %s per 1000 cycles", slopeWords(d, c.CycleSlope, 1000))
	}
	if !math.IsNaN(c.P) {
		line += fmt.Sprintf("; Mann-Kendall p %.2g", c.P)
	}
	if c.Blocks > 1 {
		line += fmt.Sprintf("; from the medians of every %d runs", c.Blocks)
	}
	say(a.out, "  ", line)
}

func slopeWords(d health.Definition, s stats.Slope, k float64) string {
	v := number(k*s.Slope, d.Decimals)
	if math.IsNaN(s.Lo) || math.IsInf(s.Lo, 0) || math.IsInf(s.Hi, 0) {
		return v
	}
	return fmt.Sprintf("%s (95 %%: %s to %s)", v, number(k*s.Lo, d.Decimals), number(k*s.Hi, d.Decimals))
}

func (a *app) printForecast(t trend.Trend, s trend.Stretch) {
	f := s.Forecast
	if math.IsNaN(t.Limit) {
		return
	}
	switch {
	case f.Passed != "":
		fmt.Fprintf(a.out, "  limit %g %s: missed since run %s\n", t.Limit, t.Unit, f.Passed)
		return
	case !f.Said():
		say(a.out, "  ", fmt.Sprintf("limit %g %s: when it is reached cannot be said, %s", t.Limit, t.Unit, f.Unsaid))
		return
	}
	line := fmt.Sprintf("limit %g %s %s (best %.1f)", t.Limit, t.Unit, trend.InRuns(f.Runs), f.Runs.Value)
	if !math.IsNaN(f.Cycles.Value) {
		line += fmt.Sprintf(", after %.0f to %.0f cycles more", f.Cycles.Lo, f.Cycles.Hi)
	}
	if last := s.Rows[len(s.Rows)-1]; f.Days.Hi >= 1 && !math.IsInf(f.Days.Hi, 0) {
		line += fmt.Sprintf(", and at the pace of the runs in %.0f to %.0f days, from %s on", f.Days.Lo, f.Days.Hi, trend.Date(last.Started, f.Days.Lo).Local().Format("2006-01-02"))
	}
	if f.Beyond > 1 {
		line += "; that reaches further ahead than was watched"
	}
	say(a.out, "  ", line)
}

// plot is a picture a line high for each run.
type plot struct {
	lo, hi        float64
	centre, limit float64
}

func plotOf(t trend.Trend, s trend.Stretch) plot {
	p := plot{math.Inf(1), math.Inf(-1), s.Baseline.Centre, math.NaN()}
	take := func(v float64) {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			p.lo, p.hi = math.Min(p.lo, v), math.Max(p.hi, v)
		}
	}
	for _, r := range s.Rows {
		if r.Measure.Status != health.NotObservable {
			take(r.Measure.Value)
		}
	}
	take(p.centre)
	if reach := p.hi - p.lo; !math.IsNaN(t.Limit) && math.Abs(t.Limit-p.centre) < 4*reach { // else it would press all into one corner
		p.limit = t.Limit
		take(t.Limit)
	}
	return p
}

func (p plot) at(v float64) int {
	if !(p.hi > p.lo) || math.IsNaN(v) {
		return -1
	}
	return int(math.Round((v - p.lo) / (p.hi - p.lo) * (plotWidth - 1)))
}

func (p plot) scale(d health.Definition) string {
	if !(p.hi > p.lo) {
		return ""
	}
	lo, hi := number(p.lo, d.Decimals), number(p.hi, d.Decimals)
	return lo + strings.Repeat(" ", max(1, plotWidth-len([]rune(lo))-len([]rune(hi)))) + hi
}

func (p plot) line(r trend.Row) string {
	cells := []rune(strings.Repeat(" ", plotWidth))
	put := func(v float64, mark rune) {
		if i := p.at(v); i >= 0 && i < plotWidth {
			cells[i] = mark
		}
	}
	put(p.centre, ':')
	put(p.limit, '|')
	switch r.Measure.Status {
	case health.Measured:
		put(r.Measure.Value, 'o')
	case health.BoundLow:
		put(r.Measure.Value, '>')
	case health.BoundHigh:
		put(r.Measure.Value, '<')
	}
	return string(cells)
}
