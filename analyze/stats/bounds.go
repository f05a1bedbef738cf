package stats

import (
	"fmt"
	"math"
	"slices"
	"sort"
)

// Span is where a reading lies: Lo and Hi are equal for one that is known, one of them is infinite for a
// bound, at least so much or at most so much.
type Span struct{ Lo, Hi float64 }

// Reading is the span of a value.
func Reading(v float64) Span { return Span{v, v} }

// AtLeast is the span of a lower bound.
func AtLeast(v float64) Span { return Span{v, math.Inf(1)} }

// AtMost is the span of an upper bound.
func AtMost(v float64) Span { return Span{math.Inf(-1), v} }

// Exact reports whether the span is one value.
func (s Span) Exact() bool { return s.Lo == s.Hi }

func ends(y []Span) (lo, hi []float64) {
	for _, s := range y {
		lo, hi = append(lo, s.Lo), append(hi, s.Hi)
	}
	return lo, hi
}

// MannKendallSpans tests readings and bounds in order of time for a monotone trend. Only pairs whose
// order is sure count, and the variance of S is that of all orders of these very spans (Daniels,
// Biometrika 33 (1944) 129-135; Helsel, Statistics for Censored Environmental Data, 2nd edition,
// chapter 12). P is normal with continuity correction. It needs four readings.
func MannKendallSpans(y []Span) (Kendall, error) {
	n := len(y)
	if n < 4 {
		return Kendall{}, fmt.Errorf("trend of %d readings, 4 are needed: %w", n, ErrTooFew)
	}
	lo, hi := ends(y)
	k := Kendall{S: concordance(lo, hi, Sorted(append(slices.Clone(lo), hi...))), P: 1}
	if k.Var = spanVar(lo, hi); k.Var <= 0 {
		return k, nil
	}
	if k.S != 0 {
		k.Z = (float64(k.S) - Sign(float64(k.S))) / math.Sqrt(k.Var)
	}
	k.P = math.Min(1, 2*normalTail(math.Abs(k.Z)))
	return k, nil
}

// spanVar returns the variance of S over all orders in time: with b_i the spans surely below span i less
// those surely above it and N the pairs of sure order,
//
//	Var = (Σa_i² - A)(Σb_i² - 2N)/(n(n-1)(n-2)) + A·2N/(2n(n-1)),  Σa_i² = n(n²-1)/3, A = n(n-1).
func spanVar(lo, hi []float64) float64 {
	n := float64(len(lo))
	feet, tops := Sorted(lo), Sorted(hi)
	var squares, pairs float64
	for i := range lo {
		below, _ := slices.BinarySearch(tops, lo[i])
		above := len(feet) - sort.Search(len(feet), func(k int) bool { return feet[k] > hi[i] })
		b := float64(below - above)
		squares += b * b
		pairs += float64(below + above)
	}
	a := n * (n - 1)
	return (n*(n*n-1)/3-a)*(squares-pairs)/(a*(n-2)) + pairs/2
}

// TheilSenSpans is the slope that leaves no trend in what is left of readings and bounds: the middle of
// the slopes at which the sure pairs of y - b·x rise and fall equally often (Akritas, Murphy and LaValley,
// JASA 90 (1995) 170-177). Without bounds it is the median of the slopes of all pairs. Lo and Hi are where
// S leaves ±1.96·√Var. An end that the bounds leave open is infinite; so is Slope then, or NaN.
// Intercept is the median of the readings' own y - b·x, which a bound does not move.
func TheilSenSpans(x []float64, y []Span) (Slope, error) {
	if len(x) != len(y) {
		panic("stats: x and y differ in length")
	}
	var up, down, bends []float64 // below up[k] a pair rises, above down[k] it falls
	for i := range x {
		for j := i + 1; j < len(x); j++ {
			a, b := i, j
			if x[i] > x[j] {
				a, b = j, i
			}
			dx := x[b] - x[a]
			if dx == 0 {
				continue
			}
			if s := (y[b].Lo - y[a].Hi) / dx; !math.IsInf(s, 0) && !math.IsNaN(s) {
				up = append(up, s)
			}
			if s := (y[b].Hi - y[a].Lo) / dx; !math.IsInf(s, 0) && !math.IsNaN(s) {
				down = append(down, s)
			}
		}
	}
	if len(up)+len(down) == 0 {
		return Slope{}, fmt.Errorf("no two readings at different x: %w", ErrTooFew)
	}
	sort.Float64s(up)
	sort.Float64s(down)
	bends = append(append(bends, up...), down...)
	sort.Float64s(bends)
	bends = slices.Compact(bends)
	// rest is S for slopes between bend k-1 and bend k.
	rest := func(k int) float64 {
		rise, fall := 0, 0
		if k < len(bends) {
			rise = len(up) - sort.SearchFloat64s(up, bends[k])
		}
		if k > 0 {
			fall = sort.Search(len(down), func(i int) bool { return down[i] > bends[k-1] })
		}
		return float64(rise - fall)
	}
	lower := func(c float64) float64 { // where S comes down to c
		k := sort.Search(len(bends)+1, func(k int) bool { return rest(k) <= c })
		if k == 0 {
			return math.Inf(-1)
		}
		return bends[k-1]
	}
	upper := func(c float64) float64 { // where S falls below c
		k := sort.Search(len(bends)+1, func(k int) bool { return rest(k) < c })
		if k > len(bends) {
			return math.Inf(1)
		}
		return bends[k-1]
	}
	c := TQuantile(0.975, math.Inf(1)) * math.Sqrt(spanVar(ends(y)))
	out := Slope{Slope: (lower(0) + upper(0)) / 2, Lo: lower(c), Hi: upper(-c), Pairs: max(len(up), len(down))}
	var left []float64
	for i, s := range y {
		if s.Exact() {
			left = append(left, s.Lo-out.Slope*x[i])
		}
	}
	out.Intercept = Median(left)
	return out, nil
}
