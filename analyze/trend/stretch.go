package trend

import (
	"fmt"
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

// usual returns the routine with most points, the later one of two.
func usual(points []Point) string {
	count := map[string]int{}
	best := ""
	for _, p := range points {
		r := p.At.Routine
		if count[r]++; count[r] >= count[best] {
			best = r
		}
	}
	return best
}

// contradicts is how many of its standard uncertainties a reading must lie beyond a later bound before the
// bound is not believed.
const contradicts = 3

// rows sorts the points of a stretch: those of the routine, each brought to the conditions of the first
// that says something.
func rows(p part, routine string) Stretch {
	s := Stretch{Since: p.since, Routine: routine, Rows: make([]Row, 0, len(p.points))}
	if routine == "" {
		s.Routine = usual(p.points)
	}
	var to *alike.Conditions
	var last health.Measure // the newest reading
	for _, q := range p.points {
		if q.At.Routine != s.Routine {
			s.Others++
			continue
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
