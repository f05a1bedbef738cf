package stats

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// Estimate is a value with its standard uncertainty (one standard deviation) and the degrees of
// freedom behind that uncertainty; +Inf where the uncertainty is taken as known (JCGM 100:2008,
// G.3). An Estimate that could not be seen says why in Unseen, and its numbers are NaN.
type Estimate struct {
	Value  float64
	U      float64
	DF     float64
	Unseen string
}

// Unseen makes an Estimate of something that could not be seen. The reason must not be empty.
func Unseen(format string, args ...any) Estimate {
	nan := math.NaN()
	return Estimate{Value: nan, U: nan, DF: nan, Unseen: fmt.Sprintf(format, args...)}
}

// Seen reports whether there is a value at all.
func (e Estimate) Seen() bool { return e.Unseen == "" && !math.IsNaN(e.Value) }

// Expanded returns the half width of the 95 % interval, t(0.975, DF)·U (JCGM 100:2008, G.6.4).
// It is NaN where no uncertainty could be had.
func (e Estimate) Expanded() float64 { return T95(e.DF) * e.U }

// Interval returns the ends of the symmetric 95 % interval.
func (e Estimate) Interval() (lo, hi float64) {
	h := e.Expanded()
	return e.Value - h, e.Value + h
}

// Excludes reports whether the 95 % interval leaves x out. Without an uncertainty nothing is excluded.
func (e Estimate) Excludes(x float64) bool { return math.Abs(e.Value-x) > e.Expanded() }

// Scale returns k·e.
func (e Estimate) Scale(k float64) Estimate {
	e.Value *= k
	e.U *= math.Abs(k)
	return e
}

// T95 returns the 0.975 quantile of Student's t, the factor of a two-sided 95 % interval; NaN when
// df is below 1 or NaN.
func T95(df float64) float64 { return TQuantile(0.975, df) }

// TQuantile returns the p quantile of Student's t with df degrees of freedom, of the normal law
// when df is +Inf.
func TQuantile(p, df float64) float64 {
	switch {
	case math.IsNaN(df) || df < 1:
		return math.NaN()
	case math.IsInf(df, 1):
		return distuv.UnitNormal.Quantile(p)
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(p)
}

// TwoSidedP returns the two-sided probability of a t as large as this one by chance.
func TwoSidedP(t, df float64) float64 {
	t = math.Abs(t)
	if math.IsInf(df, 1) {
		return 2 * normalTail(t)
	}
	return 2 * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Survival(t)
}

// normalTail returns the probability of a normal value above z, to all digits however small.
func normalTail(z float64) float64 { return math.Erfc(z/math.Sqrt2) / 2 }

// fTail returns the probability of an F above f with d1 and d2 degrees of freedom, to all digits
// however small.
func fTail(f, d1, d2 float64) float64 {
	if !(f > 0) {
		return 1
	}
	return mathext.RegIncBeta(d2/2, d1/2, d2/(d2+d1*f))
}

// SDInterval returns the two-sided interval of a true standard deviation of which s was estimated
// with df degrees of freedom from independent normal readings (chi-square law). level is 0.95 for 95 %.
func SDInterval(s, df, level float64) (lo, hi float64) {
	c := distuv.ChiSquared{K: df}
	return s * math.Sqrt(df/c.Quantile((1+level)/2)), s * math.Sqrt(df/c.Quantile((1-level)/2))
}

// WelchSatterthwaite returns the effective degrees of freedom of a sum whose terms contribute the
// standard uncertainties u with df degrees of freedom each (JCGM 100:2008, formula G.2b).
func WelchSatterthwaite(u, df []float64) float64 {
	var sum, den float64
	least := math.Inf(1)
	for i, ui := range u {
		sum += ui * ui
		if ui != 0 && !math.IsInf(df[i], 1) {
			den += ui * ui * ui * ui / df[i]
			least = math.Min(least, df[i])
		}
	}
	if den == 0 {
		return math.Inf(1)
	}
	return math.Max(least, sum*sum/den) // never below the least, but for rounding: below 1 there is no t law
}

// Sum returns Σ c_i·e_i of independent estimates, with the effective degrees of freedom. One term
// that could not be seen leaves the sum unseen, for that term's reason.
func Sum(c []float64, e ...Estimate) Estimate {
	out := Estimate{}
	u := make([]float64, len(e))
	df := make([]float64, len(e))
	for i, t := range e {
		if !t.Seen() {
			return Unseen("%s", t.Unseen)
		}
		out.Value += c[i] * t.Value
		u[i], df[i] = math.Abs(c[i])*t.U, t.DF
		out.U += u[i] * u[i]
	}
	out.U = math.Sqrt(out.U)
	out.DF = WelchSatterthwaite(u, df)
	return out
}
