package trend

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"limbgauge/analyze/alike"
	"limbgauge/analyze/health"
)

// part is the points between two breaks.
type part struct {
	since  string
	points []Point
}

// split cuts the points where something was done to the joint. Several breaks between two runs are one.
func split(points []Point, breaks []Break) []part {
	breaks = slices.Clone(breaks)
	slices.SortStableFunc(breaks, func(a, b Break) int { return a.At.Compare(b.At) })
	var out []part
	next, from := 0, 0
	for i, p := range points {
		since, broken := "", false
		for ; next < len(breaks) && !p.Started.Before(breaks[next].At); next++ {
			if broken = true; since != "" {
				since += ", "
			}
			since += breaks[next].What
		}
		if len(out) == 0 || broken {
			out, from = append(out, part{since: since}), i
		}
		out[len(out)-1].points = points[from : i+1]
	}
	return out
}

// usual returns the routine with most runs in a stretch. Of several it is the one that the joint ran most
// in all its stretches, since a single check beside a single assembly run does not replace what all runs
// before were; then the newest.
func usual(points, all []Point) (best string) {
	here := counted(points)
	most := 0
	for _, n := range here {
		most = max(most, n)
	}
	maps.DeleteFunc(here, func(_ string, n int) bool { return n < most })
	if len(here) == 1 {
		for best = range here {
		}
		return best
	}
	over := counted(all)
	for _, p := range slices.Backward(points) {
		r := p.At.Routine
		if _, may := here[r]; may && (best == "" || over[r] > over[best]) {
			best = r
		}
	}
	return best
}

// counted says how many runs there are of each routine: of those that came to their end, or of all where
// none did.
func counted(points []Point) map[string]int {
	n := map[string]int{}
	for i := range points {
		if !points[i].Broken {
			n[points[i].At.Routine]++
		}
	}
	if len(n) == 0 {
		for i := range points {
			n[points[i].At.Routine]++
		}
	}
	return n
}

// contradicts is how many of its standard uncertainties a reading must lie beyond a later bound before the
// bound is not believed.
const contradicts = 3

// rows sorts the points of a stretch: those of the routine, each brought to the conditions of the first
// that says something.
func rows(p part, routine string) Stretch {
	s := Stretch{Since: p.since, Routine: routine, Rows: make([]Row, 0, len(p.points))}
	var to *alike.Conditions
	var last health.Measure // the newest reading
	for _, q := range p.points {
		if q.At.Routine != s.Routine {
			s.Others = append(s.Others, q)
			continue
		}
		if !q.Broken {
			s.Runs++
		}
		r := Row{Point: q, X: float64(len(s.Rows) + 1), Charts: noCharts}
		m := q.Measure
		switch {
		case m.Status == health.NotObservable || math.IsNaN(m.Value) || math.IsInf(m.Value, 0):
			s.Unseen++
			r.Why = m.Reason
		case to != nil:
			var a alike.Answer
			if m, a = alike.Figures(m, *q.At, *to); a.Kind == alike.NotComparable {
				s.Left++
			}
			r.Why = a.Why
			r.Used = a.Kind != alike.NotComparable
		default:
			to, r.Used = q.At, true
		}
		if r.Used {
			r.Measure = m
			if said := doubtful(m, last); said != "" {
				r.Used, r.Why = false, said
				s.Left++
			}
		}
		switch {
		case !r.Used:
		case m.Status == health.Measured:
			s.Readings++
			last = m
		default:
			s.Bounds++
		}
		s.Rows = append(s.Rows, r)
	}
	return s
}

// doubtful says why a bound is not believed: the reading before it lies far beyond. A belt that is slack
// from the start shows no knee, just as one that is tight does not.
func doubtful(m, last health.Measure) string {
	if last.Name == "" || !(last.Uncertainty > 0) {
		return ""
	}
	gap := 0.0
	switch m.Status {
	case health.BoundLow:
		gap = m.Value - last.Value
	case health.BoundHigh:
		gap = last.Value - m.Value
	}
	if gap > contradicts*last.Uncertainty/2 && m.Status == health.BoundLow && moreIsBetter(m.Name) {
		return fmt.Sprintf("%s %.3g %s against %.3g %s before, which is not believed: where nothing is left it can look the same. Was it mended? Then note the service", boundWord(m.Status), m.Value, m.Unit, last.Value, last.Unit)
	}
	return ""
}

func moreIsBetter(name string) bool {
	d, _ := health.DefinitionOf(name)
	return d.More
}

func boundWord(s health.Status) string {
	if s == health.BoundLow {
		return "at least"
	}
	return "at most"
}
