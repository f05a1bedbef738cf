package calibrate

import (
	"math"

	"limbgauge/analyze/stats"
	"limbgauge/rig"
)

const rad = math.Pi / 180

// term is one column of a correction and the constant it belongs to.
type term struct {
	at func(x, r float64) float64 // x = r - At
	of func(c *rig.Correction) *float64
}

func zeroOnly() []term {
	return []term{{func(_, _ float64) float64 { return 1 }, func(c *rig.Correction) *float64 { return &c.Zero }}}
}

func lines() []term {
	return append(zeroOnly(), term{func(x, _ float64) float64 { return x }, func(c *rig.Correction) *float64 { return &c.Scale }})
}

func square() term {
	return term{func(x, _ float64) float64 { return x * x }, func(c *rig.Correction) *float64 { return &c.Square }}
}

func cube() term {
	return term{func(x, _ float64) float64 { return x * x * x }, func(c *rig.Correction) *float64 { return &c.Cube }}
}

func waves() []term {
	return []term{
		{func(_, r float64) float64 { return math.Sin(r * rad) }, func(c *rig.Correction) *float64 { return &c.Sin1 }},
		{func(_, r float64) float64 { return math.Cos(r * rad) }, func(c *rig.Correction) *float64 { return &c.Cos1 }},
		{func(_, r float64) float64 { return math.Sin(2 * r * rad) }, func(c *rig.Correction) *float64 { return &c.Sin2 }},
		{func(_, r float64) float64 { return math.Cos(2 * r * rad) }, func(c *rig.Correction) *float64 { return &c.Cos2 }},
	}
}

// shapes lists what a model can be, the simplest first. An angle sensor that counts a whole turn has
// no scale error of its own, so waves come without scale first.
func shapes(m rig.Model) [][]term {
	switch m {
	case rig.ModelZero:
		return [][]term{zeroOnly()}
	case rig.ModelLine:
		return [][]term{lines()}
	case rig.ModelCurve:
		return [][]term{append(lines(), square()), append(lines(), square(), cube())}
	}
	return [][]term{append(zeroOnly(), waves()...), append(lines(), waves()...)}
}

// candidate is one model fitted.
type candidate struct {
	model rig.Model
	terms []term
	fit   stats.Fit
	bic   float64
	err   error
}

// fit fits the differences by the terms. Ranking by BIC takes no scatter for smaller than a
// millionth of the readings' span, so that exact points do not rank by rounding.
func fit(m rig.Model, terms []term, at float64, reading, diff []float64) candidate {
	cols := make([][]float64, len(terms))
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, r := range reading {
		for k, t := range terms {
			cols[k] = append(cols[k], t.at(r-at, r))
		}
		lo, hi = math.Min(lo, r), math.Max(hi, r)
	}
	c := candidate{model: m, terms: terms}
	if c.fit, c.err = stats.OLS(cols, diff); c.err != nil {
		return c
	}
	n := len(diff)
	least := float64(n) * math.Pow(1e-6*(hi-lo), 2)
	c.bic = stats.BIC(math.Max(c.fit.RSS, least), n, len(terms))
	if c.fit.DF < 1 && m != rig.ModelZero && m != rig.ModelLine {
		c.bic = math.Inf(1) // nothing is left to believe it by
	}
	return c
}

// fill writes constants, uncertainties and residuals into a correction.
func (f *candidate) fill(c *rig.Correction, points []rig.CalibrationPoint) {
	c.Model, c.Freedom = f.model, int(f.fit.DF)
	for k, t := range f.terms {
		*t.of(c) = Round(f.fit.Coef[k])
	}
	nan := math.NaN()
	c.ZeroU, c.ScaleU, c.ResidualSD, c.FormU = nan, nan, nan, nan
	typeB := c.Within / math.Sqrt(3)
	span := c.To - c.From
	hasScale := false
	for _, t := range f.terms {
		hasScale = hasScale || t.of(c) == &c.Scale
	}
	if f.fit.DF >= 1 {
		wide := widen(f.fit.DF)
		c.ResidualSD = Round(f.fit.S)
		c.ZeroU = Round(math.Hypot(wide*f.fit.Estimate(0).U, typeB))
		if hasScale {
			c.ScaleU = Round(math.Hypot(wide*f.fit.Estimate(1).U, typeB*math.Sqrt2/span))
		}
		if f.model != rig.ModelZero {
			c.FormU = Round(math.Max(wide*f.fit.S, typeB))
		}
	} else if noise := noiseOf(points); noise > 0 || typeB > 0 {
		// Nothing is left of the fit, but scatter of the readings and the reference are known.
		u := math.Hypot(noise, typeB)
		c.ZeroU = Round(u / math.Sqrt(float64(len(points))))
		if hasScale {
			c.ScaleU = Round(u * math.Sqrt2 / span)
		}
		if typeB > 0 {
			c.ZeroU = Round(math.Max(c.ZeroU, typeB))
		}
	}
	for i := range c.Points {
		p := &c.Points[i]
		p.Residual = Round(p.Reference - c.Apply(p.Reading))
	}
}

// widen turns a standard uncertainty with few degrees of freedom into one whose double is the 95 %
// interval all the same.
func widen(df float64) float64 { return stats.T95(df) / stats.T95(math.Inf(1)) }

// noiseOf returns the standard uncertainty of the mean readings by their own scatter, 0 when it is
// not known.
func noiseOf(points []rig.CalibrationPoint) float64 {
	sum := 0.0
	for _, p := range points {
		if p.N > 0 {
			sum += p.SD * p.SD / float64(p.N)
		}
	}
	return math.Sqrt(sum / float64(len(points)))
}

// Wave returns size and phase of the n-th wave of a correction, n 1 or 2: the correction is
// size·sin(n·r + phase), deg. Sources of such waves: an off-centre track e at radius r gives a first
// wave of e/r rad; unequal channels and skew give a second (worked checks in the tests).
func Wave(c *rig.Correction, n int) (sizeDeg, phaseDeg float64) {
	s, k := c.Sin1, c.Cos1
	if n == 2 {
		s, k = c.Sin2, c.Cos2
	}
	return math.Hypot(s, k), math.Atan2(k, s) / rad
}
