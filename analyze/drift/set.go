package drift

import (
	"math"
	"slices"

	"limbgauge/analyze/stats"
)

// Set is how far a joint stands off, after a load, from where it stood before.
type Set struct {
	Size  float64 // deg, after less before
	SizeU float64 // expanded, 95 %
}

// SetOptions says what two readings of one rest may differ by without a set.
type SetOptions struct {
	Quantum float64 // step of the reading, deg
	Repeat  float64 // standard deviation of one visit of one rest from one side, deg
	// Reversal is the greatest difference between the two sides, deg; 0 when both rests were reached
	// from the same side.
	Reversal float64
}

// SetAfter compares the readings of a rest before a load with those after it, at the same command
// without load: what does not come back when the load is gone. Readings are averaged; what a visit does
// not repeat, and what rounding leaves in a mean (stats.QuantumU), stays. Rests that were reached
// from unlike sides may differ by the reversal whichever way, and that is added in full.
//
// It is NaN where a rest has no reading.
func SetAfter(before, after []float64, o SetOptions) Set {
	a, ua := window(counted(len(before)), before, 0, math.Inf(1))
	b, ub := window(counted(len(after)), after, 0, math.Inf(1))
	q := stats.QuantumU(o.Quantum, math.Sqrt((spread(before)+spread(after))/2))
	u2 := ua*ua + ub*ub + 2*(o.Repeat*o.Repeat+q*q)
	return Set{Size: b - a, SizeU: 2*math.Sqrt(u2) + o.Reversal}
}

// spread is the variance of the readings that are there, 0 for fewer than two.
func spread(x []float64) float64 {
	seen := slices.DeleteFunc(slices.Clone(x), math.IsNaN)
	if len(seen) < 2 {
		return 0
	}
	return stats.Variance(seen)
}

func counted(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = float64(i)
	}
	return out
}
