package stats

import (
	"math"
	"slices"
)

const (
	// nthSort is how few readings are sorted right away.
	nthSort = 16384
	// nthDraw readings, evenly spread, tell where in value a rank must be looked for; nthMargin is how
	// many of them are taken for safety on each side: six standard deviations of a rank among them.
	nthDraw   = 8192
	nthMargin = 272
	// nthRounds bounds the narrowing: readings that it does not part are sorted.
	nthRounds = 6
)

// Nth returns the k-th smallest of x, counted from 0, as sorting would put it there; NaNs are left
// out, and x is not changed. It panics when x has not so many readings. It takes time in proportion to
// len(x): a few readings tell between which two values the rank lies, and only what lies there is sorted
// (after Floyd and Rivest, CACM 18 (1975) 165-172).
func Nth(x []float64, k int) float64 {
	v, _ := nths(x, k, k)
	return v
}

// Seen returns how many of x are no NaN.
func Seen(x []float64) int {
	n := 0
	for _, v := range x {
		if v == v { // no NaN
			n++
		}
	}
	return n
}

// nths returns the readings at ranks a and b, a ≤ b.
func nths(x []float64, a, b int) (va, vb float64) {
	for round := 0; len(x) > nthSort && round < nthRounds; round++ {
		lo, hi := bracket(x, a, b)
		before, part := within(x, lo, hi)
		switch {
		case a < before || b >= before+len(part): // the few were no fair sample
			round = nthRounds
		case lo == hi:
			return lo, lo
		default:
			x, a, b = part, a-before, b-before
		}
	}
	s := Sorted(x)
	return s[a], s[b]
}

// within returns the readings from lo to hi, and how many lie below. It decides without branches, which
// no processor could foresee.
func within(x []float64, lo, hi float64) (below int, in []float64) {
	const block = 4096
	n := 0
	for len(x) > 0 {
		if len(in)-n < block {
			in = append(in, make([]float64, max(block, len(in)))...)
		}
		now, to := x[:min(block, len(x))], in[n:n+block]
		m := 0
		for _, v := range now {
			var under, above, beneath int
			if v < lo {
				under = 1
			}
			if v >= lo {
				above = 1
			}
			if v <= hi {
				beneath = 1
			}
			below += under
			to[m&(block-1)] = v // m stays below block: it grows by one a reading at most
			m += above & beneath
		}
		n += m
		x = x[len(now):]
	}
	return below, in[:n]
}

// bracket returns two values between which the ranks of x very likely lie, the extremes where they lie
// near an end.
func bracket(x []float64, a, b int) (lo, hi float64) {
	few := make([]float64, 0, nthDraw)
	for i := range nthDraw {
		if v := x[i*(len(x)-1)/(nthDraw-1)]; v == v {
			few = append(few, v)
		}
	}
	slices.Sort(few)
	lo, hi = math.Inf(-1), math.Inf(1)
	at := func(rank int) int { return int(float64(rank) / float64(len(x)) * float64(len(few))) }
	if i := at(a) - nthMargin; i >= 0 && i < len(few) {
		lo = few[i]
	}
	if i := at(b) + nthMargin; i >= 0 && i < len(few) {
		hi = few[i]
	}
	return lo, hi
}
