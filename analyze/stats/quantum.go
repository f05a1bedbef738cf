package stats

import "math"

// QuantumU returns the standard uncertainty that rounding to steps of quantum leaves in the mean of
// many readings of one value, which scatter by sd: the standard deviation of the rounded readings,
// pooled over several places.
//
// Noise dithers: with normal noise σ the mean of rounded readings is off by the sum over k of
// (-1)^k·q/(πk)·exp(-2π²k²σ²/q²)·sin(2πkx/q), the mean error of rounding as a Fourier series in the
// place x (Widrow and Kollár, Quantization Noise, 2008, from memory). The root mean square u over
// all places is returned; without noise it is q/√12 (JCGM 100:2008, F.2.2.1). σ is not seen, but
// the whole error of rounded readings, σ² + q²/12, is sd² within a place and u² between places,
// which gives σ.
func QuantumU(quantum, sd float64) float64 {
	if quantum <= 0 {
		return 0
	}
	within := sd * sd / (quantum * quantum)
	lo, hi := 0.0, within // of σ²/q²; u² <= q²/12 keeps σ² below sd²
	for range 40 {
		mid := (lo + hi) / 2
		if mid+1.0/12 < within+roundingVariance(mid) {
			lo = mid
		} else {
			hi = mid
		}
	}
	return quantum * math.Sqrt(roundingVariance((lo+hi)/2))
}

// roundingVariance is the mean square over all places of what rounding to whole numbers leaves in
// the mean of readings with normal noise of this variance.
func roundingVariance(variance float64) float64 {
	if variance == 0 {
		return 1.0 / 12
	}
	sum := 0.0
	for k := 1.0; k <= 500; k++ {
		term := math.Exp(-4*math.Pi*math.Pi*k*k*variance) / (k * k)
		sum += term
		if term <= 1e-9*sum {
			break
		}
	}
	return sum / (2 * math.Pi * math.Pi)
}
