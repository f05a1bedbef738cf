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
// of a reading, that n readings a side show at 5 % two-sided with the given probability. n may be
// broken. NaN for fewer than two readings or a power outside 0.05..1.
func DetectableDifference(n, power float64) float64 {
	if !(n >= 2) || !(power > .05) || !(power < 1) {
		return math.NaN()
	}
	lo, hi := 0.0, 1.0
	for detects(n, hi) < power {
		hi *= 2
	}
	for range 60 {
		if mid := (lo + hi) / 2; detects(n, mid) < power {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// detects returns the probability that |t| of two groups of n passes its 5 % limit when the means
// lie d standard deviations apart: the noncentral t law, as the normal law averaged over
// s = √(χ²/ν) by Simpson's rule.
func detects(n, d float64) float64 {
	df := 2*n - 2
	limit, apart := T95(df), d*math.Sqrt(n/2)
	chi := distuv.ChiSquared{K: df}
	top := math.Sqrt(chi.Quantile(1-1e-12) / df)
	const parts = 2000
	var sum float64
	for i := range parts + 1 {
		s := top * float64(i) / parts
		weight := 2.0 + 2*float64(i%2)
		if i == 0 || i == parts {
			weight = 1
		}
		if s > 0 {
			density := chi.Prob(df*s*s) * 2 * df * s
			sum += weight * density * (normalTail(limit*s-apart) + normalTail(limit*s+apart))
		}
	}
	return sum * top / parts / 3
}
