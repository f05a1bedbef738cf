package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"limbgauge/analyze/health"
	"limbgauge/analyze/report"
	"limbgauge/analyze/stats"
	"limbgauge/analyze/trend"
)

// printTrendTable tells one joint: the verdict, then a line for each measure and path.
func (a *app) printTrendTable(j jointTrend) {
	say(a.out, "", j.joint+": "+verdictOf(j)+".")
	s, number := longest(j.trends)
	if len(s.Rows) == 0 {
		return
	}
	say(a.out, "", stretchWords(s, number))
	table := sheet{gap: 1, columns: []column{{title: "  measure"}, {title: "path"}, {title: "at first", right: true}, {title: "newest", right: true},
		{title: "per run", right: true}, {title: "limit", right: true}, {title: "in runs", right: true}}}
	for _, t := range j.trends {
		if s, _ := t.Newest(); j.all || t.Watched {
			table.add(trendCells(t, s)...)
		}
	}
	fmt.Fprintln(a.out)
	table.print(a.out)
	sayApart(a.out, "  ", "! a warning stands, ~ moves, > at least, < at most, * limit by its first runs")
	for _, w := range movers(j.trends) {
		if w.Text != verdictOf(j) {
			say(a.out, "  ", string(w.Level)+": "+w.Text+raised(w))
		} else {
			say(a.out, "  ", fmt.Sprintf("first raised at run %s: %s", w.First, strings.Join(w.Evidence, "; ")))
		}
	}
	sayApart(a.out, "  ", fmt.Sprintf("false warnings: at most %.0f %% of healthy joints raise any in %d runs", 100*trend.FalseRate, trend.Runs))
	if !limited(j.trends) {
		say(a.out, "  ", "nothing limits a measure: keys such as play_deg in [joint.limits] of bench.toml set limits")
	}
	if !j.all {
		say(a.out, "  ", "measures that nothing limits are not shown; --all shows them")
	}
}

// longest returns the newest stretch with most runs, and its number.
func longest(trends []trend.Trend) (s trend.Stretch, number int) {
	for _, t := range trends {
		if n, ok := t.Newest(); ok && len(n.Rows) > len(s.Rows) {
			s, number = n, len(t.Stretches)
		}
	}
	return s, number
}

func trendCells(t trend.Trend, s trend.Stretch) []string {
	d, _ := health.DefinitionOf(t.Name)
	sign := " "
	switch w := s.Warning; {
	case w == nil:
	case w.Level == trend.LevelWarning && w.Stands:
		sign = "!"
	default:
		sign = "~"
	}
	limit, ahead := limitCells(t, s)
	return []string{sign + " " + trendTitle(d), pathWord(t.Path), atFirst(d, s), newest(d, s), perRun(d, s.Course.Slope), limit, ahead}
}

// trendTitleWidth is that of the column of measures.
const trendTitleWidth = 22

// trendTitle is a measure's title with its unit where both fit.
func trendTitle(d health.Definition) string {
	title := d.Title
	if len([]rune(title)) > trendTitleWidth {
		title = strings.ReplaceAll(d.Name, "_", " ")
		title = strings.ToUpper(title[:1]) + title[1:]
	}
	if with := title + ", " + d.Unit; d.Unit != "1" && len([]rune(with)) <= trendTitleWidth {
		return with
	}
	return title
}

func atFirst(d health.Definition, s trend.Stretch) string {
	if !s.Baseline.Seen() {
		return "–"
	}
	v := number(s.Baseline.Centre, d.Decimals)
	if s.Baseline.Ceiling {
		return boundSign(d.More) + v
	}
	return v
}

func boundSign(low bool) string {
	if low {
		return ">"
	}
	return "<"
}

// newest is the newest figure that counts.
func newest(d health.Definition, s trend.Stretch) string {
	for i := len(s.Rows) - 1; i >= 0; i-- {
		if r := s.Rows[i]; r.Used {
			return small(d, r.Measure)
		}
	}
	return "not seen"
}

// small is a figure for a narrow column.
func small(d health.Definition, m health.Measure) string {
	v, pm := report.Figure(m.Value, m.Uncertainty, d.Decimals)
	switch m.Status {
	case health.BoundLow:
		return ">" + v
	case health.BoundHigh:
		return "<" + v
	}
	if pm != "" && len([]rune(v))+len([]rune(pm)) <= 10 {
		return v + "±" + pm
	}
	return v
}

// perRun is the slope where its interval leaves 0 out.
func perRun(d health.Definition, s stats.Slope) string {
	if !(s.Lo*s.Hi > 0) || math.IsInf(s.Slope, 0) {
		return "–"
	}
	v := number(s.Slope, d.Decimals)
	if s.Slope > 0 {
		v = "+" + v
	}
	return v
}

// number writes a figure with two digits at least.
func number(v float64, decimals int) string {
	for decimals < 6 && v != 0 && math.Abs(v) < 10*math.Pow10(-decimals) {
		decimals++
	}
	return strings.Replace(strconv.FormatFloat(v, 'f', decimals, 64), "-", "−", 1)
}

// limitCells say what the limit is, and how many runs off where the measure goes there.
func limitCells(t trend.Trend, s trend.Stretch) (limit, ahead string) {
	if math.IsNaN(t.Limit) {
		return "", ""
	}
	limit = strconv.FormatFloat(t.Limit, 'g', 4, 64)
	if t.LimitFrom != "" && t.LimitFrom != health.FromBench {
		limit += "*"
	}
	f := s.Forecast
	switch {
	case f.Passed != "":
		return limit, "passed"
	case !f.Said() || s.Warning == nil || s.Warning.Better:
		return limit, ""
	case math.IsInf(f.Runs.Hi, 1):
		return limit, fmt.Sprintf("from %.0f", math.Floor(f.Runs.Lo))
	}
	return limit, fmt.Sprintf("%.0f–%.0f", math.Floor(f.Runs.Lo), math.Ceil(f.Runs.Hi))
}
