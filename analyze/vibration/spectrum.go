package vibration

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"

	"limbgauge/analyze/stats"
)

// Window is the weight given to the samples of a segment.
type Window int

// The windows.
const (
	Hann   Window = iota // periodic; noise bandwidth 1.5 bins
	Boxcar               // none
)

func (w Window) weights(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = 1
		if w == Hann {
			out[i] = 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(n))
		}
	}
	return out
}

// WelchOptions says how a series is cut into segments.
type WelchOptions struct {
	RateHz  float64
	Segment int // samples per segment
	Overlap int // samples shared with the next; half a segment is usual with Hann
	Window  Window
}

// Spectrum is an averaged power spectral density, one-sided.
type Spectrum struct {
	Hz       []float64
	Density  []float64 // unit²/Hz
	Segments int
	// VarianceFactor is variance over squared mean of each value: 1 for one segment.
	VarianceFactor float64
}

// Response is the frequency response from x to y.
type Response struct {
	Hz        []float64
	Gain      []complex128 // H1 = S_xy/S_xx: right when the noise is on y; noise on x makes it read low
	Coherence []float64    // γ²
	GainU     []float64    // relative standard uncertainty of |H1|; also that of the phase, rad
	Averages  float64      // independent averages n_d the segments are worth
	// NoRelation is the coherence that unrelated signals exceed once in twenty.
	NoRelation float64
}

// ErrOneSegment says that coherence needs two segments or more: with one it is 1 whatever the signals.
var ErrOneSegment = errors.New("one segment always has coherence 1")

// Welch returns the averaged periodogram of x, with the mean of each segment taken off:
// (1/K)·Σ|FFT(w·x_k)|²·2/(f_s·Σw²), not doubled at 0 and at half the sample rate.
func Welch(x []float64, o WelchOptions) (Spectrum, error) {
	c, err := cross(x, x, o)
	if err != nil {
		return Spectrum{}, err
	}
	s := Spectrum{Hz: c.hz, Density: make([]float64, len(c.hz)), Segments: c.k,
		VarianceFactor: varianceFactor(o, c.k)}
	copy(s.Density, c.xx)
	return s, nil
}

// H1 returns the frequency response from x to y with its coherence and random error.
func H1(x, y []float64, o WelchOptions) (Response, error) {
	c, err := cross(x, y, o)
	if err != nil {
		return Response{}, err
	}
	if c.k < 2 {
		return Response{}, ErrOneSegment
	}
	r := Response{Hz: c.hz, Averages: 1 / varianceFactor(o, c.k)}
	r.NoRelation = NoRelation(r.Averages)
	for i := range c.hz {
		h := c.xy[i] / complex(c.xx[i], 0)
		g := real(c.xy[i])*real(c.xy[i]) + imag(c.xy[i])*imag(c.xy[i])
		g /= c.xx[i] * c.yy[i]
		r.Gain = append(r.Gain, h)
		r.Coherence = append(r.Coherence, g)
		r.GainU = append(r.GainU, GainError(g, r.Averages))
	}
	return r, nil
}

// GainError returns the relative standard uncertainty of |H1| at a coherence from nd independent
// averages: √(1-γ²)/(|γ|√(2 n_d)); also that of the phase, rad (Bendat and Piersol, chapter 9).
func GainError(coherence, nd float64) float64 {
	return math.Sqrt(1-coherence) / math.Sqrt(coherence*2*nd)
}

// CoherenceError returns the relative standard uncertainty of an estimated coherence,
// √2(1-γ²)/(|γ|√n_d), and its bias, (1-γ²)²/n_d.
func CoherenceError(coherence, nd float64) (relative, bias float64) {
	q := 1 - coherence
	return math.Sqrt2 * q / math.Sqrt(coherence*nd), q * q / nd
}

// NoRelation returns the coherence that unrelated signals exceed once in twenty: 1 - 0.05^(1/(n_d-1)).
func NoRelation(nd float64) float64 { return 1 - math.Pow(0.05, 1/(nd-1)) }

// varianceFactor is (1/K)(1 + 2ρ²(K-1)/K), ρ the correlation of neighbouring windows (Welch 1967).
// It holds for overlaps up to half a segment.
func varianceFactor(o WelchOptions, k int) float64 {
	w := o.Window.weights(o.Segment)
	var num, den float64
	step := o.Segment - o.Overlap
	for i := range w {
		den += w[i] * w[i]
		if i+step < len(w) {
			num += w[i] * w[i+step]
		}
	}
	rho := num / den
	kf := float64(k)
	return (1 + 2*rho*rho*(kf-1)/kf) / kf
}

type crossed struct {
	hz     []float64
	xx, yy []float64
	xy     []complex128
	k      int
}

func cross(x, y []float64, o WelchOptions) (crossed, error) {
	if len(x) != len(y) {
		panic("vibration: x and y differ in length")
	}
	if o.Segment < 8 || o.Segment > len(x) || o.Overlap < 0 || o.Overlap >= o.Segment {
		return crossed{}, fmt.Errorf("spectrum of %d samples in segments of %d with %d shared: %w", len(x), o.Segment, o.Overlap, stats.ErrTooFew)
	}
	w := o.Window.weights(o.Segment)
	var w2 float64
	for _, v := range w {
		w2 += v * v
	}
	fft := fourier.NewFFT(o.Segment)
	bins := o.Segment/2 + 1
	c := crossed{hz: make([]float64, bins), xx: make([]float64, bins), yy: make([]float64, bins), xy: make([]complex128, bins)}
	for from := 0; from+o.Segment <= len(x); from += o.Segment - o.Overlap {
		fx := transform(fft, x[from:from+o.Segment], w)
		fy := transform(fft, y[from:from+o.Segment], w)
		for i := range fx {
			c.xx[i] += real(fx[i])*real(fx[i]) + imag(fx[i])*imag(fx[i])
			c.yy[i] += real(fy[i])*real(fy[i]) + imag(fy[i])*imag(fy[i])
			c.xy[i] += cmplx.Conj(fx[i]) * fy[i]
		}
		c.k++
	}
	for i := range c.hz {
		scale := 2 / (o.RateHz * w2 * float64(c.k))
		if i == 0 || (o.Segment%2 == 0 && i == bins-1) {
			scale /= 2
		}
		c.hz[i] = float64(i) * o.RateHz / float64(o.Segment)
		c.xx[i], c.yy[i], c.xy[i] = c.xx[i]*scale, c.yy[i]*scale, c.xy[i]*complex(scale, 0)
	}
	return c, nil
}

func transform(fft *fourier.FFT, x, w []float64) []complex128 {
	m := stats.Mean(x)
	seg := make([]float64, len(x))
	for i := range seg {
		seg[i] = w[i] * (x[i] - m)
	}
	return fft.Coefficients(nil, seg)
}
