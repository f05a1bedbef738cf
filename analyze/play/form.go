package play

import "math"

// An angle sensor whose magnet sits off centre reads wrong by A·sin(θ + φ), φ anywhere. Its even part
// A·sin φ·cos θ shows in the loop, since load and play are odd about the angle where the load hangs
// straight down. Its odd part A·cos φ·sin θ does not: the load goes with the same sine, so it is read
// as compliance, and no number of cycles helps.
//
// But one magnet makes both, and no phase is likelier than another. So the odd part is as large as the
// even part that the run shows: given a standard deviation σ both are normal about zero. σ itself is
// known before the run to a factor: it lies about what such sensors usually have (normal in its logarithm,
// formSpread wide). A run without an even part makes small σ likelier, one with a large even part widens
// the interval, as far as a single reading of a spread can.
//
// Source: Bayes' rule for a common scale of exchangeable parts (Gelman et al., Bayesian Data Analysis,
// chapter 5, from memory); first harmonic of an eccentric magnet (derived).
const (
	formSpread = 0.6 // of ln σ: a factor of 1.8 either way [common practice]
	formSteps  = 25
)

// oddU returns the expanded uncertainty, deg, of the odd part of the sensors' form, whose usual standard
// deviation is usual. even is the even part seen, with its standard uncertainty u, which is infinite
// where none was.
func oddU(usual, even, u float64) float64 {
	if usual <= 0 {
		return 0
	}
	sigma, weight := make([]float64, formSteps), make([]float64, formSteps)
	sum := 0.0
	for i := range sigma {
		z := 3 * (2*float64(i)/(formSteps-1) - 1)
		sigma[i] = usual * math.Exp(formSpread*z)
		weight[i] = math.Exp(-z * z / 2)
		if v := sigma[i]*sigma[i] + u*u; !math.IsInf(u, 1) {
			weight[i] *= math.Exp(-even*even/v/2) / math.Sqrt(v)
		}
		sum += weight[i]
	}
	lo, hi := 0.0, 4*sigma[formSteps-1]
	for range 50 {
		mid, beyond := (lo+hi)/2, 0.0
		for i := range sigma {
			beyond += weight[i] / sum * math.Erfc(mid/(math.Sqrt2*sigma[i]))
		}
		if beyond > 0.05 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}
