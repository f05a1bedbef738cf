package vibration

import (
	"errors"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"limbgauge/analyze/internal/ref"
	"limbgauge/analyze/stats"
)

func TestSpectraAgainstSciPy(t *testing.T) {
	var oracle struct {
		RateHz float64 `json:"rate_hz"`
		X, Y   []float64
		Cases  []struct {
			Window           string
			Segment, Overlap int
			Hz, Density      []float64
			Coherence        []float64
			Re               []float64 `json:"h1_re"`
			Im               []float64 `json:"h1_im"`
		}
	}
	ref.JSON(t, "oracle/spectrum.json", &oracle)
	const from = "SciPy 1.10, testdata/oracle/spectrum.py"
	if len(oracle.Cases) != 5 {
		t.Fatalf("%d cases", len(oracle.Cases))
	}
	for _, c := range oracle.Cases {
		o := WelchOptions{RateHz: oracle.RateHz, Segment: c.Segment, Overlap: c.Overlap, Window: Hann}
		if c.Window == "boxcar" {
			o.Window = Boxcar
		}
		s, err := Welch(oracle.X, o)
		if err != nil {
			t.Fatal(err)
		}
		if len(s.Hz) != len(c.Hz) {
			t.Fatalf("%d frequencies, want %d", len(s.Hz), len(c.Hz))
		}
		for i := range c.Hz {
			ref.Near(t, "frequency", s.Hz[i], c.Hz[i], 1e-9, from)
			ref.Near(t, "density", s.Density[i], c.Density[i], 1e-12+1e-9*c.Density[i], from)
		}
		r, err := H1(oracle.X, oracle.Y, o)
		if c.Segment == len(oracle.X) {
			if !errors.Is(err, ErrOneSegment) {
				t.Errorf("coherence of one segment: %v", err)
			}
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		// At 0 Hz both sides divide rounding by rounding, since the mean is taken off.
		for i := 1; i < len(c.Hz); i++ {
			ref.Near(t, "coherence", r.Coherence[i], c.Coherence[i], 1e-9, from)
			ref.Near(t, "gain", cmplx.Abs(r.Gain[i]-complex(c.Re[i], c.Im[i])), 0, 1e-9, from)
		}
	}
}

// The scatter of a white spectrum is what the variance factor says, and unrelated signals pass the
// level of no relation once in twenty.
func TestRandomErrorsAreTrue(t *testing.T) {
	rng := rand.New(rand.NewPCG(31, 31))
	const n, runs = 1280, 150
	o := WelchOptions{RateHz: 1, Segment: 128, Overlap: 64, Window: Hann}
	var rel, above, all, factor float64
	for range runs {
		x, y := make([]float64, n), make([]float64, n)
		for i := range x {
			x[i], y[i] = rng.NormFloat64(), rng.NormFloat64()
		}
		s, err := Welch(x, o)
		if err != nil {
			t.Fatal(err)
		}
		factor = s.VarianceFactor
		rel += stats.Variance(s.Density[5:60]) / math.Pow(stats.Mean(s.Density[5:60]), 2) / runs
		r, err := H1(x, y, o)
		if err != nil {
			t.Fatal(err)
		}
		for _, g := range r.Coherence[5:60] {
			all++
			if g > r.NoRelation {
				above++
			}
		}
	}
	ref.Near(t, "variance over squared mean", rel, factor, .1*factor, "Welch 1967, overlap of one half")
	ref.Near(t, "share above the level of no relation", above/all, .05, .02, "one in twenty")
}

// Noise on the input makes H1 read low by S_nn/S_xx: with a signal ten times the noise, by 1/1.1.
func TestH1ReadsLowUnderInputNoise(t *testing.T) {
	rng := rand.New(rand.NewPCG(33, 33))
	const n = 40000
	x, y := make([]float64, n), make([]float64, n)
	for i := range x {
		s := rng.NormFloat64()
		x[i], y[i] = s+math.Sqrt(.1)*rng.NormFloat64(), 2*s
	}
	r, err := H1(x, y, WelchOptions{RateHz: 1, Segment: 200, Overlap: 100, Window: Hann})
	if err != nil {
		t.Fatal(err)
	}
	var g float64
	for _, h := range r.Gain[3:97] {
		g += real(h) / 94
	}
	ref.Near(t, "gain", g/2, .909091, .003, "1/(1 + 0.1)")
	if _, err := Welch(x[:50], WelchOptions{RateHz: 1, Segment: 64}); !errors.Is(err, stats.ErrTooFew) {
		t.Errorf("a segment longer than the series: %v", err)
	}
}

// A real flexible arm: the response stands out near 0.34 and 0.125 of the sample rate.
func TestFlexibleArm(t *testing.T) {
	c := ref.Columns(t, ref.Shared(t, "daisy_robot_arm/robot_arm.csv"))
	u, y := c[len(c)-2], c[len(c)-1]
	k := math.Sqrt(1023.0 / 1024) // the notes divide by n
	ref.Near(t, "sd of u", k*stats.SD(u), .16443, 1e-5, "DaISy robot arm, recomputed")
	ref.Near(t, "sd of y", k*stats.SD(y), .27510, 1e-5, "DaISy robot arm, recomputed")
	r, err := H1(u, y, WelchOptions{RateHz: 1, Segment: 256, Overlap: 128, Window: Hann})
	if err != nil {
		t.Fatal(err)
	}
	top := func(lo, hi float64) float64 {
		best, at := 0.0, 0.0
		for i, f := range r.Hz {
			if g := cmplx.Abs(r.Gain[i]); f >= lo && f <= hi && g > best {
				best, at = g, f
			}
		}
		return at
	}
	ref.Near(t, "main resonance", top(.02, .48), .340, .006, "Welch estimate with the data's notes")
	ref.Near(t, "second resonance", top(.08, .2), .125, .006, "Welch estimate with the data's notes")
}
