package vibration

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"limbgauge/analyze/internal/ref"
	"limbgauge/analyze/stats"
)

const twelveBit = 360.0 / 4096

// second is the unit step response of a second order system, 0 before t = 0.
func second(t, hz, zeta float64) float64 {
	if t <= 0 {
		return 0
	}
	wn := 2 * math.Pi * hz
	wd := wn * math.Sqrt(1-zeta*zeta)
	return 1 - math.Exp(-zeta*wn*t)*(math.Cos(wd*t)+zeta/math.Sqrt(1-zeta*zeta)*math.Sin(wd*t))
}

// first finds when f first reaches a level, by halving after a fine search.
func first(f func(float64) float64, level, end float64) float64 {
	const fine = 1e-5
	for t := 0.0; t < end; t += fine {
		if f(t) >= level {
			lo, hi := t-fine, t
			for range 60 {
				if m := (lo + hi) / 2; f(m) >= level {
					hi = m
				} else {
					lo = m
				}
			}
			return hi
		}
	}
	return math.NaN()
}

// stepLog samples a step of `way` degrees from 5 deg at t0 = 0.2 s, with a pure delay.
func stepLog(rate, way, hz, zeta, delay, noise, q float64, rng *rand.Rand) (time, angle []float64) {
	for i := range int(1.4 * rate) {
		t := float64(i) / rate
		a := 5 + way*second(t-.2-delay, hz, zeta)
		if noise > 0 {
			a += noise * rng.NormFloat64()
		}
		if q > 0 {
			a = q * math.Round(a/q)
		}
		time, angle = append(time, t), append(angle, a)
	}
	return time, angle
}

func TestStepOfASecondOrderSystem(t *testing.T) {
	for _, way := range []float64{40, -40} {
		const hz, zeta, delay, band = 8.0, .3, .015, .8
		time, angle := stepLog(2000, way, hz, zeta, delay, 0, 0, nil)
		s, err := MeasureStep(time, angle, .2, StepOptions{BandDeg: band})
		if err != nil {
			t.Fatal(err)
		}
		const from = "closed form of the second order step"
		f := func(t float64) float64 { return second(t, hz, zeta) }
		ref.Near(t, "dead time", s.DeadTime.Value, delay+first(f, .02, 1), 3e-4, from)
		ref.Near(t, "rise time", s.RiseTime.Value, first(f, .9, 1)-first(f, .1, 1), 3e-4, from)
		over := math.Exp(-math.Pi * zeta / math.Sqrt(1-zeta*zeta))
		ref.Near(t, "overshoot", s.Overshoot.Value, 40*over, .05, from+", e^(-πζ/√(1-ζ²))")
		settled := 0.0
		for x := 0.0; x < 1; x += 1e-5 {
			if math.Abs(f(x)-1)*40 > band {
				settled = x
			}
		}
		ref.Near(t, "settling time", s.SettleTime.Value, delay+settled, 1e-3, from)
		speed := 0.0
		for x := 0.0; x < .2; x += 1e-4 {
			speed = math.Max(speed, 40*(f(x+1e-4)-f(x))/1e-4)
		}
		ref.Near(t, "peak speed", s.PeakSpeed.Value, speed, .03*speed, from+", flattened a little by the window")
		ref.Near(t, "rest after", s.ToDeg, 5+way, .01, "as made")
	}
}

// At any rate, noise and number of bits the intervals hold the truth, and are no wider than they need be.
func TestStepIntervals(t *testing.T) {
	rng := rand.New(rand.NewPCG(41, 41))
	const runs, band = 120, .8
	for _, row := range []struct{ rate, noise, q float64 }{
		{250, .04, twelveBit}, {50, .04, twelveBit}, {2000, .04, twelveBit}, {250, .4, twelveBit}, {250, 0, twelveBit}, {500, .02, twelveBit / 4},
	} {
		type tally struct {
			held, n int
			width   float64
		}
		count := map[string]*tally{}
		for range runs {
			hz, zeta, delay := 3+5*rng.Float64(), .15+.3*rng.Float64(), .01+.02*rng.Float64()
			// The stand's clock and the joint's know nothing of each other.
			delay += rng.Float64() / row.rate
			time, angle := stepLog(row.rate, 40, hz, zeta, delay, row.noise, row.q, rng)
			s, err := MeasureStep(time, angle, .2, StepOptions{BandDeg: band, Quantum: row.q})
			if err != nil {
				t.Fatal(err)
			}
			f := func(t float64) float64 { return second(t, hz, zeta) }
			settled, speed := 0.0, 0.0
			for x := 0.0; x < 1.2; x += 1e-4 {
				if math.Abs(f(x)-1)*40 > band {
					settled = x
				}
				speed = math.Max(speed, 40*(f(x+1e-4)-f(x))/1e-4)
			}
			starts := math.Max(.02, math.Max(2*row.q, 5*math.Hypot(row.noise, row.q/math.Sqrt(12)))/40)
			for _, c := range []struct {
				name string
				got  stats.Estimate
				want float64
			}{
				{"rise time", s.RiseTime, first(f, .9, 1) - first(f, .1, 1)},
				{"dead time", s.DeadTime, delay + first(f, starts, 1)},
				{"overshoot", s.Overshoot, 40 * math.Exp(-math.Pi*zeta/math.Sqrt(1-zeta*zeta))},
				{"settling time", s.SettleTime, delay + settled},
				{"peak speed", s.PeakSpeed, speed},
			} {
				if !c.got.Seen() {
					continue
				}
				k := count[c.name]
				if k == nil {
					k = &tally{}
					count[c.name] = k
				}
				k.n++
				k.width += c.got.Expanded()
				if !c.got.Excludes(c.want) {
					k.held++
				}
			}
		}
		for name, k := range count {
			t.Logf("%+v: %s: %d of %d, mean half width %.4f", row, name, k.held, k.n, k.width/float64(k.n))
			if k.held < k.n*90/100 {
				t.Errorf("%+v: the interval of the %s held the truth in %d of %d steps", row, name, k.held, k.n)
			}
		}
	}
}

func TestStepUnseen(t *testing.T) {
	time, angle := stepLog(250, 40, 2, .05, 0, 0, twelveBit, nil) // rings on past the end
	s, err := MeasureStep(time, angle, .2, StepOptions{BandDeg: .8, Quantum: twelveBit})
	if err != nil {
		t.Fatal(err)
	}
	if s.SettleTime.Seen() {
		t.Errorf("settled after %g s, but it still swings", s.SettleTime.Value)
	}
	still := make([]float64, len(time))
	if _, err := MeasureStep(time, still, .2, StepOptions{Quantum: twelveBit}); err == nil {
		t.Error("a joint that did not move has a rise time")
	}
	if _, err := MeasureStep(time[:40], angle[:40], 0, StepOptions{}); !errors.Is(err, stats.ErrTooFew) {
		t.Errorf("no rest before the step: %v", err)
	}
	if p := PoolSteps([]Step{s}); p.SettleTime.Seen() || p.SettleTime.Unseen == "" {
		t.Error("pooling invented a settling time")
	}
	if p := PoolSteps(nil); p.RiseTime.Seen() {
		t.Error("no steps, but a rise time")
	}
}

func TestPooling(t *testing.T) {
	step := func(rise float64) Step {
		return Step{RiseTime: stats.Estimate{Value: rise, U: .001, DF: math.Inf(1)}}
	}
	two := PoolSteps([]Step{step(.1), step(.12)}).RiseTime
	ref.Near(t, "two", two.Value, .11, 1e-12, "mean")
	ref.Near(t, "u of two", two.U, .02/math.Sqrt(12), 1e-12, "even over the range")
	four := PoolSteps([]Step{step(.1), step(.12), step(.1), step(.12)}).RiseTime
	ref.Near(t, "u of four", four.U, stats.SD([]float64{.1, .12, .1, .12})/2, 1e-12, "s/√n")
	// Three up and three down by hand: s² within is (2·1e-6 + 2·4e-6)/4 = 2.5e-6, over 6 steps.
	up := func(rise float64) Step { s := step(rise); s.ToDeg, s.RiseTime.U = 18, 0; return s }
	down := func(rise float64) Step { s := step(rise); s.ToDeg, s.RiseTime.U = -18, 0; return s }
	six := PoolSteps([]Step{up(.099), down(.198), up(.1), down(.2), up(.101), down(.202)}).RiseTime
	ref.Near(t, "mean of six", six.Value, .15, 1e-12, "mean")
	ref.Near(t, "u of six", six.U, math.Sqrt(2.5e-6/6), 1e-12, "scatter within a direction only")
	ref.Near(t, "df of six", six.DF, 4, 0, "six steps of two kinds")
	like := PoolSteps([]Step{step(.1), step(.1)}).RiseTime
	ref.Near(t, "u of two alike", like.U, .001, 1e-12, "what each cannot tell of itself, which may be alike in all")
}
