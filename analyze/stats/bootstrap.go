package stats

import (
	"math"
	"math/rand/v2"
)

// MinCycles is the least number of cycles a bootstrap is given for: below it the distinct
// resamples are too few to say anything (35 for four cycles, 10 for three).
const MinCycles = 4

// Boot is a figure with the interval that resampling whole cycles gives it. U is the standard
// deviation of the replicates times √(n/(n-1)), DF is n-1 for n cycles.
type Boot struct {
	Estimate
	Lo, Hi   float64 // percentile interval, 95 %
	Bias     float64 // mean of the replicates less the value
	Replicas int     // replicates that could be computed
	Why      string  // why there is no uncertainty, where there is none
}

// CycleBootstrap resamples n cycles with replacement and recomputes k figures each time (Efron and
// Tibshirani, An Introduction to the Bootstrap, 1993, chapter 6). compute is handed the chosen
// cycles (numbers 0..n-1, repeats included) and fills out; first it is called with every cycle
// once, which gives the values. A NaN in out means that figure could not be had from that choice.
//
// The cycle is the unit, because the samples of one stop share one error. With few cycles the
// plain bootstrap is too narrow by √((n-1)/n), so U is widened by its inverse and read with
// t(n-1). Below MinCycles, or when a tenth of the replicates cannot be computed, there is a value
// but no uncertainty (NaN), and Why says so. Maxima are not smooth: give Lo, Hi and Bias with them.
func CycleBootstrap(n, replicas, k int, seed uint64, compute func(pick []int, out []float64)) []Boot {
	boots := make([]Boot, k)
	pick := make([]int, n)
	out := make([]float64, k)
	for i := range pick {
		pick[i] = i
	}
	nans(out)
	compute(pick, out)
	for j := range boots {
		nan := math.NaN()
		boots[j] = Boot{Estimate: Estimate{Value: out[j], U: nan, DF: nan}, Lo: nan, Hi: nan, Bias: nan}
		if math.IsNaN(out[j]) {
			boots[j].Unseen = "it cannot be computed from these cycles"
		}
	}
	if n < MinCycles {
		for j := range boots {
			boots[j].Why = "fewer than 4 cycles"
		}
		return boots
	}
	rng := rand.New(rand.NewPCG(seed, 0x6c696d62))
	values := make([][]float64, k)
	for range replicas {
		for i := range pick {
			pick[i] = rng.IntN(n)
		}
		nans(out)
		compute(pick, out)
		for j, v := range out {
			if !math.IsNaN(v) {
				values[j] = append(values[j], v)
			}
		}
	}
	for j := range boots {
		boots[j].fill(n, replicas, values[j])
	}
	return boots
}

func (b *Boot) fill(n, replicas int, values []float64) {
	b.Replicas = len(values)
	if !b.Seen() {
		return
	}
	if b.Replicas < 2 || b.Replicas*10 < replicas*9 {
		b.Why = "too many resamples could not be computed"
		return
	}
	s := Sorted(values)
	nf := float64(n)
	b.Lo, b.Hi = Quantile(0.025, s), Quantile(0.975, s)
	b.Bias = Mean(values) - b.Value
	b.U = SD(values) * math.Sqrt(nf/(nf-1))
	b.DF = nf - 1
}

// BootstrapOne is CycleBootstrap for one figure.
func BootstrapOne(n, replicas int, seed uint64, compute func(pick []int) float64) Boot {
	return CycleBootstrap(n, replicas, 1, seed, func(pick []int, out []float64) { out[0] = compute(pick) })[0]
}

func nans(x []float64) {
	for i := range x {
		x[i] = math.NaN()
	}
}
