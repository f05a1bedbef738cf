package stats

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// CensoredLine is a straight line through readings and bounds by maximum likelihood: normal errors of
// one unknown size, a bound counting by the probability of lying beyond it (Tobin, Econometrica 26
// (1958) 24-36). Without bounds it is the least-squares line, with S from N instead of N-2.
type CensoredLine struct {
	Intercept, Slope, S float64
	LogL                float64
	Readings, Bounds    int
	x                   []float64
	y                   []Span
}

// leastReadings are needed beside any bounds: two lie on a line whatever it is.
const leastReadings = 3

// FitCensoredLine fits a line. It needs three readings at two or more x, not all on one line.
func FitCensoredLine(x []float64, y []Span) (CensoredLine, error) {
	if len(x) != len(y) {
		panic("stats: x and y differ in length")
	}
	c := CensoredLine{x: x, y: y}
	var xs, ys []float64
	for i, s := range y {
		if s.Exact() {
			xs, ys = append(xs, x[i]), append(ys, s.Lo)
		}
	}
	c.Readings, c.Bounds = len(xs), len(x)-len(xs)
	if c.Readings < leastReadings {
		return c, fmt.Errorf("line through %d readings and %d bounds, 3 readings are needed: %w", c.Readings, c.Bounds, ErrTooFew)
	}
	l, err := FitLine(xs, ys)
	if err != nil {
		return c, err
	}
	if !(l.RSS > 1e-20*dot(ys, ys)) {
		return c, fmt.Errorf("readings on one line leave no scatter: %w", ErrSingular)
	}
	p := problem{y: y, g: [][]float64{ones(len(x)), x}}
	theta, logL, err := p.climb([]float64{l.Intercept.Value / l.S, l.Slope.Value / l.S, 1 / l.S})
	if err != nil {
		return c, err
	}
	c.S = 1 / theta[2]
	c.Intercept, c.Slope, c.LogL = theta[0]*c.S, theta[1]*c.S, logL
	return c, nil
}

// critical is how far the log likelihood may fall below its maximum within a 95 % interval, in twos. In
// place of the chi-squared 3.84 it is n·ln(1 + t²/(n-2)), n the readings: without bounds that makes the
// profile interval the exact one of Student's law.
func (c CensoredLine) critical() float64 {
	n := float64(c.Readings)
	t := T95(n - 2)
	return n * math.Log(1+t*t/(n-2))
}

// Tilted reports whether the 95 % profile interval of the slope leaves 0 out.
func (c CensoredLine) Tilted() bool {
	p := problem{y: c.y, g: [][]float64{ones(len(c.x))}}
	_, logL, err := p.climb([]float64{c.Intercept / c.S, 1 / c.S})
	return err == nil && 2*(c.LogL-logL) > c.critical()
}

// CrossAt returns the x at which the line reaches a level: MeanLo and MeanHi are the profile-likelihood
// interval, Lo and Hi that for one new reading, whose own scatter is added in quadrature, and what
// a common error of all readings, of standard uncertainty common, moves it.
func (c CensoredLine) CrossAt(level, common float64) Crossing {
	out := Crossing{X: math.NaN(), Lo: math.NaN(), Hi: math.NaN(), MeanLo: math.NaN(), MeanHi: math.NaN(), Beyond: math.NaN()}
	if !c.Tilted() {
		out.Unseen = "the slope is not distinguishable from 0"
		return out
	}
	out.X = (level - c.Intercept) / c.Slope
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range c.x {
		lo, hi = math.Min(lo, v), math.Max(hi, v)
	}
	out.Beyond = math.Max(0, math.Max(lo-out.X, out.X-hi)) / (hi - lo)
	shifted := make([]Span, len(c.y))
	for i, s := range c.y {
		shifted[i] = Span{s.Lo - level, s.Hi - level}
	}
	g := make([]float64, len(c.x))
	start := []float64{c.Slope / c.S, 1 / c.S}
	beyond := func(at float64) bool { // whether a crossing there is excluded
		for i, v := range c.x {
			g[i] = v - at
		}
		p := problem{y: shifted, g: [][]float64{g}}
		_, logL, err := p.climb(start)
		return err == nil && 2*(c.LogL-logL) > c.critical()
	}
	out.MeanLo = edge(out.X, -(hi - lo), beyond)
	out.MeanHi = edge(out.X, hi-lo, beyond)
	own := math.Hypot(T95(float64(c.Readings-2))*c.S, T95(math.Inf(1))*common) / math.Abs(c.Slope)
	out.Lo = out.X - math.Hypot(out.X-out.MeanLo, own)
	out.Hi = out.X + math.Hypot(out.MeanHi-out.X, own)
	return out
}

// edge looks from x on for where beyond becomes true; infinite where it does not within a thousand times
// the first step.
func edge(x, step float64, beyond func(float64) bool) float64 {
	in, out := x, x+step/64
	for !beyond(out) {
		if math.Abs(out-x) > 1000*math.Abs(step) {
			return math.Inf(int(Sign(step)))
		}
		in, out = out, x+2*(out-x)
	}
	for range 50 {
		if mid := (in + out) / 2; beyond(mid) {
			out = mid
		} else {
			in = mid
		}
	}
	return (in + out) / 2
}

func ones(n int) []float64 {
	o := make([]float64, n)
	for i := range o {
		o[i] = 1
	}
	return o
}

// problem is a log likelihood over β and h = 1/σ: standardised, a reading is z = h·y - Σ β_k·g_k. In these
// parameters it is concave, bounds included (Olsen, Econometrica 46 (1978) 1211-1215), so that Newton
// steps which are shortened until they gain find the one maximum.
type problem struct {
	y []Span
	g [][]float64
}

func (p problem) climb(start []float64) (theta []float64, logL float64, err error) {
	k := len(start)
	theta = append([]float64(nil), start...)
	logL, grad, hess := p.at(theta)
	for range 200 {
		var step mat.VecDense
		if step.SolveVec(hess, mat.NewVecDense(k, grad)) != nil {
			return theta, logL, fmt.Errorf("line through readings and bounds: %w", ErrSingular)
		}
		gain := 0.0
		for i := range k {
			gain -= step.AtVec(i) * grad[i] // hess is negative definite: the step is -H⁻¹·g
		}
		if math.Abs(gain) < 1e-13 {
			return theta, logL, nil
		}
		share, next := 1.0, make([]float64, k)
		for {
			for i := range k {
				next[i] = theta[i] - share*step.AtVec(i)
			}
			if next[k-1] > 0 {
				l, g, h := p.at(next)
				if l >= logL-1e-12*math.Abs(logL) {
					theta, grad, hess = append([]float64(nil), next...), g, h
					if still := l-logL < 1e-13*math.Abs(logL) && share < 1; still {
						return theta, l, nil
					}
					logL = l
					break
				}
			}
			if share /= 2; share < 1e-10 {
				return theta, logL, nil // no step however short gets higher
			}
		}
	}
	return theta, logL, fmt.Errorf("line through readings and bounds: %w", ErrNoMinimum)
}

// at returns the log likelihood with its gradient and second derivatives.
func (p problem) at(theta []float64) (logL float64, grad []float64, hess *mat.Dense) {
	k := len(theta)
	h := theta[k-1]
	grad, hess = make([]float64, k), mat.NewDense(k, k, nil)
	d := make([]float64, k) // of z
	for i, s := range p.y {
		v, side := s.Lo, 0.0
		switch {
		case s.Exact():
		case math.IsInf(s.Hi, 1):
			side = 1 // at least: the true one lies above
		default:
			v, side = s.Hi, -1
		}
		z := h * v
		for j := range p.g {
			d[j] = -p.g[j][i]
			z -= theta[j] * p.g[j][i]
		}
		d[k-1] = v
		slope, bend := -z, -1.0 // of the contribution by z
		if side == 0 {
			logL += math.Log(h) - z*z/2 - math.Log(2*math.Pi)/2
			grad[k-1] += 1 / h
			hess.Set(k-1, k-1, hess.At(k-1, k-1)-1/(h*h))
		} else {
			l, m := tail(side * z)
			logL += l
			slope, bend = -side*m, -m*(m-side*z)
		}
		for a := range k {
			grad[a] += slope * d[a]
			for b := range k {
				hess.Set(a, b, hess.At(a, b)+bend*d[a]*d[b])
			}
		}
	}
	return logL, grad, hess
}

// tail returns ln P(Z > z) of a normal Z and its hazard φ(z)/P(Z > z), far out by the asymptotic series
// (Abramowitz and Stegun, 26.2.12).
func tail(z float64) (logP, hazard float64) {
	logPhi := -z*z/2 - math.Log(2*math.Pi)/2
	if z < 25 {
		p := normalTail(z)
		return math.Log(p), math.Exp(logPhi) / p
	}
	q := 1 / (z * z)
	series := 1 - q*(1-3*q*(1-5*q))
	return logPhi - math.Log(z) + math.Log(series), z / series
}
