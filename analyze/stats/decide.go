package stats

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"
)

// Equivalence is the answer to whether a difference is smaller than a margin.
type Equivalence struct {
	TLow, THigh float64 // of the difference above -margin, and below +margin
	P           float64 // the greater of the two one-sided probabilities
}

// Equivalent tests whether a difference lies within ±margin by two one-sided tests (Schuirmann, J.
// Pharmacokinetics and Biopharmaceutics 15 (1987) 657-680): below 0.05 exactly when the 90 %
// interval does. That no difference was found does not say this.
func Equivalent(d Estimate, margin float64) Equivalence {
	e := Equivalence{TLow: (d.Value + margin) / d.U, THigh: (d.Value - margin) / d.U}
	if t := math.Min(e.TLow, -e.THigh); t >= 0 {
		e.P = TwoSidedP(t, d.DF) / 2
	} else {
		e.P = 1 - TwoSidedP(t, d.DF)/2
	}
	return e
}

// Holm returns probabilities adjusted for how many tests were made, in the order given: of the sorted
// ones the running maximum of (m-k+1)·p_k, at most 1 (Holm, Scandinavian J. of Statistics 6 (1979)
// 65-70). They hold for tests named before the readings were looked at.
func Holm(p []float64) []float64 {
	order := make([]int, len(p))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(i, j int) bool { return p[order[i]] < p[order[j]] })
	out := make([]float64, len(p))
	last := 0.0
	for k, i := range order {
		last = math.Max(last, math.Min(1, float64(len(p)-k)*p[i]))
		out[i] = last
	}
	return out
}

// DetectableDifference returns the true difference of two means, in units of the standard deviation
// of a reading, that n readings a side show at 5 % two-sided with the given power. n may be broken.
// NaN for fewer than two readings or a power outside 0.05..1.
func DetectableDifference(n, power float64) float64 {
	if !(n >= 2) {
		return math.NaN()
	}
	return Detectable(2*n-2, power) * math.Sqrt(2/n)
}

// Detectable returns the true difference that a t test shows at 5 % two-sided with the given power, in
// standard errors of the difference seen, which has df degrees of freedom: from the noncentral t law,
// for df of +Inf from the normal one. NaN for df below 1 or a power outside 0.05..1.
func Detectable(df, power float64) float64 {
	if !(df >= 1) || !(power > .05) || !(power < 1) {
		return math.NaN()
	}
	p := powerAt(df)
	// The sum of both quantiles is near, from below but for very few degrees of freedom and little power.
	hi := math.Max(0.1, T95(df)+TQuantile(power, df))
	lo, plo, phi := 0.0, .05, p(hi)
	for phi < power {
		lo, plo, hi = hi, phi, 1.1*hi
		phi = p(hi)
	}
	// The power rises evenly, so a chord finds the place in a few steps; a middle now and then keeps
	// the interval shrinking from both ends.
	for i := 0; i < 100 && hi-lo > 1e-9*hi; i++ {
		at := lo + (hi-lo)*(power-plo)/(phi-plo)
		if i%3 == 2 {
			at = (lo + hi) / 2
		}
		q := p(at)
		switch {
		case math.Abs(q-power) < 1e-10:
			return at
		case q < power:
			lo, plo = at, q
		default:
			hi, phi = at, q
		}
	}
	return (lo + hi) / 2
}

// powerAt returns the probability that |t| passes its 5 % limit, by how many standard errors the
// means lie apart: the noncentral t law, as the normal law averaged over s = √(χ²/df) by Simpson's
// rule.
func powerAt(df float64) func(apart float64) float64 {
	limit := T95(df)
	if math.IsInf(df, 1) {
		return func(apart float64) float64 { return normalTail(limit-apart) + normalTail(limit+apart) }
	}
	// With s = x² the density of s, which may rise steeply from 0, becomes an even curve in x.
	chi := distuv.ChiSquared{K: df}
	low, top := math.Pow(chi.Quantile(1e-13)/df, .25), math.Pow(chi.Quantile(1-1e-13)/df, .25)
	lg, _ := math.Lgamma(df / 2)
	scale := math.Log(4) + df/2*math.Log(df/2) - lg
	parts := 100
	if df < 3 { // the curve is less even
		parts = 500
	}
	at, weight := make([]float64, parts+1), make([]float64, parts+1)
	for i := range at {
		w := 2.0 + 2*float64(i%2)
		if i == 0 || i == parts {
			w = 1
		}
		x := low + (top-low)*float64(i)/float64(parts)
		at[i] = limit * x * x
		if x > 0 {
			weight[i] = w * math.Exp(scale+(2*df-1)*math.Log(x)-df/2*x*x*x*x) * (top - low) / float64(parts) / 3
		}
	}
	return func(apart float64) (p float64) {
		for i, a := range at {
			p += weight[i] * normalTail(a-apart)
			if a+apart < 8 { // beyond it there is nothing
				p += weight[i] * normalTail(a+apart)
			}
		}
		return p
	}
}
