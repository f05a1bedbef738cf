package vibration

import (
	"errors"
	"math"
	"testing"

	"limbgauge/analyze/internal/ref"
)

// Check 3a.
func TestTwoMasses(t *testing.T) {
	m := TwoMassOf(2e-4, 8e-4, 20)
	ref.Near(t, "f_a", m.AntiResonanceHz, 25.1646, 1e-4, "√(k/J_l)/2π")
	ref.Near(t, "f_r", m.ResonanceHz, 56.2698, 1e-4, "eigenvalues of the two-mass chain")
	ref.Near(t, "f_r/f_a", m.ResonanceHz/m.AntiResonanceHz, math.Sqrt(5), 1e-12, "√(1 + J_l/J_m)")
}

// Check 3b.
func TestString(t *testing.T) {
	const from = "f = √(T/m')/2L (Rao, Mechanical Vibrations)"
	ref.Near(t, "T", StringTension(.0084, .1, 150), 7.56, 1e-9, from)
	ref.Near(t, "f", StringHz(.0084, .1, 10), 172.516, 1e-3, from)
	ref.Near(t, "f", StringHz(.006, 2, 90), 30.6186, 1e-4, from)
	ref.Near(t, "u", StringTensionU(.02, .01, .03), .05385, 1e-5, "√(4·2² + 4·1² + 3²) %")
	ref.Near(t, "T at 0.9 f", StringTension(1, 1, .9)/StringTension(1, 1, 1), .81, 1e-12, from)
}

// Checks 3c, 3d.
func TestDecrement(t *testing.T) {
	const rao = "Rao, Mechanical Vibrations, shock absorber of a motorcycle, figures recomputed"
	d := Decrement(1, 1.0/16, 1)
	z := DampingOf(d)
	ref.Near(t, "δ", d, 2.77259, 1e-5, rao)
	ref.Near(t, "ζ", z, .403713, 1e-6, rao)
	wn := 2 * math.Pi * NaturalOf(1.0/2, z)
	ref.Near(t, "ω_n", wn, 3.43386, 1e-4, rao)
	ref.Near(t, "k", 200*wn*wn, 2358.28, .2, rao)
	ref.Near(t, "c", 2*200*wn*z, 554.52, .05, rao)
	ref.Near(t, "δ of 100 cycles", Decrement(1, .13, 100), .0204022, 1e-7, "public exercise: amplitude falls to 13 % in 100 cycles")
	ref.Near(t, "ζ of 100 cycles", DampingOf(Decrement(1, .13, 100)), .00324710, 1e-8, "the same")
}

// Checks 3e, 3f.
func TestMatrixPencil(t *testing.T) {
	// x_k = 1.2 x_{k-1} - 0.72 x_{k-2} has the poles 0.6 ± 0.6i.
	x := []float64{1, .6}
	for len(x) < 12 {
		n := len(x)
		x = append(x, 1.2*x[n-1]-.72*x[n-2])
	}
	for i, want := range []float64{1, .6, 0, -.432, -.5184, -.31104} {
		ref.Near(t, "series", x[i], want, 1e-12, "recursion by hand")
	}
	m, err := MatrixPencil(x, .01, 1)
	if err != nil || len(m) != 1 {
		t.Fatal(m, err)
	}
	ref.Near(t, "f_d", m[0].DampedHz, 12.5, 1e-8, "arg(0.6 + 0.6i) = 45°")
	ref.Near(t, "f_n", m[0].NaturalHz, 12.7704, 1e-4, "|ln z|/2πΔt")
	ref.Near(t, "ζ", m[0].Damping, .204704, 1e-6, "-Re s/|s|")

	y := make([]float64, 200)
	wd := 2 * math.Pi * 12
	wn := wd / math.Sqrt(1-.05*.05)
	for i := range y {
		at := .005 * float64(i)
		y[i] = math.Exp(-.05*wn*at) * math.Cos(wd*at)
	}
	if m, err = MatrixPencil(y, .005, 1); err != nil || len(m) != 1 {
		t.Fatal(m, err)
	}
	ref.Near(t, "f_n", m[0].NaturalHz, 12.015028, 1e-6, "f_d/√(1 - ζ²)")
	ref.Near(t, "ζ", m[0].Damping, .05, 1e-10, "as made")
	ref.Near(t, "amplitude", m[0].Amplitude, 1, 1e-8, "as made")
	d := Decrement(y[0], y[0]*math.Exp(-.05*wn/12), 1)
	ref.Near(t, "δ", d, .314553, 1e-6, "2πζ/√(1 - ζ²)")
	ref.Near(t, "amplitude ratio", math.Exp(-d), .730115, 1e-6, "e^-δ")
}

// Check 3g.
func TestSpectrumScaling(t *testing.T) {
	x := make([]float64, 1000)
	for i := range x {
		x[i] = 2 * math.Sin(2*math.Pi*50*float64(i)/1000)
	}
	const from = "a sine of amplitude 2 has power 2"
	box, err := Welch(x, WelchOptions{RateHz: 1000, Segment: 1000, Window: Boxcar})
	if err != nil {
		t.Fatal(err)
	}
	hann, err := Welch(x, WelchOptions{RateHz: 1000, Segment: 1000, Window: Hann})
	if err != nil {
		t.Fatal(err)
	}
	sum := func(s Spectrum) (p float64) {
		for _, v := range s.Density {
			p += v * s.Hz[1]
		}
		return p
	}
	ref.Near(t, "boxcar at 50 Hz", box.Density[50], 2, 1e-9, from)
	ref.Near(t, "boxcar power", sum(box), 2, 1e-9, from)
	ref.Near(t, "Hann at 50 Hz", hann.Density[50], 4.0/3, 1e-9, "noise bandwidth 1.5 bins")
	ref.Near(t, "Hann at 49 Hz", hann.Density[49], 1.0/3, 1e-9, "Hann's side coefficient is half, its power a quarter")
	ref.Near(t, "Hann at 51 Hz", hann.Density[51], 1.0/3, 1e-9, "the same")
	ref.Near(t, "Hann power", sum(hann), 2, 1e-9, from)
}

// Check 3h; its error of H1 by input noise in TestH1ReadsLowUnderInputNoise.
func TestRandomErrors(t *testing.T) {
	const from = "Bendat and Piersol, Random Data, chapter 9"
	ref.Near(t, "ε|H|", GainError(.9, 20), .0527046, 1e-7, from)
	ref.Near(t, "phase", GainError(.9, 20)*180/math.Pi, 3.0198, 1e-4, from)
	e, b := CoherenceError(.9, 20)
	ref.Near(t, "ε(γ²)", e, .0333333, 1e-7, from)
	ref.Near(t, "bias", b, .0005, 1e-12, from)
	ref.Near(t, "no relation", NoRelation(20), .145869, 1e-6, "1 - 0.05^(1/19)")
	ref.Near(t, "Hann, half overlap, 7 segments", varianceFactor(WelchOptions{Segment: 4096, Overlap: 2048}, 7), .149660, 1e-6, "(1/7)(1 + 2·(1/6)²·6/7), ρ = 1/6")
	if _, err := H1(make([]float64, 64), make([]float64, 64), WelchOptions{RateHz: 1, Segment: 64}); !errors.Is(err, ErrOneSegment) {
		t.Errorf("coherence of one segment: %v, want a refusal", err)
	}
}
