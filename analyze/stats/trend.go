package stats

import (
	"fmt"
	"math"
	"slices"
	"sort"
)

// Kendall is the Mann-Kendall test for a monotone trend.
type Kendall struct {
	S     int     // pairs that rise less pairs that fall
	Var   float64 // variance of S without trend, corrected for ties
	Z     float64 // with continuity correction
	P     float64 // two-sided
	Exact bool    // P is from the exact law, not the normal one
}

// exactKendall is the greatest number of readings for which the exact law is used.
const exactKendall = 10

// MannKendall tests readings in order of time (Mann 1945; Kendall 1975; US EPA 530/R-09-007,
// section 17.3.2). P is exact for up to ten readings without ties, normal otherwise. It needs
// four readings (common practice: no trend is claimed on fewer).
func MannKendall(x []float64) (Kendall, error) {
	n := len(x)
	if n < 4 {
		return Kendall{}, fmt.Errorf("trend of %d readings, 4 are needed: %w", n, ErrTooFew)
	}
	sorted := Sorted(x)
	k := Kendall{S: concordance(x, x, sorted)}
	k.Var = float64(n * (n - 1) * (2*n + 5))
	tied := false
	for _, t := range runsOf(sorted) {
		tied = tied || t > 1
		k.Var -= float64(t * (t - 1) * (2*t + 5))
	}
	k.Var /= 18
	switch {
	case k.Var <= 0:
		k.P = 1
		return k, nil
	case k.S != 0:
		k.Z = (float64(k.S) - Sign(float64(k.S))) / math.Sqrt(k.Var)
	}
	k.P = math.Min(1, 2*normalTail(math.Abs(k.Z)))
	if n <= exactKendall && !tied {
		k.P, k.Exact = kendallExact(n, k.S), true
	}
	return k, nil
}

// concordance returns the pairs of readings that surely rise less those that surely fall, each reading
// lying from lo to hi, in n·log n steps: as the readings come in, trees of counts over the ranks of
// their ends say how many of those before lie wholly below and above (Knight, JASA 61 (1966) 436-439;
// the trees are Fenwick's, 1994). A NaN counts in no pair. sorted holds every end.
func concordance(lo, hi, sorted []float64) int {
	ranks := slices.Compact(slices.Clone(sorted))
	tops, feet := make(tree, len(ranks)+1), make(tree, len(ranks)+1)
	s, before := 0, 0
	for i := range lo {
		if math.IsNaN(lo[i]) {
			continue
		}
		foot, _ := slices.BinarySearch(ranks, lo[i])
		top, _ := slices.BinarySearch(ranks, hi[i])
		s += tops.upTo(foot) - (before - feet.upTo(top+1))
		before++
		tops.add(top + 1)
		feet.add(foot + 1)
	}
	return s
}

// tree counts by rank, from 1.
type tree []int

func (t tree) add(rank int) {
	for ; rank < len(t); rank += rank & -rank {
		t[rank]++
	}
}

func (t tree) upTo(rank int) (n int) {
	for ; rank > 0; rank -= rank & -rank {
		n += t[rank]
	}
	return n
}

// kendallExact returns the two-sided probability of |S| or more among the n! orders, by counting
// inversions (Mahonian numbers): S = n(n-1)/2 - 2·inversions.
func kendallExact(n, s int) float64 {
	counts := []float64{1}
	total := 1.0
	for m := 2; m <= n; m++ {
		next := make([]float64, len(counts)+m-1)
		for i, c := range counts {
			for j := range m {
				next[i+j] += c
			}
		}
		counts, total = next, total*float64(m)
	}
	var p float64
	for inv, c := range counts {
		v := n*(n-1)/2 - 2*inv
		if v >= abs(s) || -v >= abs(s) {
			p += c
		}
	}
	return p / total
}

// ties returns how often each value occurs.
func ties(x []float64) []int { return runsOf(Sorted(x)) }

// runsOf is ties of sorted values.
func runsOf(s []float64) []int {
	var out []int
	for i := 0; i < len(s); {
		j := i
		for j < len(s) && s[j] == s[i] {
			j++
		}
		out = append(out, j-i)
		i = j
	}
	return out
}

// Slope is a Theil-Sen line: the median of the slopes of all pairs.
type Slope struct {
	Slope     float64
	Lo, Hi    float64 // 95 % interval of the slope
	Intercept float64 // median y - slope·median x
	Pairs     int     // pairs with different x
}

// RankRule says which order statistics bound the slope.
type RankRule int

const (
	// Interpolate takes ranks (N'-C)/2 and (N'+C)/2 + 1, C = 1.96·√Var, between neighbours
	// (Gilbert 1987, section 16.5; US EPA 530/R-09-007, section 17.3.3).
	Interpolate RankRule = iota
	// WholeRanks rounds the lower rank (N'-C)/2 to a whole number M and takes M and N'+1-M
	// (Hollander and Wolfe, Nonparametric Statistical Methods, section 9.3).
	WholeRanks
)

// TheilSen fits a line that up to a quarter of bad readings hardly moves (Theil 1950; Sen, JASA 63
// (1968) 1379-1389). It needs three readings at different x for an interval, two for a slope.
func TheilSen(x, y []float64, rule RankRule) (Slope, error) {
	if len(x) != len(y) {
		panic("stats: x and y differ in length")
	}
	var s []float64
	for i := range x {
		for j := i + 1; j < len(x); j++ {
			if x[i] != x[j] {
				s = append(s, (y[j]-y[i])/(x[j]-x[i]))
			}
		}
	}
	if len(s) == 0 {
		return Slope{}, fmt.Errorf("no two readings at different x: %w", ErrTooFew)
	}
	sort.Float64s(s)
	out := Slope{Slope: middle(s), Pairs: len(s)}
	out.Intercept = Median(y) - out.Slope*Median(x)
	c := TQuantile(0.975, math.Inf(1)) * math.Sqrt(kendallVar(x, y))
	n := float64(len(s))
	lo, hi := (n-c)/2, (n+c)/2+1
	if rule == WholeRanks {
		lo = math.Round(lo)
		hi = n + 1 - lo
	}
	out.Lo, out.Hi = math.NaN(), math.NaN()
	if lo >= 1 && hi <= n {
		out.Lo, out.Hi = atRank(s, lo), atRank(s, hi)
	}
	return out, nil
}

// atRank returns the order statistic of rank r (from 1), between neighbours for a broken rank.
func atRank(sorted []float64, r float64) float64 {
	i := int(math.Floor(r))
	if i >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i-1] + (r-float64(i))*(sorted[i]-sorted[i-1])
}

// kendallVar returns the variance of Kendall's S with ties in both x and y (Kendall, Rank
// Correlation Methods, 4th edition, section 4.9).
func kendallVar(x, y []float64) float64 {
	n := float64(len(x))
	var v, x2, y2, x3, y3 float64
	v = n * (n - 1) * (2*n + 5)
	for _, k := range ties(x) {
		t := float64(k)
		v -= t * (t - 1) * (2*t + 5)
		x2 += t * (t - 1)
		x3 += t * (t - 1) * (t - 2)
	}
	for _, k := range ties(y) {
		t := float64(k)
		v -= t * (t - 1) * (2*t + 5)
		y2 += t * (t - 1)
		y3 += t * (t - 1) * (t - 2)
	}
	v /= 18
	if n > 2 {
		v += x3 * y3 / (9 * n * (n - 1) * (n - 2))
	}
	return v + x2*y2/(2*n*(n-1))
}

func abs(i int) int { return max(i, -i) }
