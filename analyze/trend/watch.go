package trend

import (
	"math"

	"limbgauge/analyze/health"
)

// watch looks at the rows of a stretch.
type watch struct {
	stretch  *Stretch
	trend    Trend
	decimals int
	share    float64   // probability of a false warning in Runs runs
	bad      []float64 // directions in which the measure gets worse
}

// alarm is what the charts of one direction say.
type alarm struct {
	sign   float64
	base   base
	charts []Charts // of the rows
	first  int      // row of the first alarm that matters, -1 for none
	small  int      // row of the first alarm of whatever size, -1 for none
	onset  int      // row from which the runs lie to the bad side
	by     []string // charts that raised the first alarm
	stands bool
	limits limitsAt
}

// matters is the share of the way from the baseline to the limit that a measure must have gone before a
// warning is worth it [common practice]. Less is a note.
const matters = 0.1

// heads are the running values of the charts.
type heads struct {
	sum, mean, weight float64
	tilt              slope
}

// step takes a deviation into sum and mean (e-Handbook 6.3.2.3 and 6.3.2.4).
func (h *heads) step(z float64, l limitRow) (sum, mean Chart) {
	h.sum = math.Max(0, h.sum+z-slack)
	h.mean = lambda*z + (1-lambda)*h.mean
	h.weight *= (1 - lambda) * (1 - lambda)
	return Chart{h.sum, l.sum}, Chart{h.mean, l.mean * math.Sqrt(lambda/(2-lambda)*(1-h.weight))}
}

// follow runs the charts over the rows in one direction.
func (w *watch) follow(sign, share float64) alarm {
	a := alarm{sign: sign, base: base{sign: sign}, first: -1, small: -1, onset: -1, charts: make([]Charts, len(w.stretch.Rows))}
	p := share / charts
	h := heads{weight: 1}
	onset := -1
	for i := range w.stretch.Rows {
		row, c := &w.stretch.Rows[i], &a.charts[i]
		if *c = noCharts; !row.Used {
			continue
		}
		f := turned(row.Measure, sign)
		bound := a.base.ceiling()
		by := a.chart(c, row, f, &h, p)
		// The runs lie to the bad side from the one after the sum was last at nothing.
		if calm := bound && c.Z.Value < 1 || !bound && h.sum == 0; !math.IsNaN(c.Z.Value) && (onset < 0 || calm) {
			onset = pick(calm, i+1, i)
		}
		if len(by) > 0 && a.small < 0 {
			a.small, a.onset, a.by = i, max(0, min(onset, i)), by
		}
		if len(by) > 0 && a.first < 0 && w.far(&a.base, f, sign) {
			a.first = i
		}
		reach := pick(bound, 1, baseReach) // a reading below what bounds said is no part of what was usual
		if row.Good && !a.base.full() && a.small < 0 && !(c.Z.Value > reach) {
			c.Base = a.base.add(row.Run, f)
		}
		switch {
		case len(by) > 0:
			a.stands = true
		case math.IsNaN(c.Z.Value):
		case bound:
			a.stands = a.stands && c.Z.Value > c.Z.Limit/2
		default:
			a.stands = a.stands && c.Mean.Value > c.Mean.Limit/2
		}
	}
	return a
}

// chart fills in a run's charts and names those that are beyond their limits. p is the probability of a
// false alarm that each of them has.
func (a *alarm) chart(c *Charts, row *Row, f bound, h *heads, p float64) (by []string) {
	limits := a.limits.of(p * math.Min(1, Runs/row.X))
	if f.lo == f.hi {
		h.tilt.add(row.X, f.lo, f.u)
		c.Tilt = Chart{h.tilt.z(), limits.tilt}
	}
	if z := a.base.z(f); !math.IsNaN(z) {
		c.Z = Chart{z, limits.single}
		if a.base.ceiling() {
			// The doubt of a reading against a bound is mostly common to all readings: no sum or mean of
			// them is surer than the one that lies furthest off.
			c.Z.Limit = againstBound(p)
		} else {
			c.Sum, c.Mean = h.step(z, limits)
		}
	}
	for _, x := range []struct {
		name string
		out  bool
	}{{"single", c.Z.Out()}, {"own", !c.Z.Out() && a.base.ownZ(f) > againstBound(p)}, {"mean", c.Mean.Out()}, {"sum", c.Sum.Out()}, {"tilt", c.Tilt.Out()}} {
		if x.out {
			by = append(by, x.name)
		}
	}
	return by
}

// far reports whether a figure has gone a share of the way from the baseline to the limit that is worth a
// warning. Without a limit it is a share of the baseline itself.
func (w *watch) far(b *base, f bound, sign float64) bool {
	v := f.lo
	if math.IsInf(v, 0) {
		return false
	}
	if len(b.runs) < baseLeast {
		return true
	}
	level := b.level()
	way := math.Abs(level)
	if !math.IsNaN(w.trend.Limit) {
		limit := sign * w.trend.Limit
		if signed[w.trend.Name] {
			limit = w.trend.Limit // of the size
		}
		way = limit - level
	}
	if signed[w.trend.Name] && math.Abs(v) < math.Abs(level) {
		return false // it goes towards zero
	}
	return v-level >= matters*way
}

// slope keeps the sums of a straight line as readings come in.
type slope struct {
	n, x, y, xx, xy, yy float64 // about the first reading
	x0, y0              float64
	own, known          float64
}

func (s *slope) add(x, y, u float64) {
	if s.n == 0 {
		s.x0, s.y0 = x, y
	}
	dx, dy := x-s.x0, y-s.y0
	s.n, s.x, s.y = s.n+1, s.x+dx, s.y+dy
	s.xx, s.xy, s.yy = s.xx+dx*dx, s.xy+dx*dy, s.yy+dy*dy
	if !math.IsNaN(u) {
		s.own, s.known = s.own+u*u, s.known+1
	}
}

// z returns the slope over its standard uncertainty as a normal deviate, the scatter about the line
// pooled with the readings' own uncertainty as in a baseline; NaN below tiltLeast readings.
func (s *slope) z() float64 {
	if s.n < tiltLeast {
		return math.NaN()
	}
	sxx := s.xx - s.x*s.x/s.n
	sxy := s.xy - s.x*s.y/s.n
	syy := s.yy - s.y*s.y/s.n
	df := s.n - 2
	v := math.Max(0, syy-sxy*sxy/sxx)
	if s.known > 0 && s.own > 0 {
		v += ownDF * s.own / s.known
		df += ownDF
	}
	if !(v > 0) {
		return math.NaN()
	}
	return deviate(sxy/math.Sqrt(sxx*v/df), df)
}

func measured(m health.Measure) bool { return m.Status == health.Measured }
