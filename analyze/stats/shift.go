package stats

import (
	"math"
	"slices"
)

// Shift is how far one group lies above another.
type Shift struct {
	Value    float64 // median of all x_i - y_j
	Lo, Hi   float64 // interval of at least 95 %; NaN when the groups are too small for one
	Coverage float64 // its probability
	Exact    bool    // that is by the exact law of ranks, not by the normal one
}

// exactShift is the greatest product of group sizes for which the interval is by the exact law: above
// it, from 30 against 30 on, the normal law gives the same ranks or their neighbours.
const exactShift = 900

// HodgesLehmann returns the shift of x above y that ranks show, with the interval of order statistics
// of the differences (Hollander and Wolfe, sections 4.2 and 4.3; for large groups their normal
// approximation). It holds for readings without ties, with ties it is rather too wide. The n·m
// differences are never laid out: each rank is found by counting.
func HodgesLehmann(x, y []float64) Shift {
	p := pairs{slices.Clone(x), slices.Clone(y)}
	slices.Sort(p.x)
	slices.Sort(p.y)
	nan := math.NaN()
	s := Shift{Value: nan, Lo: nan, Hi: nan, Coverage: nan}
	n, m := float64(len(x)), float64(len(y))
	all := len(x) * len(y)
	if all == 0 {
		return s
	}
	s.Value = p.nth((all - 1) / 2)
	if all%2 == 0 {
		s.Value = (s.Value + p.nth(all/2)) / 2
	}
	k, below := 0, 0.0 // the k-th difference from either end, with P(U < k) of at most 2.5 %
	if s.Exact = all <= exactShift; s.Exact {
		law := rankLaw(len(x), len(y))
		for k < len(law) && below+law[k] <= .025 {
			below += law[k]
			k++
		}
	} else {
		sd := math.Sqrt(n * m * (n + m + 1) / 12)
		k = int(n*m/2 - TQuantile(.975, math.Inf(1))*sd)
		below = normalTail((n*m/2 - float64(k) + .5) / sd)
	}
	if k > 0 {
		s.Lo, s.Hi, s.Coverage = p.nth(k-1), p.nth(all-k), 1-2*below
	}
	return s
}

// pairs stands for all differences x_i - y_j of two sorted groups.
type pairs struct{ x, y []float64 }

// upTo returns how many differences are at most v.
func (p pairs) upTo(v float64) (n int) {
	j := 0
	for _, a := range p.x {
		for j < len(p.y) && a-p.y[j] > v {
			j++
		}
		if j == len(p.y) {
			break // so are those of all greater x
		}
		n += len(p.y) - j
	}
	return n
}

// within appends the differences above lo and at most hi.
func (p pairs) within(lo, hi float64, out []float64) []float64 {
	j := 0
	for _, a := range p.x {
		for j < len(p.y) && a-p.y[j] > hi {
			j++
		}
		for k := j; k < len(p.y) && a-p.y[k] > lo; k++ {
			out = append(out, a-p.y[k])
		}
	}
	return out
}

// nth returns the k-th smallest difference, from 0. The range that holds it is narrowed by counting, at
// a place told by the counts at its ends and every third time in its middle, until few are left.
func (p pairs) nth(k int) float64 {
	const few = 256
	lo, hi := p.x[0]-p.y[len(p.y)-1], p.x[len(p.x)-1]-p.y[0]
	if k < 0 || k >= len(p.x)*len(p.y) {
		panic("stats: no such difference")
	}
	below, upTo := 0, len(p.x)*len(p.y) // differences up to lo, up to hi; the least itself counts as above lo
	lo = math.Nextafter(lo, math.Inf(-1))
	for round := 0; upTo-below > few; round++ {
		at := lo + (hi-lo)*(float64(k-below)+.5)/float64(upTo-below)
		if round%3 == 2 {
			at = lo + (hi-lo)/2
		}
		if at <= lo || at >= hi {
			if at = lo + (hi-lo)/2; at <= lo || at >= hi {
				return hi // no number lies between: all that are left are one
			}
		}
		if c := p.upTo(at); c > k {
			hi, upTo = at, c
		} else {
			lo, below = at, c
		}
	}
	left := p.within(lo, hi, make([]float64, 0, few))
	return Nth(left, k-below)
}
