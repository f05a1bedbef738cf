package filter

import (
	"fmt"
	"math"
	"math/cmplx"
)

// Section is one second order section in transposed direct form II, normalised to a0 = 1.
type Section struct{ B0, B1, B2, A1, A2 float64 }

// SOS is a filter as a cascade of sections.
type SOS []Section

// Butter designs a Butterworth low-pass filter: flat below cutHz, where it has lost 3 dB.
func Butter(order int, cutHz, rateHz float64) (SOS, error) {
	var poles []complex128
	for k := range order {
		poles = append(poles, cmplx.Exp(complex(0, math.Pi*float64(2*k+order+1)/float64(2*order))))
	}
	return lowPass(poles, 1, order, cutHz, rateHz)
}

// Cheby1 designs a Chebyshev type I low-pass filter: it ripples by rippleDB up to cutHz and falls
// faster than a Butterworth beyond.
func Cheby1(order int, rippleDB, cutHz, rateHz float64) (SOS, error) {
	eps := math.Sqrt(math.Pow(10, rippleDB/10) - 1)
	mu := math.Asinh(1/eps) / float64(order)
	var poles []complex128
	for k := range order {
		th := math.Pi * float64(2*k+1) / float64(2*order)
		poles = append(poles, complex(-math.Sinh(mu)*math.Sin(th), math.Cosh(mu)*math.Cos(th)))
	}
	gain := 1.0
	if order%2 == 0 {
		gain = 1 / math.Sqrt(1+eps*eps) // an even order starts in a trough of its ripple
	}
	return lowPass(poles, gain, order, cutHz, rateHz)
}

// lowPass turns analogue poles with cut-off 1 rad/s into digital sections of gain `gain` at 0 Hz.
func lowPass(poles []complex128, gain float64, order int, cutHz, rateHz float64) (SOS, error) {
	if order < 1 || !(cutHz > 0) || !(cutHz < rateHz/2) {
		return nil, fmt.Errorf("low-pass of order %d at %g Hz for %g samples/s: the cut-off must lie below half the sample rate", order, cutHz, rateHz)
	}
	warp := math.Tan(math.Pi * cutHz / rateHz)
	var sos SOS
	for _, p := range poles {
		if imag(p) < -1e-9 {
			continue // its conjugate makes the section
		}
		z := (1 + p*complex(warp, 0)) / (1 - p*complex(warp, 0))
		s := Section{B0: 1, B1: 2, B2: 1, A1: -2 * real(z), A2: real(z)*real(z) + imag(z)*imag(z)}
		if math.Abs(imag(p)) <= 1e-9 {
			s = Section{B0: 1, B1: 1, A1: -real(z)}
		}
		k := (1 + s.A1 + s.A2) / (s.B0 + s.B1 + s.B2)
		s.B0, s.B1, s.B2 = k*s.B0, k*s.B1, k*s.B2
		sos = append(sos, s)
	}
	sos[0].B0, sos[0].B1, sos[0].B2 = gain*sos[0].B0, gain*sos[0].B1, gain*sos[0].B2
	return sos, nil
}

// Response returns the complex gain at a frequency.
func (f SOS) Response(hz, rateHz float64) complex128 {
	z := cmplx.Exp(complex(0, -2*math.Pi*hz/rateHz))
	h := complex(1, 0)
	for _, s := range f {
		h *= (complex(s.B0, 0) + complex(s.B1, 0)*z + complex(s.B2, 0)*z*z) /
			(1 + complex(s.A1, 0)*z + complex(s.A2, 0)*z*z)
	}
	return h
}

// order returns the number of poles.
func (f SOS) order() int {
	n := 2 * len(f)
	for _, s := range f {
		if s.A2 == 0 {
			n--
		}
	}
	return n
}
