package filter

import (
	"fmt"
	"math"
)

// Forward runs the filter once, as if the first value had stood there for ever. It delays.
func (f SOS) Forward(x []float64) []float64 {
	out := append([]float64(nil), x...)
	if len(x) == 0 {
		return out
	}
	level := x[0] // steady input of the section
	for _, s := range f {
		y := level * (s.B0 + s.B1 + s.B2) / (1 + s.A1 + s.A2)
		z2 := s.B2*level - s.A2*y
		z1 := s.B1*level - s.A1*y + z2
		for i, v := range out {
			w := s.B0*v + z1
			z1 = s.B1*v - s.A1*w + z2
			z2 = s.B2*v - s.A2*w
			out[i] = w
		}
		level = y
	}
	return out
}

// ZeroPhase runs the filter forward and backward, so nothing is shifted in time and the gain counts
// twice. The ends are extended by turning the signal about its end points (odd extension) over
// three times the filter's length. It needs more samples than that extension.
func (f SOS) ZeroPhase(x []float64) ([]float64, error) {
	pad, n := 3*(f.order()+1), len(x)
	if n <= pad {
		return nil, fmt.Errorf("zero-phase filter of order %d on %d samples: it needs more than %d", f.order(), n, pad)
	}
	e := make([]float64, 0, n+2*pad)
	for i := pad; i > 0; i-- {
		e = append(e, 2*x[0]-x[i])
	}
	e = append(e, x...)
	for i := 1; i <= pad; i++ {
		e = append(e, 2*x[n-1]-x[n-1-i])
	}
	y := f.Forward(e)
	reverse(y)
	y = f.Forward(y)
	reverse(y)
	return append([]float64(nil), y[pad:pad+n]...), nil
}

// Decimate keeps every k-th sample from the first, after a zero-phase Chebyshev filter of order 8,
// 0.05 dB, at 0.8 of the new half rate: a usual anti-alias recipe.
func Decimate(x []float64, k int) ([]float64, error) {
	if k <= 1 {
		return append([]float64(nil), x...), nil
	}
	f, err := Cheby1(8, 0.05, 0.8/float64(k), 2)
	if err != nil {
		return nil, err
	}
	y, err := f.ZeroPhase(x)
	if err != nil {
		return nil, fmt.Errorf("decimate by %d: %w", k, err)
	}
	out := y[:0]
	for i := 0; i < len(y); i += k {
		out = append(out, y[i])
	}
	return out, nil
}

// Derivative returns central differences of evenly spaced samples, dt s apart; the first and last
// value are one-sided.
func Derivative(x []float64, dt float64) []float64 {
	n := len(x)
	out := make([]float64, n)
	if n < 2 {
		return out
	}
	for i := 1; i+1 < n; i++ {
		out[i] = (x[i+1] - x[i-1]) / (2 * dt)
	}
	out[0], out[n-1] = (x[1]-x[0])/dt, (x[n-1]-x[n-2])/dt
	return out
}

// Even resamples x at times t to an even grid of rateHz by straight lines between neighbours, from
// the first sample to the last. Samples that are NaN are bridged. t must rise. It returns the
// share of grid points that lie in a gap of more than two spacings, where the line is a guess.
func Even(t, x []float64, rateHz float64) (y []float64, gaps float64) {
	var ts, xs []float64
	for i := range t {
		if !math.IsNaN(x[i]) {
			ts, xs = append(ts, t[i]), append(xs, x[i])
		}
	}
	if len(ts) < 2 {
		return nil, 1
	}
	n := int(math.Floor((ts[len(ts)-1]-ts[0])*rateHz+1e-9)) + 1
	y = make([]float64, n)
	k, guessed := 0, 0
	for i := range y {
		at := ts[0] + float64(i)/rateHz
		for k+2 < len(ts) && ts[k+1] <= at {
			k++
		}
		w := ts[k+1] - ts[k]
		y[i] = xs[k] + (xs[k+1]-xs[k])*(at-ts[k])/w
		if w > 2.5/rateHz {
			guessed++
		}
	}
	return y, float64(guessed) / float64(n)
}

func reverse(x []float64) {
	for i, j := 0, len(x)-1; i < j; i, j = i+1, j-1 {
		x[i], x[j] = x[j], x[i]
	}
}
