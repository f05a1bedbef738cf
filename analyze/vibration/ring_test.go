package vibration

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"limbgauge/analyze/internal/ref"
	"limbgauge/analyze/stats"
)

// ringLog is a decaying oscillation about 30 deg.
func ringLog(rate, seconds, amp, hz, zeta, noise, q float64, rng *rand.Rand) []float64 {
	var y []float64
	wn := 2 * math.Pi * hz
	wd := wn * math.Sqrt(1-zeta*zeta)
	for i := range int(seconds * rate) {
		t := float64(i) / rate
		a := 30 + amp*math.Exp(-zeta*wn*t)*math.Cos(wd*t+.4)
		if rng != nil {
			a += noise * rng.NormFloat64()
		}
		if q > 0 {
			a = q * math.Round(a/q)
		}
		y = append(y, a)
	}
	return y
}

func TestRingDown(t *testing.T) {
	r := RingDown(ringLog(500, 2, 4, 11, .06, 0, 0, nil), 1.0/500, RingOptions{})
	ref.Near(t, "natural frequency", r.NaturalHz.Value, 11, 1e-3, "as made")
	ref.Near(t, "damping", r.Damping.Value, .06, 1e-4, "as made")
	ref.Near(t, "damped frequency", r.DampedHz.Value, 11*math.Sqrt(1-.0036), 1e-3, "f_n √(1 - ζ²)")
	if r.Linear {
		t.Error("viscous damping was called dry friction")
	}
}

// A coarse, noisy log: the interval holds the truth.
func TestRingDownWithNoise(t *testing.T) {
	rng := rand.New(rand.NewPCG(51, 51))
	const runs = 100
	hz, z := 0, 0
	for range runs {
		r := RingDown(ringLog(250, 1.5, 4, 9, .07, .05, twelveBit, rng), 1.0/250, RingOptions{Quantum: twelveBit, NoiseSD: .05})
		if !r.NaturalHz.Seen() {
			t.Fatal(r.NaturalHz.Unseen)
		}
		if !r.NaturalHz.Excludes(9) {
			hz++
		}
		if !r.Damping.Excludes(.07) {
			z++
		}
	}
	if hz < 88 || z < 88 {
		t.Errorf("of %d intervals %d held the frequency and %d the damping, want 88 or more", runs, hz, z)
	}
}

// Dry friction takes the same from every half swing: the peaks fall in a straight line.
func TestDryFrictionIsLinear(t *testing.T) {
	const dt, hz, loss = 1.0 / 500, 7.0, .35
	var y []float64
	side, amp := 1.0, 4.0
	for amp > loss {
		for k := range int(math.Floor(.5 / hz / dt)) {
			ph := math.Pi * float64(k) * dt * 2 * hz
			y = append(y, side*((amp-loss/2)*math.Cos(ph)+loss/2))
		}
		side, amp = -side, amp-loss
	}
	for range 150 {
		y = append(y, 0)
	}
	r := RingDown(y, dt, RingOptions{Quantum: .02})
	if !r.NaturalHz.Seen() || !r.Linear {
		t.Fatalf("%+v", r)
	}
	ref.Near(t, "frequency", r.DampedHz.Value, hz, .2, "as made")
}

func TestRingDownUnseen(t *testing.T) {
	for _, row := range []struct {
		name string
		y    []float64
		dt   float64
		why  string
	}{
		{"too small", ringLog(500, 1, .2, 11, .06, 0, twelveBit, nil), 1.0 / 500, "peaks"},
		{"overdamped", ringLog(500, 1, 5, 5, .7, 0, 0, nil), 1.0 / 500, "peaks"},
		{"too fast", ringLog(100, 2, 5, 33, .02, 0, 0, nil), 1.0 / 100, "quarter of the sample rate"},
		{"short", ringLog(100, .1, 5, 11, .02, 0, 0, nil), 1.0 / 100, "too few"},
	} {
		r := RingDown(row.y, row.dt, RingOptions{Quantum: twelveBit})
		if r.NaturalHz.Seen() || r.Damping.Seen() || !strings.Contains(r.NaturalHz.Unseen, row.why) {
			t.Errorf("%s: %+v, want unseen for %q", row.name, r, row.why)
		}
	}
	if _, err := MatrixPencil([]float64{1, 2, 3}, 1, 1); !errors.Is(err, stats.ErrTooFew) {
		t.Errorf("three samples: %v", err)
	}
}

func TestTwoModesByThePencil(t *testing.T) {
	var y []float64
	for i := range 300 {
		at := float64(i) / 500
		y = append(y, 2*math.Exp(-5*at)*math.Cos(2*math.Pi*20*at)+math.Exp(-3*at)*math.Sin(2*math.Pi*47*at))
	}
	m, err := MatrixPencil(y, 1.0/500, 2)
	if err != nil || len(m) != 2 {
		t.Fatal(m, err)
	}
	if m[0].DampedHz > m[1].DampedHz {
		m[0], m[1] = m[1], m[0]
	}
	ref.Near(t, "first", m[0].DampedHz, 20, 1e-8, "as made")
	ref.Near(t, "second", m[1].DampedHz, 47, 1e-8, "as made")
	ref.Near(t, "its amplitude", m[1].Amplitude, 1, 1e-7, "as made")
	ref.Near(t, "first's decay", m[0].Damping*m[0].NaturalHz*2*math.Pi, 5, 1e-7, "as made")
}
