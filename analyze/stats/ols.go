package stats

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// ErrSingular says that the columns of a fit do not determine its coefficients.
var ErrSingular = errors.New("columns are linearly dependent")

// ErrTooFew says that there are fewer readings than a fit needs.
var ErrTooFew = errors.New("too few readings")

// condSingular is the condition number from which columns count as dependent: beyond it rounding of
// the columns themselves decides the answer. The worst reference set (Filip) has 5e9.
const condSingular = 1e13

// Fit is a linear least squares fit y = Σ Coef_j·column_j.
type Fit struct {
	Coef  []float64
	Cov   [][]float64 // s²(AᵀA)⁻¹
	RSS   float64     // Σ w·residual²
	N     int         // readings
	DF    float64     // N - number of columns
	S     float64     // √(RSS/DF), the residual standard deviation; NaN without degrees of freedom
	Cond  float64     // ratio of the greatest to the least singular value of the columns scaled to unit length
	Resid []float64   // y - fit, not weighted

	unit [][]float64 // (AᵀA)⁻¹
}

// OLS fits y by the columns, all weights one. There is no hidden constant: hand in a column of ones.
func OLS(columns [][]float64, y []float64) (Fit, error) { return WLS(columns, y, nil) }

// WLS fits y by the columns with weights w (1/u² of each reading, or nil for ones). The covariance
// is scaled by the residual variance, so only the ratios of the weights matter.
//
// The fit is by Householder QR of the scaled columns with iterative refinement in doubled
// precision, so it gives what the columns, as doubles, determine: 14 digits on the reference sets but
// for Filip, whose tenth powers are no doubles. The residuals
// must be independent for Cov to hold: average correlated samples first, or resample cycles.
// ErrTooFew: no more readings than columns less one. ErrSingular: dependent columns.
func WLS(columns [][]float64, y, w []float64) (Fit, error) {
	n, p := len(y), len(columns)
	if n < p || p == 0 {
		return Fit{}, fmt.Errorf("fit of %d coefficients to %d readings: %w", p, n, ErrTooFew)
	}
	root := func(i int) float64 { return 1 }
	if w != nil {
		root = func(i int) float64 { return math.Sqrt(w[i]) }
	}
	a := mat.NewDense(n, p, nil)
	scale := make([]float64, p)
	for j, col := range columns {
		if len(col) != n {
			panic("stats: column and y differ in length")
		}
		for i, v := range col {
			scale[j] = math.Hypot(scale[j], root(i)*v)
		}
		if scale[j] == 0 {
			return Fit{}, fmt.Errorf("column %d is zero everywhere: %w", j+1, ErrSingular)
		}
		// A power of two scales without rounding, which refinement relies on.
		scale[j] = math.Exp2(math.Round(math.Log2(scale[j])))
		for i, v := range col {
			a.Set(i, j, root(i)*v/scale[j])
		}
	}
	b := make([]float64, n)
	for i := range b {
		b[i] = root(i) * y[i]
	}
	var qr mat.QR
	qr.Factorize(a)
	cond := unitCond(a)
	if !(cond < condSingular) {
		return Fit{}, fmt.Errorf("condition number %.3g: %w", cond, ErrSingular)
	}
	x, r := refine(&qr, a, b)
	f := Fit{Coef: make([]float64, p), N: n, DF: float64(n - p), Cond: cond, Resid: make([]float64, n)}
	for i, v := range r {
		f.RSS += v * v
		f.Resid[i] = v / root(i)
	}
	for j := range x {
		f.Coef[j] = x[j] / scale[j]
	}
	f.S = math.Sqrt(f.RSS / f.DF)
	f.unit = inverse(&qr, p, scale)
	f.Cov = make([][]float64, p)
	for i, row := range f.unit {
		f.Cov[i] = make([]float64, p)
		for j, v := range row {
			f.Cov[i][j] = f.S * f.S * v
		}
	}
	return f, nil
}

// refine solves min|b - a·x| and improves x and the residuals r together, from r + a·x = b and aᵀ·r = 0
// taken in doubled precision (Björck, BIT 7 (1967) 257-278). Improving x alone would leave the error
// that great residuals make in it.
func refine(qr *mat.QR, a *mat.Dense, b []float64) (x, r []float64) {
	n, p := a.Dims()
	x, r = make([]float64, p), make([]float64, n)
	f, g := make([]float64, n), make([]float64, p)
	last := math.Inf(1)
	for range 10 {
		rests(a, b, x, r, f, g)
		// A warning about the condition is ours to judge: it was done before.
		var z, dx, dr mat.VecDense
		if err := qr.SolveVecTo(&z, true, mat.NewVecDense(p, g)); err != nil && z.Len() == 0 {
			break
		}
		dr.SubVec(mat.NewVecDense(n, f), &z)
		if err := qr.SolveVecTo(&dx, false, &dr); err != nil && dx.Len() == 0 {
			break
		}
		size := mat.Norm(&dx, 2)
		if !(size < last) {
			break
		}
		last = size
		dr.MulVec(a, &dx)
		for i := range r {
			r[i] += f[i] - dr.AtVec(i)
		}
		length := 0.0
		for j := range x {
			x[j] += dx.AtVec(j)
			length = math.Hypot(length, x[j])
		}
		if size <= 1e-16*length {
			break
		}
	}
	return x, r
}

// rests fills f with b - r - a·x and g with -aᵀ·r, the products and sums kept to about twice the
// precision (Ogita, Rump, Oishi, SIAM J. Sci. Comput. 26 (2005) 1955-1988, algorithm Dot2).
func rests(a *mat.Dense, b, x, r, f, g []float64) {
	sums := make([]double, len(x))
	for i := range b {
		s := double{b[i], 0}
		s.add(-r[i])
		for j, v := range a.RawRowView(i) {
			s.addProduct(-v, x[j])
			sums[j].addProduct(-v, r[i])
		}
		f[i] = s.hi + s.lo
	}
	for j, s := range sums {
		g[j] = s.hi + s.lo
	}
}

// double is a sum with what rounding took from it.
type double struct{ hi, lo float64 }

func (s *double) add(v float64) {
	t := s.hi + v
	z := t - s.hi
	s.lo += (s.hi - (t - z)) + (v - z)
	s.hi = t
}

func (s *double) addProduct(x, y float64) {
	p := x * y
	s.lo += math.FMA(x, y, -p)
	s.add(p)
}

// unitCond returns the condition number of a with its columns scaled to unit length.
func unitCond(a *mat.Dense) float64 {
	n, p := a.Dims()
	u := mat.NewDense(n, p, nil)
	for j := range p {
		l := mat.Norm(a.ColView(j), 2)
		for i := range n {
			u.Set(i, j, a.At(i, j)/l)
		}
	}
	var r mat.Dense
	var qr mat.QR
	qr.Factorize(u)
	qr.RTo(&r)
	var svd mat.SVD
	if !svd.Factorize(r.Slice(0, p, 0, p), mat.SVDNone) {
		return math.Inf(1)
	}
	v := svd.Values(nil)
	return v[0] / v[p-1]
}

// inverse returns (AᵀA)⁻¹ = R⁻¹R⁻ᵀ in the unscaled columns.
func inverse(qr *mat.QR, p int, scale []float64) [][]float64 {
	var r mat.Dense
	qr.RTo(&r)
	inv := mat.NewTriDense(p, mat.Upper, nil)
	tri := mat.NewTriDense(p, mat.Upper, nil)
	for i := range p {
		for j := i; j < p; j++ {
			tri.SetTri(i, j, r.At(i, j))
		}
	}
	_ = inv.InverseTri(tri) // a condition warning only; singular columns were refused before
	cov := make([][]float64, p)
	for i := range cov {
		cov[i] = make([]float64, p)
		for j := range cov[i] {
			var sum float64
			for k := max(i, j); k < p; k++ {
				sum += inv.At(i, k) * inv.At(j, k)
			}
			cov[i][j] = sum / scale[i] / scale[j]
		}
	}
	return cov
}

// Estimate returns coefficient j with its standard uncertainty.
func (f Fit) Estimate(j int) Estimate {
	return Estimate{Value: f.Coef[j], U: math.Sqrt(f.Cov[j][j]), DF: f.DF}
}

// At returns the fitted value for one row of column values, with the standard uncertainty of the
// fitted line (not of a new reading).
func (f Fit) At(row []float64) Estimate {
	var v, u2 float64
	for i, x := range row {
		v += f.Coef[i] * x
		for j, z := range row {
			u2 += x * z * f.Cov[i][j]
		}
	}
	return Estimate{Value: v, U: math.Sqrt(u2), DF: f.DF}
}

// BIC returns N·ln(RSS/N) + p·ln N, for comparing fits of the same readings (Schwarz, Annals of
// Statistics 6 (1978) 461-464). Lower is better; below 6 apart nothing is decided (common practice).
func (f Fit) BIC() float64 { return BIC(f.RSS, f.N, len(f.Coef)) }

// BIC returns n·ln(rss/n) + p·ln n.
func BIC(rss float64, n, p int) float64 {
	return float64(n)*math.Log(rss/float64(n)) + float64(p)*math.Log(float64(n))
}

// FTest compares a fit with p0 coefficients nested in one with p1 > p0, both of the same n
// independent readings: F = ((RSS0-RSS1)/(p1-p0))/(RSS1/(n-p1)), and the probability of an F as
// large by chance. A break at an unknown place breaks this law.
func FTest(rss0 float64, p0 int, rss1 float64, p1, n int) (F, p float64) {
	d1, d2 := float64(p1-p0), float64(n-p1)
	F = ((rss0 - rss1) / d1) / (rss1 / d2)
	return F, fTail(F, d1, d2)
}
