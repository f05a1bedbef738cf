package vibration

import (
	"fmt"
	"math"
	"math/cmplx"

	"limbgauge/analyze/stats"
)

// gainDoubt is the greatest relative standard uncertainty of a gain that is still used.
const gainDoubt = 0.15

// Used reports whether bin i of a response says anything: its coherence is more than unrelated signals
// have, and its gain is known well enough.
func (r Response) Used(i int) bool {
	return i > 0 && r.Coherence[i] > r.NoRelation && r.GainU[i] <= gainDoubt
}

// lowBins is how many of the lowest bins that say anything give the gain that falling is held against.
const lowBins = 3

// Fall is where a response has fallen to a share of its low-frequency gain.
type Fall struct {
	Hz stats.Estimate
	// Least is true where the response does not fall so far while it can be told: Hz is then the
	// greatest frequency to which it was seen not to, and its uncertainty NaN.
	Least bool
	LowHz float64 // the frequency up to which the low gain was taken
	Low   float64 // that gain
}

// Falls returns the frequency at which the gain of a response first falls below share of its gain at
// the lowest frequencies, on the line through the bins about the crossing. Bins that say nothing are
// passed over; where the last that does still lies above, the answer is a least one.
//
// The uncertainty is that of the line, of the low gain, and of the width of a bin (even, ±half).
// It is unseen where fewer than a dozen bins say anything.
func (r Response) Falls(share float64) Fall {
	f := Fall{Hz: stats.Unseen("too few frequencies at which the answer goes with the command")}
	var hz, gain, rel []float64
	for i := range r.Hz {
		if r.Used(i) {
			hz, gain, rel = append(hz, r.Hz[i]), append(gain, cmplx.Abs(r.Gain[i])), append(rel, r.GainU[i])
		}
	}
	if len(hz) < 12 {
		return f
	}
	bin := r.Hz[1] - r.Hz[0]
	var wsum, lowRel float64
	for i := range lowBins {
		w := 1 / math.Max(rel[i]*rel[i], 1e-8)
		f.Low += w * gain[i]
		wsum += w
	}
	f.Low /= wsum
	lowRel, f.LowHz = 1/math.Sqrt(wsum), hz[lowBins-1]
	level := share * f.Low
	at := -1
	for i := lowBins; i+1 < len(hz); i++ {
		// Two in a row, so that one bin's luck is no fall.
		if gain[i] < level && gain[i+1] < level {
			at = i
			break
		}
	}
	if at < 0 {
		f.Least = true
		f.Hz = stats.Estimate{Value: hz[len(hz)-1], U: math.NaN(), DF: math.Inf(1)}
		return f
	}
	const about = 3
	lo, hi := max(0, at-about), min(len(hz), at+about)
	line, err := stats.FitLine(hz[lo:hi], gain[lo:hi])
	cross := hz[at]
	u := bin / 2
	if err == nil && line.Slope.Value < 0 {
		c := (level - line.Intercept.Value) / line.Slope.Value
		if c > hz[lo]-bin && c < hz[hi-1]+bin {
			cross = c
			up := math.Hypot(line.At(c).U, level*lowRel)
			own := 0.0
			for i := lo; i < hi; i++ {
				own += math.Pow(gain[i]*rel[i], 2)
			}
			up = math.Max(up, math.Sqrt(own)/float64(hi-lo))
			u = math.Hypot(up/math.Abs(line.Slope.Value), bin/math.Sqrt(12))
		}
	}
	f.Hz = stats.Estimate{Value: cross, U: u, DF: math.Inf(1)}
	return f
}

// standsOut is how far the gain at a resonance must stand above the low gain.
const standsOut = 1.3

// Resonance returns the frequency of the highest gain of a response, by a parabola through the
// logarithms of the three bins at its top; the uncertainty is that of those three and half a bin. It
// is unseen where no bin stands above the low gain by three tenths and its own doubt, or where the top
// lies at the end of what can be told.
func (r Response) Resonance() stats.Estimate {
	var used []int
	for i := range r.Hz {
		if r.Used(i) {
			used = append(used, i)
		}
	}
	if len(used) < 12 {
		return stats.Unseen("too few frequencies at which the joint goes with the motor")
	}
	low := 0.0
	for _, i := range used[:lowBins] {
		low += cmplx.Abs(r.Gain[i]) / lowBins
	}
	top := used[0]
	for _, i := range used {
		if cmplx.Abs(r.Gain[i]) > cmplx.Abs(r.Gain[top]) {
			top = i
		}
	}
	g := cmplx.Abs(r.Gain[top])
	end := r.Hz[used[len(used)-1]]
	if g*(1-2*r.GainU[top]) < standsOut*low {
		return stats.Unseen("%s", fmt.Sprintf("no frequency up to %.1f Hz stands out", end))
	}
	if top == used[len(used)-1] || !r.Used(top-1) || !r.Used(top+1) {
		return stats.Unseen("%s", fmt.Sprintf("the gain still rises at %.1f Hz, up to which it can be told", end))
	}
	a, b, c := math.Log(cmplx.Abs(r.Gain[top-1])), math.Log(g), math.Log(cmplx.Abs(r.Gain[top+1]))
	bend := a - 2*b + c
	bin := r.Hz[1] - r.Hz[0]
	x, u := 0.0, 0.5
	if bend < 0 {
		x = math.Max(-1, math.Min(1, (a-c)/(2*bend)))
		u = math.Min(1, math.Hypot(0.5/math.Sqrt(3), r.GainU[top]/math.Sqrt2/math.Abs(bend)))
	}
	return stats.Estimate{Value: r.Hz[top] + x*bin, U: u * bin, DF: math.Inf(1)}
}
