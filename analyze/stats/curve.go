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

// FitCurve finds the parameters that make the sum of squares of n residuals least, from a start.
// residuals fills r for parameters p; it must not keep either. Levenberg-Marquardt with the scaling of
// Moré (Lecture Notes in Mathematics 630 (1978) 105-116), the damping of Nielsen (IMM-REP-1999-05) and
// the acceleration of Transtrum and Sethna (arXiv 1201.5885), which keeps a far start from running
// off to where the curve is flat. The answer is a local minimum. Uncertainties are those of the
// tangent plane, so a strongly curved model needs a bootstrap.
//
// ErrTooFew: fewer readings than parameters. ErrNoMinimum: no finite residuals at the start, or no
// rest after maxSteps. ErrSingular: the readings do not determine every parameter; Coef and RSS are
// then given all the same.
func FitCurve(n int, start []float64, residuals func(p, r []float64)) (Curve, error) {
	k := len(start)
	if n < k {
		return Curve{}, fmt.Errorf("curve of %d parameters through %d readings: %w", k, n, ErrTooFew)
	}
	c := &climb{residuals: residuals, p: append([]float64(nil), start...), r: make([]float64, n),
		scale: make([]float64, k), mu: 1e-3, grow: 2}
	residuals(c.p, c.r)
	if c.rss = dot(c.r, c.r); math.IsNaN(c.rss) || math.IsInf(c.rss, 0) {
		return Curve{}, fmt.Errorf("curve of %d parameters: its start has no finite residuals: %w", k, ErrNoMinimum)
	}
	for step := 1; step <= maxSteps; step++ {
		if c.step() {
			c.polish()
			return c.curve(step)
		}
	}
	return Curve{}, fmt.Errorf("curve of %d parameters after %d steps: %w", k, maxSteps, ErrNoMinimum)
}

const (
	maxSteps = 4000
	// accelerationMax is the greatest share of the step that its bend may be: beyond it the tangent
	// plane tells nothing of where the step ends (Transtrum and Sethna, 0.75).
	accelerationMax = 0.75
	// probe is the part of the step over which the bend is taken (the same, 0.1).
	probe = 0.1
)

// climb is a fit on its way down.
type climb struct {
	residuals func(p, r []float64)
	p, r      []float64
	rss       float64
	scale     []float64 // greatest length of each column of the Jacobian so far
	mu, grow  float64
	still     int // steps in a row that moved nothing
}

// step tries one step and reports whether the fit has come to rest.
func (c *climb) step() bool {
	n, k := len(c.r), len(c.p)
	j := jacobian(c.residuals, n, c.p, centralStep, false)
	for i := range c.scale {
		c.scale[i] = math.Max(c.scale[i], mat.Norm(j.ColView(i), 2))
	}
	solve, ok := damped(j, c.scale, c.mu)
	if !ok {
		c.refuse()
		return math.IsInf(c.mu, 1)
	}
	v := solve(c.r)
	tangent := mat.NewVecDense(n, nil)
	tangent.MulVec(j, mat.NewVecDense(k, v))
	var predicted float64
	for i, r := range c.r {
		e := r + tangent.AtVec(i)
		predicted += r*r - e*e
	}
	q, trial := make([]float64, k), make([]float64, n)
	for i := range q {
		q[i] = c.p[i] + probe*v[i]
	}
	c.residuals(q, trial)
	for i := range trial {
		trial[i] = 2 / probe * ((trial[i]-c.r[i])/probe - tangent.AtVec(i))
	}
	bend, bent, straight := solve(trial), 0.0, 0.0
	for i := range q {
		bent, straight = math.Hypot(bent, c.scale[i]*bend[i]), math.Hypot(straight, c.scale[i]*v[i])
	}
	if !(2*bent <= accelerationMax*straight) {
		c.refuse()
		return math.IsInf(c.mu, 1)
	}
	moved := 0.0
	for i := range q {
		d := v[i] + bend[i]/2
		q[i] = c.p[i] + d
		moved = math.Max(moved, math.Abs(d)/(math.Abs(c.p[i])+1e-300))
	}
	c.residuals(q, trial)
	next := dot(trial, trial)
	if !(next <= c.rss) {
		c.refuse()
		// No step however short gets lower: the minimum as far as rounding shows.
		return moved < 1e-11 || math.IsInf(c.mu, 1)
	}
	c.still++
	if moved >= 1e-9 && c.rss-next > 1e-15*c.rss {
		c.still = 0
	}
	gain := (c.rss - next) / math.Max(predicted, 1e-300)
	c.mu, c.grow = c.mu*math.Max(1.0/3, 1-math.Pow(2*gain-1, 3)), 2
	c.p, c.r, c.rss = q, trial, next
	return c.still >= 3
}

func (c *climb) refuse() { c.mu, c.grow = c.mu*c.grow, c.grow*2 }

// polish takes plain steps with a better Jacobian for as long as they grow shorter: the sum of
// squares cannot tell parameters that agree to half the digits.
func (c *climb) polish() {
	n, k := len(c.r), len(c.p)
	last := math.Inf(1)
	for range 100 {
		solve, ok := damped(jacobian(c.residuals, n, c.p, fineStep, true), c.scale, 0)
		if !ok {
			return
		}
		d := solve(c.r)
		size := 0.0
		for i, v := range d {
			size = math.Max(size, math.Abs(v)/(math.Abs(c.p[i])+1e-300))
		}
		if !(size < 0.95*last) || !(size < 1e-3) {
			return
		}
		last = size
		q, trial := make([]float64, k), make([]float64, n)
		for i := range q {
			q[i] = c.p[i] + d[i]
		}
		c.residuals(q, trial)
		rss := dot(trial, trial)
		if !(rss <= c.rss*(1+1e-10)) {
			return
		}
		c.p, c.r, c.rss = q, trial, rss
	}
}

// curve gives the fit the uncertainties of its tangent plane.
func (c *climb) curve(steps int) (Curve, error) {
	n, k := len(c.r), len(c.p)
	out := Curve{Coef: c.p, RSS: c.rss, N: n, DF: float64(n - k), Steps: steps}
	out.S = math.Sqrt(out.RSS / out.DF)
	j := jacobian(c.residuals, n, c.p, fineStep, true)
	cols := make([][]float64, k)
	for i := range cols {
		cols[i] = mat.Col(nil, i, j)
	}
	// The covariance is that of a linear fit with the Jacobian's columns; its residuals do not matter.
	f, err := OLS(cols, make([]float64, n))
	if err != nil {
		return out, fmt.Errorf("curve: the readings do not determine every parameter: %w", err)
	}
	out.Cov = f.unit
	for i := range out.Cov {
		for m := range out.Cov[i] {
			out.Cov[i][m] *= out.RSS / out.DF
		}
	}
	return out, nil
}

// Steps of the difference quotients, as a share of the parameter: cube and fifth root of the rounding
// unit, the second shortened for models that turn fast.
const (
	centralStep = 6e-6
	fineStep    = 1e-4
)

// jacobian takes the derivatives by central differences over two points, or over four when fine.
func jacobian(residuals func(p, r []float64), n int, p []float64, share float64, fine bool) *mat.Dense {
	j := mat.NewDense(n, len(p), nil)
	q := append([]float64(nil), p...)
	slope := func(k int, h float64) []float64 {
		hi, lo := make([]float64, n), make([]float64, n)
		q[k] = p[k] + h
		up := q[k]
		residuals(q, hi)
		q[k] = p[k] - h
		residuals(q, lo)
		for i := range hi {
			hi[i] = (hi[i] - lo[i]) / (up - q[k])
		}
		q[k] = p[k]
		return hi
	}
	for k := range p {
		h := share * math.Abs(p[k])
		if h == 0 {
			h = 1e-8
		}
		d := slope(k, h)
		if fine {
			for i, wide := range slope(k, 2*h) {
				d[i] = (4*d[i] - wide) / 3 // Richardson
			}
		}
		j.SetCol(k, d)
	}
	return j
}

// damped returns a solver of min|J·d + r|² + mu·|D·d|² for d, D the scale of J's columns.
func damped(j *mat.Dense, scale []float64, mu float64) (solve func(r []float64) []float64, ok bool) {
	n, k := j.Dims()
	a := mat.NewDense(n+k, k, nil)
	for c := range k {
		s := scale[c]
		if s == 0 {
			s = 1 // a parameter without effect so far stays where it is
		}
		if math.IsInf(s, 1) || math.IsNaN(s) {
			return nil, false
		}
		for i := range n {
			a.Set(i, c, j.At(i, c)/s)
		}
		a.Set(n+c, c, math.Sqrt(mu))
	}
	var qr mat.QR
	qr.Factorize(a)
	return func(r []float64) []float64 {
		b := mat.NewVecDense(n+k, nil)
		for i, v := range r {
			b.SetVec(i, -v)
		}
		d := make([]float64, k)
		var x mat.VecDense
		if err := qr.SolveVecTo(&x, false, b); err != nil && x.Len() == 0 {
			return d
		}
		for c := range d {
			d[c] = x.AtVec(c)
			if scale[c] > 0 {
				d[c] /= scale[c]
			}
		}
		return d
	}, true
}

func dot(a, b []float64) (s float64) {
	for i, v := range a {
		s += v * b[i]
	}
	return s
}
