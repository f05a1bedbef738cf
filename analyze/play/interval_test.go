package play

import (
	"math"
	"math/rand/v2"
	"testing"
)

// held counts how often an interval was there and how often it held the truth.
type held struct {
	in, n      int
	sum, sq, u float64
}

func (h *held) add(v, u, want float64) {
	if math.IsNaN(v) {
		return
	}
	h.n++
	h.sum, h.sq, h.u = h.sum+v, h.sq+v*v, h.u+u
	if math.Abs(v-want) <= u {
		h.in++
	}
}

// spread wants the intervals as wide as the estimates scatter, to 15 % (a standard deviation from a
// hundred is known to 7 %).
func (h held) spread(t *testing.T, name string) {
	t.Helper()
	sd := h.sd()
	if u := h.u / float64(h.n); u < 0.85*1.96*sd {
		t.Errorf("%s: U = %g on average, but the estimates scatter by %g", name, u, sd)
	}
}

func (h held) sd() float64 {
	n := float64(h.n)
	return math.Sqrt((h.sq - h.sum*h.sum/n) / (n - 1))
}

// check wants the share of a 95 % interval, less four standard deviations of a binomial count.
func (h held) check(t *testing.T, name string) {
	t.Helper()
	least := 0.95 - 4*math.Sqrt(0.95*0.05/float64(h.n))
	t.Logf("%s: %d of %d", name, h.in, h.n)
	if float64(h.in) < least*float64(h.n) {
		t.Errorf("%s: %d of %d intervals hold the truth, want at least %.0f %%", name, h.in, h.n, 100*least)
	}
}

func TestIntervalsHold(t *testing.T) {
	weights := func(levels []float64, cycles int, noise float64) func(truth, *rand.Rand) []Point {
		return func(m truth, rng *rand.Rand) []Point { return m.weights(levels, cycles, noise, rng) }
	}
	sweep := func(noise float64) func(truth, *rand.Rand) []Point {
		return func(m truth, rng *rand.Rand) []Point { return m.pendulum(0.3, 3, noise, rng) }
	}
	for _, c := range []struct {
		name  string
		m     truth
		o     Options
		make  func(truth, *rand.Rand) []Point
		seeds uint64
	}{
		{"weights, play", truth{play: 0.5, compliance: 2}, Options{}, weights([]float64{0.1, 0.2, 0.3, 0.4}, 2, 0.03), 300},
		{"weights, no play", truth{compliance: 3}, Options{}, weights([]float64{0.1, 0.2, 0.3}, 3, 0.05), 300},
		{"sweep, play", truth{play: 0.5, compliance: 2, friction: 0.02}, Options{Friction: true}, sweep(0.03), 100},
		{"sweep, friction alone", truth{compliance: 2, friction: 0.05}, Options{Friction: true}, sweep(0.03), 100},
		{"sweep, great friction", truth{compliance: 2, play: 0.3, friction: 0.2}, Options{Friction: true}, sweep(0.03), 100},
		{"sweep, no friction", truth{compliance: 2, play: 0.1}, Options{Friction: true}, sweep(0.03), 100},
		{"sweep, taut belt", truth{compliance: 2, friction: 0.02}, Options{Friction: true, Knee: true, Wave: true}, sweep(0.02), 100},
		{"sweep, taut belt, noisy", truth{compliance: 1, friction: 0.02}, Options{Friction: true, Knee: true}, sweep(0.06), 100},
		{"sweep, knee", truth{compliance: 2, knee: 0.12, extra: 1.4, friction: 0.01}, Options{Friction: true, Knee: true}, sweep(0.02), 100},
		{"sweep, low knee", truth{compliance: 2, knee: 0.05, extra: 1.8, friction: 0.01}, Options{Friction: true, Knee: true, Wave: true, Lowest: 0.025}, sweep(0.01), 100},
	} {
		t.Run(c.name, func(t *testing.T) {
			var play, compliance, friction, knee held
			if testing.Short() {
				c.seeds /= 3 // the race detector is slow; the thresholds follow the count
			}
			for seed := range c.seeds {
				l, err := Fit(c.make(c.m, rand.New(rand.NewPCG(seed, 7))), c.o)
				if err != nil {
					t.Fatal(err)
				}
				play.add(l.Play.Value, l.Play.U, c.m.play)
				compliance.add(l.Compliance.Value, l.Compliance.U, c.m.compliance)
				friction.add(l.Friction.Value, l.Friction.U, c.m.friction)
				knee.add(l.Knee, l.KneeU, c.m.knee)
			}
			play.check(t, "play")
			compliance.check(t, "compliance")
			play.spread(t, "play")
			compliance.spread(t, "compliance")
			if c.o.Friction {
				friction.check(t, "friction")
			}
			switch {
			case c.m.knee == 0 && knee.n > 0:
				t.Errorf("a knee was seen in %d of %d loops without one", knee.n, c.seeds)
			case c.m.knee > 0:
				held{in: knee.n, n: int(c.seeds)}.check(t, "loops that show their knee")
				knee.check(t, "knee")
			}
		})
	}
}

// The interval must not be bought by width: with weights it is that of the least squares themselves.
// Variance of the step by hand for one level T ± pairs: columns 1, sgn, T are orthogonal to the
// offset; Sxx of sgn after T is n·(1 - mean|T|²/mean T²).
func TestWidthOfPlay(t *testing.T) {
	levels := []float64{0.1, 0.2, 0.3, 0.4}
	const noise, cycles, student = 0.03, 50, 1.966 // t(397, 0.975), tables
	rng := rand.New(rand.NewPCG(5, 5))
	l, err := Fit(truth{play: 0.5, compliance: 2}.weights(levels, cycles, noise, rng), Options{})
	if err != nil {
		t.Fatal(err)
	}
	n := float64(2 * cycles * len(levels))
	sxx := n * (1 - 0.25*0.25/0.075)
	want := 2 * student * noise / math.Sqrt(sxx)
	if math.Abs(l.Play.U-want) > 0.12*want { // s itself scatters by 1/√(2·397) = 3.5 %
		t.Errorf("U of play = %g, want %g ± 12 %%", l.Play.U, want)
	}
}

// An off-centre magnet of which the even part shows makes its odd part likely, which is read as
// compliance: it is in the interval however many readings there are. A load that does not go with the
// angle tells them apart, and the form does not matter.
func TestSensorFormStaysInTheInterval(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	o := Options{Friction: true, Wave: true, SensorDeg: 0.06}
	u := func(wave float64) float64 {
		l, err := Fit(truth{play: 0.5, compliance: 2, friction: 0.01, wave: wave}.pendulum(0.3, 20, 0.001, rng), o)
		if err != nil {
			t.Fatal(err)
		}
		return l.Compliance.U
	}
	if without, with := u(0), u(0.15); without < 0.06/0.3 || with < 0.15/0.3 || with < 1.5*without {
		t.Errorf("U of compliance %.3g without and %.3g with an even part: the odd part is lost", without, with)
	}
	l, err := Fit(truth{play: 0.5, compliance: 2}.weights([]float64{0.1, 0.2, 0.3, 0.4}, 200, 0.001, rng), o)
	if err != nil {
		t.Fatal(err)
	}
	if l.Compliance.U > 0.01 {
		t.Errorf("U of compliance %.3g under weights at one angle: the form plays no part there", l.Compliance.U)
	}
}

// Without an even part the odd one has the spread known beforehand, less a little; the closed form for
// a known spread is 1.96 σ. With nothing known of the run it is that of the mixture, wider than normal.
func TestOddPart(t *testing.T) {
	if u := oddU(0.05, 0, math.Inf(1)); u < 1.96*0.05 || u > 2*1.96*0.05 {
		t.Errorf("unseen: %.4f, want somewhat above %.4f", u, 1.96*0.05)
	}
	last := 0.0
	for _, even := range []float64{0, 0.03, 0.06, 0.12, 0.25} {
		u := oddU(0.05, even, 0.003)
		if u <= last {
			t.Errorf("an even part of %.2f gives %.4f, a smaller one %.4f", even, u, last)
		}
		last = u
	}
	if oddU(0, 0.1, 0.003) != 0 {
		t.Error("a mapped sensor has no form left")
	}
	// The rule means what it says: phases at random, amplitudes about the usual ones.
	rng := rand.New(rand.NewPCG(17, 1))
	in, n := 0, 4000
	for range n {
		sigma := 0.05 * math.Exp(formSpread*rng.NormFloat64())
		even, odd := sigma*rng.NormFloat64(), sigma*rng.NormFloat64()
		if math.Abs(odd) <= oddU(0.05, even+0.004*rng.NormFloat64(), 0.004) {
			in++
		}
	}
	if p := float64(in) / float64(n); math.Abs(p-0.95) > 4*math.Sqrt(0.95*0.05/float64(n)) {
		t.Errorf("%.3f of the odd parts lie within, want 0.95", p)
	}
}
