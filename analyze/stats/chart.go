package stats

import (
	"fmt"
	"math"
)

// Limits are the centre and control limits of a chart.
type Limits struct{ Centre, Lo, Hi float64 }

// Individuals returns the limits of a Shewhart chart of single readings: mean ± 3·M̄R/1.128, M̄R the
// mean of the moving ranges of two (NIST/SEMATECH e-Handbook 6.3.2.2). It needs eight baseline
// readings, better ten; readings that hang together in time give more false alarms.
func Individuals(x []float64) (Limits, error) {
	if len(x) < 8 {
		return Limits{}, fmt.Errorf("control chart of %d readings, 8 are needed: %w", len(x), ErrTooFew)
	}
	var mr float64
	for i := 1; i < len(x); i++ {
		mr += math.Abs(x[i] - x[i-1])
	}
	mr /= float64(len(x) - 1)
	c := Mean(x)
	return Limits{c, c - 3*mr/1.128, c + 3*mr/1.128}, nil
}

// EWMA returns the exponentially weighted averages z_t = λ·x_t + (1-λ)·z_{t-1} from z_0 = start, and
// the limits of each, μ ± k·σ·√(λ/(2-λ)·(1-(1-λ)^{2t})) with μ = centre (e-Handbook 6.3.2.4).
func EWMA(x []float64, start, centre, sigma, lambda, k float64) (z []float64, limits []Limits) {
	last := start
	for i, v := range x {
		last = lambda*v + (1-lambda)*last
		h := k * sigma * math.Sqrt(lambda/(2-lambda)*(1-math.Pow(1-lambda, 2*float64(i+1))))
		z, limits = append(z, last), append(limits, Limits{centre, centre - h, centre + h})
	}
	return z, limits
}

// Cusum holds the two sums of a tabular cumulative sum chart.
type Cusum struct {
	Hi, Lo []float64
	Alarm  int // first reading at which a sum passes the limit, -1 for none
	Start  int // reading at which that shift began: the one after the sum's last zero; -1 without alarm
}

// CumulativeSum runs S⁺ = max(0, S⁺ + x - μ - K) and S⁻ = max(0, S⁻ + μ - K - x) and looks for a sum
// above h (e-Handbook 6.3.2.3; Montgomery and Runger, chapter 16). K is half the shift looked for, h
// four or five standard deviations.
func CumulativeSum(x []float64, centre, k, h float64) Cusum {
	c := Cusum{Alarm: -1, Start: -1}
	var hi, lo float64
	zeroHi, zeroLo := 0, 0
	for i, v := range x {
		hi = math.Max(0, hi+v-centre-k)
		lo = math.Max(0, lo+centre-k-v)
		if hi == 0 {
			zeroHi = i + 1
		}
		if lo == 0 {
			zeroLo = i + 1
		}
		c.Hi, c.Lo = append(c.Hi, hi), append(c.Lo, lo)
		if c.Alarm < 0 && (hi > h || lo > h) {
			c.Alarm, c.Start = i, zeroLo
			if hi > h {
				c.Start = zeroHi
			}
		}
	}
	return c
}
