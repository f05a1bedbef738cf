package trend

import (
	"fmt"
	"math"
	"strings"

	"limbgauge/analyze/health"
)

// Level says how much a change matters.
type Level string

// The levels.
const (
	LevelNote    Level = "note"    // worth knowing
	LevelWarning Level = "warning" // surely worse than the baseline, and by enough to matter
)

// Warning is a change that is surely there.
type Warning struct {
	Level    Level
	Measure  string
	Path     health.Path
	Better   bool
	First    string // run at which it was first raised
	Since    string // run from which on the change counts
	Stands   bool   // the newest run still shows it
	Text     string
	Evidence []string
	urgency  float64 // least runs to the limit
	stated   bool    // the builder states the limit, or none is needed
}

// evidence says in words what each chart saw.
var evidence = map[string]string{
	"single": "one run lies further off than runs of the baseline do",
	"own":    "one run lies further off than twice the stated uncertainty explains",
	"mean":   "the moving average of the runs (EWMA) left its limits",
	"sum":    "the sum of what runs lie beyond the baseline (CUSUM) left its limit",
	"tilt":   "the runs follow a slope that scatter does not explain",
}

// run fills in what the charts, the course and the forecast say.
func (w *watch) run() {
	s := w.stretch
	share := w.share / float64(len(w.bad))
	s.Course = courseOf(s.Rows)
	var worst, better *alarm
	for _, sign := range w.bad {
		a := w.follow(sign, share)
		if worst == nil || a.raised() && (!worst.raised() || a.at() < worst.at()) {
			worst = &a
		}
		if len(w.bad) == 1 {
			b := w.follow(-sign, share)
			better = &b
		}
	}
	for i := range s.Rows {
		s.Rows[i].Charts = worst.charts[i]
	}
	s.Baseline = worst.base.baseline()
	s.Forecast = forecastOf(s, w.trend, worst.sign)
	switch {
	case worst.raised():
		s.Warning = w.warning(worst, false)
	case better != nil && better.raised():
		s.Warning = w.warning(better, true)
	}
	if s.Warning != nil {
		if s.Course.Change = changeOf(s.Rows); s.Course.Change != nil {
			before, after := w.changed(s.Course.Change.K)
			s.Warning.Evidence = append(s.Warning.Evidence, fmt.Sprintf("best single step between run %s and %s, by chance with %s", before, after, probability(s.Course.Change.P)))
		}
	}
	s.Saying = w.saying()
	if s.Warning != nil {
		s.Warning.Text = s.Saying
	}
}

func (a *alarm) raised() bool { return a.small >= 0 }

// at is the row of the alarm that counts.
func (a *alarm) at() int {
	if a.first >= 0 {
		return a.first
	}
	return a.small
}

func (w *watch) warning(a *alarm, better bool) *Warning {
	s := w.stretch
	out := &Warning{Level: LevelNote, Measure: w.trend.Name, Path: w.trend.Path, Better: better, First: s.Rows[a.at()].Run,
		Since: s.Rows[max(0, a.onset)].Run, Stands: a.stands,
		urgency: math.Inf(1), stated: w.trend.LimitFrom == health.FromBench || unlimited[w.trend.Name]}
	if a.first >= 0 && w.trend.Watched && !better {
		out.Level = LevelWarning
	}
	switch {
	case s.Forecast.Passed != "":
		out.urgency = -1
	case s.Forecast.Said():
		out.urgency = s.Forecast.Runs.Lo
	}
	for _, by := range a.by {
		out.Evidence = append(out.Evidence, fmt.Sprintf("at run %s %s", s.Rows[a.small].Run, evidence[by]))
	}
	if b := a.base.baseline(); b.Seen() {
		at := "the baseline is"
		if b.Ceiling {
			at = "the baseline is " + w.ceilingWord(a.sign)
		}
		out.Evidence = append(out.Evidence, fmt.Sprintf("%s %s (runs %s), run %s says %s", at, w.figure(b.Centre), span(b.Runs), s.Rows[a.at()].Run, w.measure(s.Rows[a.at()].Measure)))
	}
	if lost := w.lostAtOnce(); lost != "" && !better {
		out.Evidence = append(out.Evidence, lost)
	}
	if c := s.Course; !math.IsNaN(c.P) && c.P < 0.05 {
		out.Evidence = append(out.Evidence, fmt.Sprintf("Mann-Kendall: a course like this comes by chance with %s", probability(c.P)))
	}
	return out
}

// lostAtOnce says what went between the last bound and the first reading, where that is more than the
// slope since makes of it.
func (w *watch) lostAtOnce() string {
	s := w.stretch
	if !s.Course.Hidden || math.IsNaN(s.Course.Slope.Slope) {
		return ""
	}
	var last *Row
	for i := range s.Rows {
		r := &s.Rows[i]
		if !r.Used {
			continue
		}
		if !measured(r.Measure) {
			last = r
			continue
		}
		if last == nil {
			return ""
		}
		gone := math.Abs(last.Measure.Value - r.Measure.Value)
		usual := math.Abs(s.Course.Slope.Slope) * (r.X - last.X)
		if !(gone > 1.5*usual+r.Measure.Uncertainty) {
			return ""
		}
		return fmt.Sprintf("between run %s and %s went at least %s, more than since", last.Run, r.Run, w.figure(gone-r.Measure.Uncertainty))
	}
	return ""
}

// changed returns the runs between which reading k begins.
func (w *watch) changed(k int) (before, after string) {
	n := 0
	for _, r := range w.stretch.Rows {
		if !r.Used || !measured(r.Measure) {
			continue
		}
		if n == k-1 {
			before = r.Run
		}
		if n == k {
			return before, r.Run
		}
		n++
	}
	return before, after
}

func (w *watch) ceilingWord(sign float64) string {
	if sign < 0 {
		return "at least"
	}
	return "at most"
}

func span(runs []string) string {
	if len(runs) < 3 {
		return strings.Join(runs, ", ")
	}
	return runs[0] + " to " + runs[len(runs)-1]
}

func probability(p float64) string {
	if p < 0.001 {
		return "less than 0.1 %"
	}
	return fmt.Sprintf("%.2g %%", 100*p)
}
