package stats

import (
	"fmt"
	"math"
	"slices"
)

// Line is a straight line y = Intercept + Slope·x fitted by least squares.
type Line struct {
	Intercept, Slope Estimate
	S                float64 // residual standard deviation
	R                float64 // correlation of intercept and slope (JCGM 100:2008, H.3.2)
	RSS              float64
	N                int
	DF               float64
	meanX, meanY, sx float64 // sx is √Σ(x-x̄)²
	minX, maxX       float64
}

// FitLine fits a straight line. It needs two readings at different x; with exactly two there is a
// line and no uncertainty.
func FitLine(x, y []float64) (Line, error) { return FitWeightedLine(x, y, nil) }

// FitWeightedLine fits a straight line by least squares weighted with w, for readings whose standard
// uncertainties differ: w = 1/u² up to a common factor (JCGM 100:2008, H.3; Draper and Smith, Applied
// Regression Analysis, section 9.2). Weights are brought to the mean 1, so that S, and Predict, are
// those of a reading of average weight. nil weighs all alike; a weight must be above 0.
func FitWeightedLine(x, y, w []float64) (Line, error) {
	if len(x) != len(y) || w != nil && len(w) != len(x) {
		panic("stats: x, y and weights differ in length")
	}
	n := len(x)
	if n < 2 {
		return Line{}, fmt.Errorf("line through %d readings: %w", n, ErrTooFew)
	}
	weight := func(int) float64 { return 1 }
	l := Line{N: n, DF: float64(n - 2), meanX: Mean(x), meanY: Mean(y)}
	if w != nil {
		m := Mean(w)
		weight = func(i int) float64 { return w[i] / m }
		l.meanX, l.meanY = 0, 0
		for i := range x {
			l.meanX += weight(i) * x[i] / float64(n)
			l.meanY += weight(i) * y[i] / float64(n)
		}
	}
	l.minX, l.maxX = slices.Min(x), slices.Max(x)
	var sxx, sxy float64
	for i := range x {
		d := x[i] - l.meanX
		sxx += weight(i) * d * d
		sxy += weight(i) * d * (y[i] - l.meanY)
	}
	if sxx == 0 {
		return Line{}, fmt.Errorf("line through readings at one x: %w", ErrSingular)
	}
	b := sxy / sxx
	// One step of refinement on the residuals restores the digits a large offset costs.
	var again float64
	for i := range x {
		again += weight(i) * (x[i] - l.meanX) * (y[i] - l.meanY - b*(x[i]-l.meanX))
	}
	b += again / sxx
	for i := range x {
		r := y[i] - l.meanY - b*(x[i]-l.meanX)
		l.RSS += weight(i) * r * r
	}
	l.S = math.Sqrt(l.RSS / l.DF)
	l.sx = math.Sqrt(sxx)
	l.Slope = Estimate{Value: b, U: l.S / l.sx, DF: l.DF}
	l.Intercept = l.At(0)
	l.R = -l.meanX / math.Sqrt(sxx/float64(n)+l.meanX*l.meanX)
	return l, nil
}

// At returns the line's height at x with the standard uncertainty of the line itself.
func (l Line) At(x float64) Estimate {
	d := x - l.meanX
	return Estimate{Value: l.meanY + l.Slope.Value*d,
		U: l.S * math.Sqrt(1/float64(l.N)+d*d/(l.sx*l.sx)), DF: l.DF}
}

// Predict returns the height at x with the standard uncertainty of one new reading there.
func (l Line) Predict(x float64) Estimate {
	e := l.At(x)
	e.U = math.Hypot(e.U, l.S)
	return e
}

// Crossing is where a line reaches a level.
type Crossing struct {
	X              float64
	Lo, Hi         float64 // 95 %, for one new reading to reach the level
	MeanLo, MeanHi float64 // 95 %, for the line itself to reach it
	// Beyond is how far X lies outside the readings, as a share of their span: 0 inside; above 1 the
	// claim reaches further than it was watched.
	Beyond float64
	Unseen string // why there is none
}

// CrossAt returns the x at which the line reaches level y, with the interval from inverting the band
// of prediction and that of the line (Fieller; Draper and Smith, Applied Regression Analysis,
// section 3.2). It is unseen when the slope's interval holds 0: then there is no trend to extend.
func (l Line) CrossAt(y float64) Crossing { return l.CrossWithin(y, 0) }

// CrossWithin is CrossAt where all readings may be off by one common error of standard uncertainty
// common, normal and of known size: it moves the line up or down and so the place where it crosses.
func (l Line) CrossWithin(y, common float64) Crossing {
	c := Crossing{X: math.NaN(), Lo: math.NaN(), Hi: math.NaN(), MeanLo: math.NaN(), MeanHi: math.NaN(), Beyond: math.NaN()}
	if !l.Slope.Excludes(0) {
		c.Unseen = "the slope is not distinguishable from 0"
		return c
	}
	b := l.Slope.Value
	d := (y - l.meanY) / b
	c.X = l.meanX + d
	c.Beyond = math.Max(0, math.Max(l.minX-c.X, c.X-l.maxX)) / (l.maxX - l.minX)
	// |y - ȳ - b·u| = t·s·√(v + u²/Sxx), u = x - x̄, is a quadratic in u.
	t := T95(l.DF)
	band := func(v float64) (lo, hi float64) {
		ts := t * l.S
		a := b*b - ts*ts/(l.sx*l.sx)
		h := b * (y - l.meanY)
		off := T95(math.Inf(1)) * common
		k := (y-l.meanY)*(y-l.meanY) - ts*ts*v - off*off
		r := math.Sqrt(math.Max(0, h*h-a*k))
		return l.meanX + (h-r)/a, l.meanX + (h+r)/a
	}
	c.Lo, c.Hi = band(1 + 1/float64(l.N))
	c.MeanLo, c.MeanHi = band(1 / float64(l.N))
	return c
}
