package vibration

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"limbgauge/analyze/internal/ref"
)

// driven steps a second order system, with natural frequency hz and damping zeta, through an input held over each
// sample, by its exact transition matrix, and returns the output.
func driven(x []float64, dt, hz, zeta float64) []float64 {
	wn := 2 * math.Pi * hz
	wd := wn * math.Sqrt(1-zeta*zeta)
	s := complex(-zeta*wn, wd)
	// With z = y' - s̄·(y - x) each sample turns z by e^(s·dt).
	turn := cmplx.Exp(s * complex(dt, 0))
	out := make([]float64, len(x))
	y, v := x[0], 0.0
	for i, u := range x {
		out[i] = y
		z := complex(v, 0) - cmplx.Conj(s)*complex(y-u, 0)
		z *= turn
		y = u + imag(z)/wd
		v = real(z) + real(cmplx.Conj(s))*(y-u)
	}
	return out
}

// chance is a command of two levels, each bit as likely, held over some samples.
func chance(n, hold int, rng *rand.Rand) []float64 {
	x := make([]float64, n)
	for i := range x {
		if i%hold == 0 {
			x[i] = 4*float64(rng.IntN(2)) - 2
		} else {
			x[i] = x[i-1]
		}
	}
	return x
}

// gainOf is |H| of the second order system in closed form.
func gainOf(f, hz, zeta float64) float64 {
	r := f / hz
	return 1 / math.Hypot(1-r*r, 2*zeta*r)
}

func TestBandwidthAndResonance(t *testing.T) {
	rng := rand.New(rand.NewPCG(71, 71))
	for _, rate := range []float64{100, 250} {
		for _, noise := range []float64{0, .05, .3} {
			held, n := 0, 0
			for range 25 {
				hz, zeta := 4+4*rng.Float64(), .15+.2*rng.Float64()
				x := chance(int(60*rate), int(.04*rate), rng)
				y := driven(x, 1/rate, hz, zeta)
				for i := range y {
					y[i] = twelveBit * math.Round((y[i]+noise*rng.NormFloat64())/twelveBit)
				}
				r, err := H1(x, y, WelchOptions{RateHz: rate, Segment: int(4 * rate), Overlap: int(2 * rate), Window: Hann})
				if err != nil {
					t.Fatal(err)
				}
				// -3 dB: 1/|H|² = (1-r²)² + (2ζr)² = 2.
				b := 1 - 2*zeta*zeta
				fall, top := hz*math.Sqrt(b+math.Sqrt(b*b+1)), hz*math.Sqrt(b)
				ref.Near(t, "closed form", gainOf(fall, hz, zeta), 1/math.Sqrt2, 1e-12, "second order system")
				got := r.Falls(1 / math.Sqrt2)
				if !got.Hz.Seen() || got.Least {
					t.Fatalf("noise %g: bandwidth %+v, want %g", noise, got, fall)
				}
				res := r.Resonance()
				if !res.Seen() {
					t.Fatalf("noise %g: resonance %q, want %g", noise, res.Unseen, top)
				}
				n += 2
				if !got.Hz.Excludes(fall) {
					held++
				}
				if !res.Excludes(top) {
					held++
				}
				ref.Near(t, "bandwidth", got.Hz.Value, fall, .06*fall, "closed form")
				ref.Near(t, "resonance", res.Value, top, .08*top, "closed form")
				if got.Hz.Expanded() > .1*fall || res.Expanded() > .15*top {
					t.Errorf("noise %g: bandwidth %g ± %g, resonance %g ± %g", noise, got.Hz.Value, got.Hz.Expanded(), res.Value, res.Expanded())
				}
			}
			if held < n*88/100 {
				t.Errorf("%g samples/s, noise %g: %d of %d intervals held the truth", rate, noise, held, n)
			}
		}
	}
}

// What does not fall within reach gets a least bandwidth, what has no peak no resonance, and what
// does not go together nothing.
func TestResponseUnseen(t *testing.T) {
	rng := rand.New(rand.NewPCG(72, 72))
	o := WelchOptions{RateHz: 100, Segment: 400, Overlap: 200, Window: Hann}
	x := chance(6000, 4, rng)
	y := make([]float64, len(x))
	for i := range y {
		y[i] = x[i] + .02*rng.NormFloat64()
	}
	r, err := H1(x, y, o)
	if err != nil {
		t.Fatal(err)
	}
	if f := r.Falls(1 / math.Sqrt2); !f.Least || f.Hz.Value < 15 || !math.IsNaN(f.Hz.U) {
		t.Errorf("a joint without inertia: %+v", f)
	}
	if e := r.Resonance(); e.Seen() {
		t.Errorf("a joint without inertia resonates at %g Hz", e.Value)
	}
	for i := range y {
		y[i] = rng.NormFloat64()
	}
	if r, err = H1(x, y, o); err != nil {
		t.Fatal(err)
	}
	if f := r.Falls(1 / math.Sqrt2); f.Hz.Seen() || f.Hz.Unseen == "" {
		t.Errorf("noise has bandwidth %+v", f)
	}
	if e := r.Resonance(); e.Seen() {
		t.Errorf("noise resonates at %g Hz", e.Value)
	}
}
