package drive

import "math"

// copperOffset is 234.5 °C: where the resistance of copper, drawn as a straight line, would reach
// zero (IEC 60034-1, rise by resistance).
const copperOffset = 234.5

// RiseByResistance returns the temperature rise, K, of a copper winding whose resistance went from
// r1 at coldC (°C) to r2: (r2/r1 - 1)(coldC + 234.5).
func RiseByResistance(r1, r2, coldC float64) float64 { return (r2/r1 - 1) * (coldC + copperOffset) }

// HotFactor returns by how much a winding's resistance grows from coldC to hotC; stall torque falls
// by its inverse (magnets weaken by a further 0.1 to 0.2 %/K, from memory).
func HotFactor(coldC, hotC float64) float64 {
	return (hotC + copperOffset) / (coldC + copperOffset)
}

// Thermal is a motor as one warm body. It is a model: the winding's true temperature cannot be seen
// without a resistance measured at a known duty.
type Thermal struct {
	RthKPerW float64
	TauS     float64
}

// Rise returns the rise above ambient after t seconds of constant power from cold, K.
func (th Thermal) Rise(watts, t float64) float64 {
	return watts * th.RthKPerW * (1 - math.Exp(-t/th.TauS))
}

// TimeTo returns how long a constant power takes to a rise from cold, s; +Inf when it is never reached.
func (th Thermal) TimeTo(watts, riseK float64) float64 {
	x := riseK / (watts * th.RthKPerW)
	if x >= 1 {
		return math.Inf(1)
	}
	return -th.TauS * math.Log(1-x)
}

// AllowedTime returns how long a constant winding current may flow from cold before the first-order
// average of I² reaches contA², s: -τ·ln(1 - (I_cont/I)²); +Inf for currents that may flow for ever.
func AllowedTime(amps, contA, tauS float64) float64 {
	if amps <= contA {
		return math.Inf(1)
	}
	return -tauS * math.Log(1-contA*contA/(amps*amps))
}

// I2t returns the first-order average of the squared winding current as a share of contA², sample by
// sample: x' = (I² - x)/τ, exact for a current that keeps its value from one sample to the next. A
// share above 1 is more than the motor may carry for long. It starts cold. Samples that were not
// measured (NaN) take the value before.
func I2t(time, amps []float64, contA, tauS float64) []float64 {
	out := make([]float64, len(time))
	x, last := 0.0, 0.0
	for i := range time {
		if i > 0 {
			x = last + (x-last)*math.Exp(-(time[i]-time[i-1])/tauS)
		}
		out[i] = x / (contA * contA)
		if !math.IsNaN(amps[i]) {
			last = amps[i] * amps[i]
		}
	}
	return out
}
