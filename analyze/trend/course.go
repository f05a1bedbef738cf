package trend

import (
	"math"

	"limbgauge/analyze/health"
	"limbgauge/analyze/stats"
)

// Shape is the plainest picture that the readings of a stretch allow.
type Shape string

// The shapes.
const (
	Steady Shape = "steady"
	Slope  Shape = "slope" // one straight line over all
	Bend   Shape = "bend"  // level up to a run, a straight line from it
	Jump   Shape = "jump"  // one level up to a run, another from it
)

// Course is how a measure went over a stretch.
type Course struct {
	Shape Shape
	// From is the row from which the line, or the new level, counts; Before the last reading ahead of it.
	From, Before int
	Old, New     float64 // levels of a jump
	// Hidden says that only bounds stand before the first reading: when it began cannot be seen.
	Hidden bool
	// Slope is per run, over the readings (and bounds) from row From on; NaN where there is none.
	Slope stats.Slope
	P     float64 // of no trend there, Mann-Kendall, two-sided; NaN with fewer than four
	// CycleSlope is per cycle travelled, NaN where travel is not known.
	CycleSlope stats.Slope
	Readings   int // behind the slope
	Blocks     int // runs that were put into one for the slope, 1 in stretches of usual length
	// Change is the best single step of the mean where chance hardly makes one; looked for where a change
	// was found.
	Change *stats.Change
}

const (
	// shapeLeast readings are needed to tell a jump from a slope.
	shapeLeast = 6
	// trendP is the probability by chance below which Mann-Kendall's test is taken for a trend.
	trendP = 0.05
	// changeP is the probability by chance below which a jump is told as one.
	changeP = 0.01
	// blocksMost is how many points a slope is worked out from, as it takes all their pairs. Longer
	// stretches are put into blocks of equal length, each its median, none left out.
	blocksMost = 150
	shuffles   = 999
)

// series is the readings of a stretch as numbers.
type series struct {
	row    []int
	x, y   []float64
	cycles []float64
	u      []float64
}

func readings(rows []Row) (s series) {
	n := len(rows)
	s = series{make([]int, 0, n), make([]float64, 0, n), make([]float64, 0, n), make([]float64, 0, n), make([]float64, 0, n)}
	for i, r := range rows {
		if r.Used && measured(r.Measure) {
			s.row, s.x, s.y = append(s.row, i), append(s.x, r.X), append(s.y, r.Measure.Value)
			s.cycles, s.u = append(s.cycles, r.Cycles), append(s.u, r.Measure.Uncertainty/2)
		}
	}
	return s
}

// courseOf finds the shape, then the slope of its last piece.
func courseOf(rows []Row) Course {
	nan := math.NaN()
	none := stats.Slope{Slope: nan, Lo: nan, Hi: nan, Intercept: nan}
	c := Course{Shape: Steady, Old: nan, New: nan, Slope: none, CycleSlope: none, P: nan, Blocks: 1}
	s := readings(rows)
	if len(s.y) == 0 {
		return c
	}
	k := 0
	if len(s.y) >= shapeLeast {
		c.Shape, k = shapeOf(s)
	}
	from := s.row[k]
	if k > 0 {
		c.Before = s.row[k-1]
	}
	if c.Shape == Jump {
		c.Old, c.New = stats.Mean(s.y[:k]), stats.Mean(s.y[k:])
	}
	if k == 0 {
		from = 0 // bounds before the first reading count
		for _, r := range rows[:s.row[0]] {
			c.Hidden = c.Hidden || r.Used
		}
	}
	c.From = from
	n := len(rows) - from
	x, cycles, spans := make([]float64, 0, n), make([]float64, 0, n), make([]stats.Span, 0, n)
	known := true
	for i := from; i < len(rows); i++ {
		r := rows[i]
		if !r.Used {
			continue
		}
		x, spans, cycles = append(x, r.X), append(spans, spanOf(r.Measure)), append(cycles, r.Cycles)
		known = known && !math.IsNaN(r.Cycles)
		if measured(r.Measure) {
			c.Readings++
		}
	}
	if c.Readings < 2 {
		return c
	}
	c.P = chance(spans)
	c.Blocks = (len(x) + blocksMost - 1) / blocksMost
	spans = blocks(spans, c.Blocks)
	c.Slope = slopeOf(medians(x, c.Blocks), spans)
	if known {
		c.CycleSlope = slopeOf(medians(cycles, c.Blocks), spans)
	}
	if len(s.y) < shapeLeast && c.P < trendP {
		c.Shape = Slope // the readings are too few to tell a slope from a jump, bounds and all they rise or fall
	}
	return c
}

// exact returns spans as the values they are; ok is false where one of them is a bound.
func exact(y []stats.Span) (values []float64, ok bool) {
	values = make([]float64, len(y))
	for i, v := range y {
		if !v.Exact() {
			return nil, false
		}
		values[i] = v.Lo
	}
	return values, true
}

// chance returns Mann-Kendall's probability of no trend, NaN where there are too few.
func chance(y []stats.Span) float64 {
	k, err := stats.Kendall{}, error(nil)
	if values, ok := exact(y); ok {
		k, err = stats.MannKendall(values)
	} else {
		k, err = stats.MannKendallSpans(y)
	}
	if err != nil {
		return math.NaN()
	}
	return k.P
}

// slopeOf returns the Theil-Sen slope, with bounds as bounds.
func slopeOf(x []float64, y []stats.Span) (s stats.Slope) {
	var err error
	if values, ok := exact(y); ok {
		s, err = stats.TheilSen(x, values, stats.Interpolate)
	} else {
		s, err = stats.TheilSenSpans(x, y)
	}
	if nan := math.NaN(); err != nil {
		return stats.Slope{Slope: nan, Lo: nan, Hi: nan, Intercept: nan}
	}
	return s
}

// blocks puts every k spans into one: the median of what they hold lies between the medians of their ends.
func blocks(y []stats.Span, k int) []stats.Span {
	if k <= 1 {
		return y
	}
	lo, hi := make([]float64, len(y)), make([]float64, len(y))
	for i, s := range y {
		lo[i], hi[i] = s.Lo, s.Hi
	}
	lo, hi = medians(lo, k), medians(hi, k)
	out := make([]stats.Span, len(lo))
	for i := range out {
		out[i] = stats.Span{Lo: lo[i], Hi: hi[i]}
	}
	return out
}

// medians returns the median of every k values, the last block taking what is left.
func medians(x []float64, k int) []float64 {
	if k <= 1 {
		return x
	}
	out := make([]float64, 0, len(x)/k+1)
	for i := 0; i < len(x); i += k {
		out = append(out, stats.Median(x[i:min(len(x), i+k)]))
	}
	return out
}

// changeOf looks for the best single step of the readings.
func changeOf(rows []Row) *stats.Change {
	if c, err := change(readings(rows).y); err == nil && c.P <= changeP {
		return &c
	}
	return nil
}

// change looks for one step of the mean; of long series its probability comes from blocks.
func change(y []float64) (stats.Change, error) {
	if len(y) <= blocksMost {
		return stats.FindChange(y, shuffles, 1)
	}
	c, err := stats.FindChange(y, 0, 0)
	if err != nil {
		return c, err
	}
	b, err := stats.FindChange(medians(y, (len(y)+blocksMost-1)/blocksMost), shuffles, 1)
	c.P = b.P
	return c, err
}

func spanOf(m health.Measure) stats.Span {
	switch m.Status {
	case health.BoundLow:
		return stats.AtLeast(m.Value)
	case health.BoundHigh:
		return stats.AtMost(m.Value)
	}
	return stats.Reading(m.Value)
}

// shapeOf chooses between one level, a line, a level with a line after it and two levels by
// BIC = N·ln(RSS) + p·ln N (Schwarz, Annals of Statistics 6 (1978) 461-464); the place of a jump or bend
// counts as a parameter. One reading's own variance is added to each RSS, so that figures that agree
// better than they are known are not split by their last digit. k is the first reading of the last piece.
func shapeOf(s series) (shape Shape, k int) {
	n := len(s.y)
	nf := float64(n)
	x0, y0 := s.x[0], stats.Mean(s.y)
	own := 0.0
	for _, u := range s.u {
		if !math.IsNaN(u) {
			own += u * u / nf
		}
	}
	var sx, sy, sxx, sxy, syy float64
	for i := range s.y {
		x, y := s.x[i]-x0, s.y[i]-y0
		sx, sy, sxx, sxy, syy = sx+x, sy+y, sxx+x*x, sxy+x*y, syy+y*y
	}
	flat := math.Max(0, syy-sy*sy/nf)
	bic := func(rss, p float64) float64 { return nf*math.Log(math.Max(0, rss)+own+1e-300) + p*math.Log(nf) }
	shape, best := Steady, bic(flat, 1)
	try := func(as Shape, at int, rss, p float64) {
		if b := bic(rss, p); b < best {
			best, shape, k = b, as, at
		}
	}
	try(Slope, 0, flat-square(sxy-sx*sy/nf)/(sxx-sx*sx/nf), 2)
	// From the end: sums over the readings from i on.
	var m, tx, ty, txx, txy float64
	for i := n - 1; i > 0; i-- {
		x, y := s.x[i]-x0, s.y[i]-y0
		m, tx, ty, txx, txy = m+1, tx+x, ty+y, txx+x*x, txy+x*y
		if i < 2 {
			break // a level needs two readings before it ends
		}
		try(Jump, i, syy-square(sy-ty)/(nf-m)-ty*ty/m, 3)
		if m < 3 {
			continue // two readings are no slope yet
		}
		// A line that begins at the reading before i: v = max(0, x - place).
		place := s.x[i-1] - x0
		sv, svv, svy := tx-m*place, txx-2*place*tx+m*place*place, txy-place*ty
		try(Bend, i-1, flat-square(svy-sv*sy/nf)/(svv-sv*sv/nf), 3)
	}
	return shape, k
}

func square(x float64) float64 { return x * x }
