package trend

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"limbgauge/analyze/health"
	"limbgauge/analyze/stats"
)

// saying puts a stretch into one sentence without a full stop.
func (w *watch) saying() string {
	s := w.stretch
	name := w.subject()
	if s.Warning == nil {
		out := name + " " + w.calm()
		if s.Forecast.Passed != "" {
			out += "; " + w.ahead()
		}
		return out
	}
	out := name + " " + w.moves()
	if s.Warning.Better {
		return out + ", which is better"
	}
	if undirected(w.trend.Name) {
		return out
	}
	if said := w.ahead(); said != "" {
		out += "; " + said
	}
	if !s.Warning.Stands {
		out += "; the newest runs lie where they were at first"
	}
	return out
}

func (w *watch) subject() string {
	d, _ := health.DefinitionOf(w.trend.Name)
	name := strings.ToLower(d.Title[:1]) + d.Title[1:]
	if w.trend.Path == health.NoPath || w.trend.Name == "belt_tension" {
		return name
	}
	return fmt.Sprintf("%s (%s)", name, w.trend.Path)
}

// calm says what is known where nothing moves.
func (w *watch) calm() string {
	s := w.stretch
	switch {
	case s.Runs == 0:
		return "has no run that came to its end"
	case s.Readings+s.Bounds == 0:
		return "was not seen in " + plural(s.Runs, "run")
	case s.Readings == 0:
		return fmt.Sprintf("is steady as far as can be seen: %s in %s", w.everyBound(), plural(s.Bounds, "run"))
	case !s.Baseline.Seen():
		return fmt.Sprintf("has %s for a baseline, which needs %d", plural(len(s.Baseline.Runs), "good run"), baseLeast)
	}
	seen := fmt.Sprintf("over %s", plural(s.Readings+s.Bounds, "run"))
	if s.Baseline.Ceiling {
		return fmt.Sprintf("shows no sure change: %s at first, %s", w.everyBound(), seen)
	}
	return fmt.Sprintf("shows no sure change: %s %s", w.figure(stats.Mean(readings(s.Rows).y)), seen)
}

// everyBound is the bound that holds for every run: the weakest.
func (w *watch) everyBound() string {
	lo, hi := math.Inf(1), math.Inf(-1)
	low, high := false, false
	for _, r := range w.stretch.Rows {
		switch {
		case !r.Used:
		case r.Measure.Status == health.BoundLow:
			lo, low = math.Min(lo, r.Measure.Value), true
		case r.Measure.Status == health.BoundHigh:
			hi, high = math.Max(hi, r.Measure.Value), true
		}
	}
	switch {
	case low && high:
		return fmt.Sprintf("at least %s in some runs and at most %s in others", w.figure(lo), w.figure(hi))
	case low:
		return "at least " + w.figure(lo)
	case high:
		return "at most " + w.figure(hi)
	}
	return "nothing"
}

// moves says how it changed.
func (w *watch) moves() string {
	s := w.stretch
	c := s.Course
	up := w.rising()
	switch {
	case c.Shape == Jump:
		return fmt.Sprintf("%s from %s to %s between run %s and %s", pick(up, "jumped up", "dropped"), w.figure(c.Old), w.figure(c.New), s.Rows[c.Before].Run, s.Rows[c.From].Run)
	case s.Warning.Stands && (c.Shape == Slope || c.Shape == Bend) && !math.IsNaN(c.Slope.Slope) && !math.IsInf(c.Slope.Slope, 0) && (c.Slope.Slope > 0) == up:
		return fmt.Sprintf("%s %s per run since run %s%s", pick(up, "rises", "falls"), w.rate(c.Slope.Slope), w.since(), pick(c.Hidden, " or before", ""))
	}
	row := w.newestRow()
	b := s.Baseline
	at := w.figure(b.Centre)
	if b.Ceiling {
		at = w.ceilingWord(pick(up, 1.0, -1)) + " " + at
	}
	if !b.Seen() {
		return fmt.Sprintf("%s to %s", pick(up, "rises", "falls"), w.measure(s.Rows[row].Measure))
	}
	verb := "is"
	if !s.Warning.Stands {
		verb, row = "was", w.rowOf(s.Warning.First)
	}
	return fmt.Sprintf("%s %s than at first: %s in run %s against %s", verb, pick(up, "greater", "less"), w.measure(s.Rows[row].Measure), s.Rows[row].Run, at)
}

func (w *watch) rowOf(run string) int {
	for i, r := range w.stretch.Rows {
		if r.Run == run {
			return i
		}
	}
	return w.newestRow()
}

// since is the run from which the slope counts: the first reading of its piece.
func (w *watch) since() string {
	for _, r := range w.stretch.Rows[w.stretch.Course.From:] {
		if r.Used && measured(r.Measure) {
			return r.Run
		}
	}
	return w.stretch.Warning.Since
}

// rising reports whether the change told is upwards.
func (w *watch) rising() bool {
	d, _ := health.DefinitionOf(w.trend.Name)
	worse := !d.More
	if w.stretch.Warning.Better {
		worse = !worse
	}
	if signed[w.trend.Name] {
		b := w.stretch.Baseline
		if i := w.newestRow(); i >= 0 && b.Seen() {
			return w.stretch.Rows[i].Measure.Value > b.Centre
		}
	}
	return worse
}

// rate is a slope per run, in per cent of where it began where that is far from nothing.
func (w *watch) rate(slope float64) string {
	s := readings(w.stretch.Rows[w.stretch.Course.From:])
	if len(s.y) > 0 {
		from := math.Abs(s.y[0])
		if u := s.u[0]; from > 5*u && u > 0 || math.IsNaN(u) && from > 0 {
			if share := 100 * math.Abs(slope) / from; share < 100 {
				return fmt.Sprintf("%.2g %%", share)
			}
		}
	}
	return w.figure(math.Abs(slope))
}

func (w *watch) newestRow() int {
	for i := len(w.stretch.Rows) - 1; i >= 0; i-- {
		if w.stretch.Rows[i].Used {
			return i
		}
	}
	return -1
}

// ahead says when the limit is reached.
func (w *watch) ahead() string {
	f := w.stretch.Forecast
	limit := "limit " + w.limit()
	switch {
	case math.IsNaN(w.trend.Limit):
		return ""
	case f.Passed != "":
		return fmt.Sprintf("past its %s since run %s", limit, f.Passed)
	case f.Level:
		return ""
	case !f.Said():
		return fmt.Sprintf("when it reaches its %s cannot be said yet (%s)", limit, f.Unsaid)
	}
	out := limit + " " + InRuns(f.Runs)
	if f.Beyond > 1 {
		out += ", which reaches further than was watched"
	}
	return out
}

// InRuns says a range of runs ahead in words.
func InRuns(r Range) string {
	lo, hi := math.Floor(r.Lo), math.Ceil(r.Hi)
	switch {
	case hi <= 1:
		return "with the next run"
	case math.IsInf(hi, 1):
		return fmt.Sprintf("in %g runs at the earliest", lo)
	case lo == hi:
		return fmt.Sprintf("in %g runs", lo)
	case lo == 0:
		return fmt.Sprintf("within %g runs", hi)
	}
	return fmt.Sprintf("in %g to %g runs", lo, hi)
}

func (w *watch) limit() string { return strconv.FormatFloat(w.trend.Limit, 'g', 6, 64) + w.unit() }

func (w *watch) unit() string {
	if w.trend.Unit == "1" {
		return ""
	}
	return " " + w.trend.Unit
}

func (w *watch) figure(v float64) string {
	if math.IsNaN(v) {
		return "–"
	}
	n := w.decimals
	for n < 6 && v != 0 && math.Abs(v) < 10*math.Pow10(-n) {
		n++ // two digits at least
	}
	return strings.Replace(strconv.FormatFloat(v, 'f', n, 64), "-", "−", 1) + w.unit()
}

func (w *watch) measure(m health.Measure) string {
	switch {
	case m.Status == health.NotObservable:
		return "not seen"
	case m.Status != health.Measured:
		return boundWord(m.Status) + " " + w.figure(m.Value)
	case m.Uncertainty > 0:
		return strings.TrimSuffix(w.figure(m.Value), w.unit()) + " ± " + strconv.FormatFloat(m.Uncertainty, 'g', 2, 64) + w.unit()
	}
	return w.figure(m.Value)
}

// pick returns yes where is, else no.
func pick[T any](is bool, yes, no T) T {
	if is {
		return yes
	}
	return no
}
