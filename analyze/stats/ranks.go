package stats

import (
	"fmt"
	"math"
)

// RankSum is the comparison of two groups by the ranks of their readings: it asks only which is the
// greater of two readings, so one wild reading does no harm.
type RankSum struct {
	U     float64 // pairs in which x is the greater, ties counting half
	Z     float64 // (U - nm/2)/√Var, corrected for ties, without continuity correction
	P     float64 // two-sided
	Upper float64 // one-sided, of a U as large or larger
	Exact bool    // probabilities are from the exact law, not the normal one
}

// exactRanks is the greatest product of group sizes for which the exact law is used.
const exactRanks = 2500

// RankSumTest compares two groups (Wilcoxon 1945; Mann and Whitney 1947; Hollander and Wolfe,
// Nonparametric Statistical Methods, section 4.1). Probabilities are exact without ties up to
// exactRanks, else normal with continuity correction. ErrTooFew: an empty group, or readings all alike.
func RankSumTest(x, y []float64) (RankSum, error) {
	n, m := float64(len(x)), float64(len(y))
	var r RankSum
	for _, a := range x {
		for _, b := range y {
			r.U += (1 + Sign(a-b)) / 2
		}
	}
	all := append(append([]float64(nil), x...), y...)
	ties3, tied := 0.0, false
	for _, k := range ties(all) {
		t := float64(k)
		tied = tied || k > 1
		ties3 += t * (t*t - 1)
	}
	v := n * m / 12 * (n + m + 1 - ties3/((n+m)*(n+m-1)))
	if !(v > 0) {
		return RankSum{}, fmt.Errorf("rank sum of %g and %g readings: %w", n, m, ErrTooFew)
	}
	d := r.U - n*m/2
	r.Z = d / math.Sqrt(v)
	if !tied && n*m <= exactRanks {
		r.Exact = true
		law := rankLaw(len(x), len(y))
		r.Upper = tailFrom(law, r.U)
		r.P = math.Min(1, 2*math.Min(r.Upper, tailFrom(law, n*m-r.U))) // the law is symmetric
		return r, nil
	}
	r.Upper = normalTail((d - .5) / math.Sqrt(v))
	r.P = math.Min(1, 2*normalTail((math.Abs(d)-.5)/math.Sqrt(v)))
	return r, nil
}

// tailFrom returns the probability of a U of at least u.
func tailFrom(law []float64, u float64) (p float64) {
	for k := int(math.Ceil(u)); k < len(law); k++ {
		p += law[k]
	}
	return p
}

// rankLaw returns the probability of every U from 0 to n·m when the groups do not differ (the
// recursion of Mann and Whitney 1947 over the greatest reading: it is an x, or it is a y).
func rankLaw(n, m int) []float64 {
	counts := make([][]float64, n+1) // by how many x, for the y so far
	for i := range counts {
		counts[i] = make([]float64, n*m+1)
		counts[i][0] = 1
	}
	for j := 1; j <= m; j++ {
		for i := 1; i <= n; i++ {
			for u := i * j; u >= j; u-- {
				counts[i][u] += counts[i-1][u-j]
			}
		}
	}
	law, sum := counts[n], 0.0
	for _, v := range law {
		sum += v
	}
	for u := range law {
		law[u] /= sum
	}
	return law
}
