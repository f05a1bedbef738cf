package filter

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"limbgauge/analyze/internal/ref"
)

func TestAgainstSciPy(t *testing.T) {
	var oracle struct {
		RateHz float64 `json:"rate_hz"`
		X      []float64
		Cases  []struct {
			Kind      string
			Order     int
			RippleDB  float64 `json:"ripple_db"`
			CutHz     float64 `json:"cut_hz"`
			Hz, Gain  []float64
			Phase     []float64 `json:"phase_rad"`
			Forward   []float64
			ZeroPhase []float64 `json:"zero_phase"`
		}
		Decimated []float64 `json:"decimated_by_10"`
	}
	ref.JSON(t, "oracle/filter.json", &oracle)
	const from = "SciPy 1.10, testdata/oracle/filter.py"
	if len(oracle.Cases) != 5 {
		t.Fatalf("%d cases", len(oracle.Cases))
	}
	for _, c := range oracle.Cases {
		f, err := Butter(c.Order, c.CutHz, oracle.RateHz)
		if c.Kind == "cheby1" {
			f, err = Cheby1(c.Order, c.RippleDB, c.CutHz, oracle.RateHz)
		}
		if err != nil {
			t.Fatal(err)
		}
		for i, hz := range c.Hz {
			want := cmplx.Rect(c.Gain[i], c.Phase[i])
			ref.Near(t, c.Kind+" response", cmplx.Abs(f.Response(hz, oracle.RateHz)-want), 0, 1e-9, from)
		}
		z, err := f.ZeroPhase(oracle.X)
		if err != nil {
			t.Fatal(err)
		}
		ref.Near(t, c.Kind+" forward", furthest(f.Forward(oracle.X), c.Forward), 0, 1e-9, from)
		ref.Near(t, c.Kind+" zero phase", furthest(z, c.ZeroPhase), 0, 1e-9, from)
	}
	d, err := Decimate(oracle.X, 10)
	if err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "decimated", furthest(d, oracle.Decimated), 0, 1e-9, from)
}

func furthest(a, b []float64) float64 {
	if len(a) != len(b) {
		return math.NaN()
	}
	var m float64
	for i := range a {
		m = math.Max(m, math.Abs(a[i]-b[i]))
	}
	return m
}

func TestClosedForms(t *testing.T) {
	b, err := Butter(4, 50, 1000)
	if err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "gain at the cut-off", cmplx.Abs(b.Response(50, 1000)), math.Sqrt(0.5), 1e-12, "definition of Butterworth's cut-off")
	c, err := Cheby1(8, 0.05, 50, 1000)
	if err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "gain at the edge of the ripple", 20*math.Log10(cmplx.Abs(c.Response(50, 1000))), -0.05, 1e-9, "definition of Chebyshev's ripple")
	// A straight line passes unchanged once the transient of the ends has died away.
	x := make([]float64, 600)
	for i := range x {
		x[i] = 3 - 0.2*float64(i)
	}
	z, err := b.ZeroPhase(x)
	if err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "line", furthest(z[250:350], x[250:350]), 0, 1e-9, "gain 1 and phase 0 at 0 Hz")
	for _, v := range Derivative(x, 0.01) {
		ref.Near(t, "slope", v, -20, 1e-9, "line of -0.2 per 10 ms")
	}
}

// The scatter of white noise falls by the root of the filter's noise bandwidth.
func TestNoiseIsReduced(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	x := make([]float64, 20000)
	for i := range x {
		x[i] = rng.NormFloat64()
	}
	f, err := Butter(4, 50, 1000)
	if err != nil {
		t.Fatal(err)
	}
	var band float64
	for k := range 5000 {
		g := cmplx.Abs(f.Response(float64(k)/10, 1000))
		band += g * g * g * g / 5000
	}
	z, err := f.ZeroPhase(x)
	if err != nil {
		t.Fatal(err)
	}
	var ss float64
	for _, v := range z {
		ss += v * v
	}
	ref.Near(t, "sd of filtered noise", math.Sqrt(ss/float64(len(z)))/math.Sqrt(band), 1, 0.06, "integral of |H|⁴")
}

func TestRefusals(t *testing.T) {
	if _, err := Butter(4, 500, 1000); err == nil {
		t.Error("a cut-off at half the sample rate was accepted")
	}
	f, err := Butter(4, 50, 1000)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.ZeroPhase(make([]float64, 15)); err == nil {
		t.Error("fewer samples than the extension were accepted")
	}
}

func TestEven(t *testing.T) {
	y, gaps := Even([]float64{0, 0.01, 0.03, 0.1}, []float64{0, 1, 3, 10}, 100)
	want := []float64{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10}
	ref.Near(t, "line on an uneven grid", furthest(y, want), 0, 1e-9, "linear interpolation keeps a line")
	if gaps < 0.5 {
		t.Errorf("share in gaps %g, want more than half: seven points lie in one gap of 70 ms", gaps)
	}
	if y, gaps := Even([]float64{0}, []float64{1}, 100); y != nil || gaps != 1 {
		t.Error("one sample is no series")
	}
}
