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
	low, high := p.nth((all-1)/2, all/2)
	s.Value = (low + high) / 2
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
		s.Lo, _ = p.nth(k-1, k-1)
		s.Hi, _ = p.nth(all-k, all-k)
		s.Coverage = 1 - 2*below
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

// nth returns the k-th and the l-th smallest difference, from 0; l is k or the one after. The range that
// holds them is narrowed by counting until few are left: first to what a grid over both groups tells,
// then at places told by the counts at the ends, now and then in the middle.
func (p pairs) nth(k, l int) (float64, float64) {
	const few = 256
	all := len(p.x) * len(p.y)
	if k < 0 || l < k || l > k+1 || l >= all {
		panic("stats: no such difference")
	}
	lo, hi := math.Nextafter(p.x[0]-p.y[len(p.y)-1], math.Inf(-1)), p.x[len(p.x)-1]-p.y[0]
	below, upTo := 0, all // differences up to lo, up to hi
	narrow := func(at float64) {
		if at <= lo || at >= hi {
			return
		}
		switch c := p.upTo(at); {
		case c > l:
			hi, upTo = at, c
		case c <= k:
			lo, below = at, c
		default: // it parts the two
			hi, upTo = p.after(at), c+1
		}
	}
	if all > gridFrom {
		grid := p.grid()
		i := int(float64(k) / float64(all) * float64(len(grid)))
		narrow(grid[max(0, i-gridMargin)])
		narrow(grid[min(len(grid)-1, i+gridMargin)])
	}
	for round := 0; upTo-below > few; round++ {
		// A little below the one and a little above the other in turn, so that both ends draw near.
		rank := k - few/4
		if round%2 == 1 {
			rank = l + few/4
		}
		at := lo + (hi-lo)*(float64(rank-below)+.5)/float64(upTo-below)
		if round%6 == 5 || at <= lo || at >= hi {
			if at = lo + (hi-lo)/2; at <= lo || at >= hi {
				return hi, hi // no number lies between: all that are left are one
			}
		}
		narrow(at)
	}
	left := p.within(lo, hi, make([]float64, 0, few))
	slices.Sort(left)
	return left[k-below], left[l-below]
}

// The grid is of gridSide readings of each group; rank k lies nearly always within gridMargin of its place
// among their differences.
const (
	gridSide   = 32
	gridMargin = 40
	gridFrom   = 64 * gridSide * gridSide
)

// grid returns the sorted differences of some readings of both groups, evenly spread.
func (p pairs) grid() []float64 {
	some := func(x []float64) []float64 {
		n := min(gridSide, len(x))
		out := make([]float64, n)
		for i := range out {
			out[i] = x[(2*i+1)*len(x)/(2*n)]
		}
		return out
	}
	g := pairs{some(p.x), some(p.y)}
	out := g.within(math.Inf(-1), math.Inf(1), make([]float64, 0, gridSide*gridSide))
	slices.Sort(out)
	return out
}

// after returns the least difference above v.
func (p pairs) after(v float64) float64 {
	least := math.Inf(1)
	j := 0
	for _, a := range p.x {
		for j < len(p.y) && a-p.y[j] > v {
			j++
		}
		if j > 0 {
			least = math.Min(least, a-p.y[j-1])
		}
	}
	return least
}
