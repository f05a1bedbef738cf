package play

import (
	"math"
	"math/rand/v2"
	"testing"

	"limbgauge/analyze/stats"
)

// restless sweeps a joint that is another one in each pass: its play, compliance and rest shift from
// pass to pass by normal deviations, as if it were warmed, bounced and settled between.
func (m truth) restless(passes int, play, compliance, offset, noise float64, rng *rand.Rand) []Point {
	var out []Point
	for p := range passes {
		one := m
		one.play += play * rng.NormFloat64()
		one.compliance += compliance * rng.NormFloat64()
		one.offset += offset * rng.NormFloat64()
		for _, q := range one.pendulum(0.3, 1, noise, rng) {
			if q.Dir == 1-2*(p%2) {
				q.Group = p
				out = append(out, q)
			}
		}
	}
	return out
}

// Within a pass nothing tells that the next will be another: the residuals alone would be sure of the
// mean of a few passes. Resampling whole passes is not.
func TestIntervalsHoldFromPassToPass(t *testing.T) {
	seeds := uint64(400)
	if testing.Short() {
		seeds = 150
	}
	for _, c := range []struct {
		name                      string
		passes                    int
		play, compliance, offset  float64
		noise                     float64
		wantPlay, wantCompliances bool
	}{
		{"play shifts, 6 passes", 6, 0.06, 0, 0.02, 0.005, true, false},
		{"play shifts, 12 passes", 12, 0.06, 0, 0.02, 0.005, true, false},
		{"compliance shifts, 8 passes", 8, 0, 0.15, 0, 0.005, false, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			m := truth{play: 0.5, compliance: 2, friction: 0.02}
			var play, compliance held
			for seed := range seeds {
				rng := rand.New(rand.NewPCG(seed, 21))
				l, err := Fit(m.restless(c.passes, c.play, c.compliance, c.offset, c.noise, rng), Options{Friction: true})
				if err != nil {
					t.Fatal(err)
				}
				if l.Cycles != c.passes {
					t.Fatalf("%d passes resampled of %d", l.Cycles, c.passes)
				}
				play.add(l.Play.Value, l.Play.U, m.play)
				compliance.add(l.Compliance.Value, l.Compliance.U, m.compliance)
			}
			play.check(t, "play")
			compliance.check(t, "compliance")
			if c.wantPlay {
				play.narrow(t, "play", 2)
			}
			if c.wantCompliances {
				compliance.narrow(t, "compliance", 2)
			}
		})
	}
}

// narrow wants the intervals no wider than so many times what the estimates scatter by would ask for.
func (h held) narrow(t *testing.T, name string, most float64) {
	t.Helper()
	if u, need := h.u/float64(h.n), 1.96*h.sd(); u > most*need {
		t.Errorf("%s: U = %.3g on average, %.1f times what the scatter of the estimates asks for", name, u, u/need)
	}
}

// Too few passes are not resampled, and the figures say so.
func TestFewPassesAreNotResampled(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 21))
	l, err := Fit(truth{play: 0.5, compliance: 2, friction: 0.02}.restless(stats.MinCycles-1, 0, 0, 0, 0.01, rng), Options{Friction: true})
	if err != nil {
		t.Fatal(err)
	}
	if l.Cycles != 0 || !(l.Play.U > 0) {
		t.Errorf("%d passes resampled, play %v; want none and an interval from the residuals", l.Cycles, l.Play)
	}
}

// A tight spot holds the joint back in one place and leaves the loop as it is elsewhere: the friction
// there is no play and no compliance. 0.15 N·m, bell-shaped, at 40 deg, against a load of 0.3 N·m.
func TestTightSpotIsNoPlay(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 21))
	m := truth{play: 0.05, compliance: 2, friction: 0.01}
	points := m.pendulum(0.3, 3, 0.01, rng)
	for i, p := range points {
		if d := p.Angle - 40; d > -4 && d < 4 {
			points[i].Defl -= 2 * 0.15 * float64(p.Dir)
		}
	}
	l, err := Fit(points, Options{Friction: true})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "play", l.Play.Value, m.play, 0.02)
	near(t, "compliance", l.Compliance.Value, m.compliance, 0.1)
	near(t, "friction", l.Friction.Value, m.friction, 0.003)
}

// Creep makes a ramp lag behind its load, by most where the load changes fastest, and so closes the
// loop that friction opens. It is told from friction, which opens the loop alike at every load.
func TestCreepIsNotFriction(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 21))
	m := truth{play: 0.1, compliance: 2, friction: 0.012}
	points := m.pendulum(0.3, 4, 0.005, rng)
	turn := 0.3 * math.Sin(70*math.Pi/180) // where the pass begins nothing lags yet
	for i, p := range points {
		points[i].Defl += 0.03 * float64(p.Dir) * math.Sqrt(math.Max(0, turn*turn-p.Load*p.Load))
	}
	l, err := Fit(points, Options{Friction: true})
	if err != nil {
		t.Fatal(err)
	}
	if l.Friction.U > 0.004 {
		t.Errorf("friction %v: the lag swallowed it", l.Friction)
	}
	near(t, "friction", l.Friction.Value, m.friction, 1.5*l.Friction.U) // 95 % in U, one draw
	near(t, "play", l.Play.Value, m.play, 0.01)
}
