package stats

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// ErrNoMinimum says that a curve fit did not come to rest.
var ErrNoMinimum = errors.New("the fit did not converge")

// Curve is a nonlinear least squares fit.
type Curve struct {
	Coef  []float64
	Cov   [][]float64 // s²(JᵀJ)⁻¹ at the minimum
	RSS   float64
	N     int
	DF    float64
	S     float64 // residual standard deviation
	Steps int
}

// Estimate returns parameter j with its standard uncertainty.
func (c Curve) Estimate(j int) Estimate {
	return Estimate{Value: c.Coef[j], U: math.Sqrt(c.Cov[j][j]), DF: c.DF}
}

// FitCurve finds the parameters that make the sum of squares of n residuals least, from a start
// (Levenberg-Marquardt; damping after Nielsen 1999, Jacobian by central differences). residuals
// fills r for parameters p; it must not keep either. The answer is a local minimum: start near it.
// Uncertainties are those of the tangent plane, so a strongly curved model needs a bootstrap.
func FitCurve(n int, start []float64, residuals func(p, r []float64)) (Curve, error) {
	k := len(start)
	if n < k {
		return Curve{}, fmt.Errorf("curve of %d parameters through %d readings: %w", k, n, ErrTooFew)
	}
	p := append([]float64(nil), start...)
	r, trial := make([]float64, n), make([]float64, n)
	residuals(p, r)
	rss := dot(r, r)
	if math.IsNaN(rss) || math.IsInf(rss, 0) {
		return Curve{}, fmt.Errorf("curve of %d parameters: its start has no finite residuals: %w", k, ErrNoMinimum)
	}
	mu, grow := 1e-3, 2.0
	const maxSteps = 4000
	small := 0
	for step := 1; step <= maxSteps; step++ {
		j := jacobian(n, p, residuals)
		d, predicted, ok := damped(j, r, mu)
		if !ok {
			mu, grow = mu*grow, grow*2
			continue
		}
		q := make([]float64, k)
		moved := 0.0
		for i := range p {
			q[i] = p[i] + d[i]
			moved = math.Max(moved, math.Abs(d[i])/(math.Abs(p[i])+1e-300))
		}
		residuals(q, trial)
		next := dot(trial, trial)
		gain := (rss - next) / predicted
		if next <= rss && !math.IsNaN(next) {
			if moved < 1e-9 || rss-next <= 1e-15*rss {
				small++
			} else {
				small = 0
			}
			p, rss = q, next
			copy(r, trial)
			mu, grow = mu*math.Max(1.0/3, 1-math.Pow(2*gain-1, 3)), 2
		} else {
			// No step however short gets lower: the minimum as far as rounding shows.
			if moved < 1e-11 {
				small = 3
			}
			mu, grow = mu*grow, grow*2
		}
		if small >= 3 || math.IsInf(mu, 1) {
			return curve(n, p, rss, residuals, step)
		}
	}
	return Curve{}, fmt.Errorf("curve of %d parameters after %d steps: %w", k, maxSteps, ErrNoMinimum)
}

func curve(n int, p []float64, rss float64, residuals func(p, r []float64), steps int) (Curve, error) {
	c := Curve{Coef: p, RSS: rss, N: n, DF: float64(n - len(p)), Steps: steps}
	c.S = math.Sqrt(rss / c.DF)
	j := jacobian(n, p, residuals)
	cols := make([][]float64, len(p))
	for i := range cols {
		cols[i] = mat.Col(nil, i, j)
	}
	// The covariance is that of a linear fit with the Jacobian's columns; its residuals do not matter.
	f, err := OLS(cols, make([]float64, n))
	if err != nil {
		return c, fmt.Errorf("curve: the readings do not determine every parameter: %w", err)
	}
	c.Cov = f.unit
	for i := range c.Cov {
		for m := range c.Cov[i] {
			c.Cov[i][m] *= rss / c.DF
		}
	}
	return c, nil
}

func jacobian(n int, p []float64, residuals func(p, r []float64)) *mat.Dense {
	j := mat.NewDense(n, len(p), nil)
	hi, lo := make([]float64, n), make([]float64, n)
	q := append([]float64(nil), p...)
	for k := range p {
		h := 6e-6 * math.Abs(p[k]) // cube root of the rounding unit: best for central differences
		if h == 0 {
			h = 1e-8
		}
		q[k] = p[k] + h
		up := q[k]
		residuals(q, hi)
		q[k] = p[k] - h
		residuals(q, lo)
		for i := range n {
			j.Set(i, k, (hi[i]-lo[i])/(up-q[k]))
		}
		q[k] = p[k]
	}
	return j
}

// damped solves min|J·d + r|² + mu·|D·d|², D the lengths of J's columns, and returns the fall of the
// sum of squares that the tangent plane promises.
func damped(j *mat.Dense, r []float64, mu float64) (d []float64, predicted float64, ok bool) {
	n, k := j.Dims()
	a := mat.NewDense(n+k, k, nil)
	b := mat.NewVecDense(n+k, nil)
	scale := make([]float64, k)
	for c := range k {
		if scale[c] = mat.Norm(j.ColView(c), 2); !(scale[c] > 0) || math.IsInf(scale[c], 1) {
			return nil, 0, false
		}
		for i := range n {
			a.Set(i, c, j.At(i, c)/scale[c])
		}
		a.Set(n+c, c, math.Sqrt(mu))
	}
	for i, v := range r {
		b.SetVec(i, -v)
	}
	var qr mat.QR
	qr.Factorize(a)
	var x mat.VecDense
	if err := qr.SolveVecTo(&x, false, b); err != nil && x.Len() == 0 {
		return nil, 0, false
	}
	var jd mat.VecDense
	jd.MulVec(a.Slice(0, n, 0, k), &x)
	d = make([]float64, k)
	for c := range d {
		d[c] = x.AtVec(c) / scale[c]
	}
	for i, v := range r {
		e := v + jd.AtVec(i)
		predicted += v*v - e*e
	}
	return d, math.Max(predicted, 1e-300), true
}

func dot(a, b []float64) (s float64) {
	for i, v := range a {
		s += v * b[i]
	}
	return s
}
