package trend

import (
	"fmt"
	"math"
	"slices"
	"time"

	"limbgauge/analyze/health"
	"limbgauge/analyze/stats"
)

// Range is a value with its 95 % interval. Hi is infinite where there is no upper end.
type Range struct{ Value, Lo, Hi float64 }

// Forecast says when the limit is reached if it goes on as it went.
type Forecast struct {
	Passed string // run from which on the limit is missed, "" where it is not
	// Runs and Cycles count from the newest run. Days are those of the runs at the pace they had.
	Runs, Cycles, Days Range
	// Beyond is how far the crossing lies outside the runs watched, as a share of their span; above 1
	// more is claimed than was seen.
	Beyond float64
	Unsaid string // why there is none
	// Level says that there is none since the measure stays where it jumped to.
	Level bool
}

// Said reports whether there is a forecast.
func (f Forecast) Said() bool { return f.Unsaid == "" && f.Passed == "" }

const (
	// trendLeast readings let Mann-Kendall's test show any slope that is worth extending.
	trendLeast = 20
	// forecastLeast readings are needed on the line that is extended.
	forecastLeast = 4
	// paceLeast gaps between runs make a pace, paceMost of the newest are looked at [common practice].
	paceLeast, paceMost = 3, 8
	// farOff is how many times the runs watched the limit may lie ahead for a forecast to be worth
	// saying [common practice].
	farOff = 5.0
)

var unknown = Range{math.NaN(), math.NaN(), math.NaN()}

// forecastOf extends the last piece of a course to the limit. sign is the direction of worse.
func forecastOf(s *Stretch, t Trend, sign float64) Forecast {
	f := Forecast{Runs: unknown, Cycles: unknown, Days: unknown, Beyond: math.NaN()}
	not := func(format string, a ...any) Forecast { f.Unsaid = fmt.Sprintf(format, a...); return f }
	if math.IsNaN(t.Limit) {
		return not("it has no limit")
	}
	if f.Passed = passed(s.Rows, t.Limit); f.Passed != "" {
		return f
	}
	c := s.Course
	if c.Shape == Jump && (c.Readings < forecastLeast || !(c.Slope.Lo*c.Slope.Hi > 0)) {
		f.Level = true
		return not("it jumped, and goes no further as far as %s can tell", plural(c.Readings, "run"))
	}
	if c.Readings < forecastLeast {
		return not("%s with a value, a slope needs %d", plural(c.Readings, "run"), forecastLeast)
	}
	if c.Readings > trendLeast && c.P > trendP {
		return not("the runs show no trend")
	}
	limit := t.Limit
	if signed[t.Name] {
		limit *= sign
	}
	piece := pieceOf(s.Rows[c.From:])
	cross, slope, err := piece.cross(piece.x, piece.bx, limit)
	switch {
	case err != nil:
		return not("no line can be drawn: %v", err)
	case cross.Unseen != "":
		return not("%s", cross.Unseen)
	case slope*sign <= 0:
		return not("it moves away from the limit")
	}
	now := s.Rows[len(s.Rows)-1]
	if seen := now.X - s.Rows[c.From].X; cross.Lo-now.X > farOff*seen {
		return not("it is more than %.0f runs away", farOff*seen)
	}
	f.Runs, f.Beyond = ahead(cross, now.X), cross.Beyond
	if piece.travelled() && !math.IsNaN(now.Cycles) {
		if cross, _, err := piece.cross(piece.cycles, piece.bcycles, limit); err == nil && cross.Unseen == "" {
			f.Cycles = ahead(cross, now.Cycles)
		}
	}
	f.Days = days(s.Rows, f.Runs)
	return f
}

// passed returns the run from which on every run that can say it misses the limit.
func passed(rows []Row, limit float64) (run string) {
	for _, r := range slices.Backward(rows) {
		if !r.Used {
			continue
		}
		switch health.Judge(r.Measure, limit).Verdict {
		case health.Fail:
			run = r.Run
		case health.Pass:
			return run
		case health.Unproven:
			if measured(r.Measure) {
				return run
			}
		}
	}
	return run
}

// piece is the readings and bounds that a line is drawn through.
type piece struct {
	x, cycles, y, u []float64 // of the readings
	bx, bcycles     []float64 // of readings and bounds
	spans           []stats.Span
}

func pieceOf(rows []Row) (p piece) {
	for _, r := range rows {
		if !r.Used {
			continue
		}
		p.bx, p.bcycles, p.spans = append(p.bx, r.X), append(p.bcycles, r.Cycles), append(p.spans, spanOf(r.Measure))
		if measured(r.Measure) {
			p.x, p.cycles = append(p.x, r.X), append(p.cycles, r.Cycles)
			p.y, p.u = append(p.y, r.Measure.Value), append(p.u, r.Measure.Uncertainty/2)
		}
	}
	return p
}

func (p piece) travelled() bool {
	for i, v := range p.bcycles {
		if math.IsNaN(v) || i > 0 && v <= p.bcycles[i-1] {
			return false
		}
	}
	return true
}

// cross extends the line over x, runs or cycles of the readings (bx of readings and bounds), to the limit: least squares weighted by the readings'
// uncertainties, or by maximum likelihood where bounds stand beside readings. What of a reading's
// uncertainty is more than it scatters is taken as common to all: it moves the line as a whole.
func (p piece) cross(x, bx []float64, limit float64) (c stats.Crossing, slope float64, err error) {
	l, err := stats.FitWeightedLine(x, p.y, p.weights())
	if err != nil {
		return c, 0, err
	}
	common := 0.0
	if u := stats.Median(p.u); u > l.S {
		common = math.Sqrt(u*u - l.S*l.S)
	}
	if len(p.spans) > len(p.y) {
		if b, err := stats.FitCensoredLine(bx, p.spans); err == nil {
			return b.CrossAt(limit, common), b.Slope, nil
		}
	}
	return l.CrossWithin(limit, common), l.Slope.Value, nil
}

// weights are 1/u², nil where one is not known.
func (p piece) weights() []float64 {
	w := make([]float64, len(p.u))
	for i, u := range p.u {
		if !(u > 0) {
			return nil
		}
		w[i] = 1 / (u * u)
	}
	return w
}

// ahead is a crossing as seen from now on; what lies behind is 0.
func ahead(c stats.Crossing, now float64) Range {
	r := Range{math.Max(0, c.X-now), math.Max(0, c.Lo-now), math.Max(0, c.Hi-now)}
	return r
}

// days turns runs into days by the newest gaps between runs: their median, and for the ends their
// quartiles.
func days(rows []Row, runs Range) Range {
	var gaps []float64
	for i := len(rows) - 1; i > 0 && len(gaps) < paceMost; i-- {
		gaps = append(gaps, rows[i].Started.Sub(rows[i-1].Started).Hours()/24)
	}
	if len(gaps) < paceLeast {
		return unknown
	}
	g := stats.Sorted(gaps)
	if !(g[0] > 0) {
		return unknown
	}
	return Range{runs.Value * stats.Quantile(0.5, g), runs.Lo * stats.Quantile(0.25, g), runs.Hi * stats.Quantile(0.75, g)}
}

// Date returns the day that many days from a time.
func Date(from time.Time, days float64) time.Time {
	return from.Add(time.Duration(days * 24 * float64(time.Hour)))
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
