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
	n := float64(h.n)
	sd := math.Sqrt((h.sq - h.sum*h.sum/n) / (n - 1))
	if u := h.u / n; u < 0.85*1.96*sd {
		t.Errorf("%s: U = %g on average, but the estimates scatter by %g", name, u, sd)
	}
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

// A sensor's form error is in the interval however many readings there are.
func TestSensorFormStaysInTheInterval(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	points := truth{play: 0.5, compliance: 2}.weights([]float64{0.1, 0.2, 0.3, 0.4}, 200, 0.001, rng)
	l, err := Fit(points, Options{SensorDeg: 0.06})
	if err != nil {
		t.Fatal(err)
	}
	if l.Compliance.U < 2*0.06/(0.4-0.1) || l.Play.U < 2*0.06/3 {
		t.Errorf("U of compliance %g, of play %g: the sensor's share is lost", l.Compliance.U, l.Play.U)
	}
}
