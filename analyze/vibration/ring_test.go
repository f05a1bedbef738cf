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

// Intervals hold the truth at any rate, noise and number of bits, and are no wider than they need be:
// on the mean within a few per cent of the figure.
func TestRingDownIntervals(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 9))
	for _, row := range []struct{ rate, noise, q, wide float64 }{
		{250, .03, twelveBit, .06}, {250, .05, twelveBit, .08}, {500, .03, twelveBit, .06}, {2000, .05, twelveBit, .1},
		{250, .2, twelveBit, .3}, {100, .03, twelveBit, .08}, {250, .03, twelveBit / 4, .06},
	} {
		n, hz, zeta, width := 0, 0, 0, 0.0
		for range 150 {
			f, z, amp := 4+14*rng.Float64(), .02+.13*rng.Float64(), 1+4*rng.Float64()
			if row.rate < 200 {
				f = 3 + 7*rng.Float64()
			}
			r := RingDown(ringLog(row.rate, 1, amp, f, z, row.noise, row.q, rng), 1/row.rate, RingOptions{Quantum: row.q, NoiseSD: row.noise})
			if !r.NaturalHz.Seen() {
				continue
			}
			n++
			width += r.Damping.Expanded() / z
			if !r.NaturalHz.Excludes(f) {
				hz++
			}
			if !r.Damping.Excludes(z) {
				zeta++
			}
		}
		if n < 140 || hz < n*90/100 || zeta < n*90/100 || width/float64(n) > row.wide {
			t.Errorf("%+v: %d seen, the interval of the frequency held the truth in %d, of the damping in %d; that is wide by %.3f of the damping", row, n, hz, zeta, width/float64(n))
		}
	}
}

// Two modes at once: the greater is the one reported.
func TestRingDownOfTwoModes(t *testing.T) {
	rng := rand.New(rand.NewPCG(10, 10))
	var y []float64
	for i := range 300 {
		at := float64(i) / 250
		a := 4*math.Exp(-5*at)*math.Cos(2*math.Pi*8*at) + .6*math.Exp(-8*at)*math.Sin(2*math.Pi*31*at) + .03*rng.NormFloat64()
		y = append(y, twelveBit*math.Round(a/twelveBit))
	}
	r := RingDown(y, 1.0/250, RingOptions{Quantum: twelveBit, NoiseSD: .03})
	ref.Near(t, "frequency", r.DampedHz.Value, 8, r.DampedHz.Expanded(), "as made")
	ref.Near(t, "damping", r.Damping.Value, 5/math.Hypot(5, 16*math.Pi), r.Damping.Expanded(), "σ/ω_n as made")
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
