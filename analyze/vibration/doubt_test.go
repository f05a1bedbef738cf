package vibration

import (
	"math"
	"math/rand/v2"
	"testing"

	"limbgauge/analyze/internal/ref"
	"limbgauge/analyze/stats"
)

// A crossing lies somewhere between two samples: dt/√12 each (JCGM 100:2008, 4.3.7), √2 of it for the
// time between two.
func TestTimesAreAsSureAsSamplesAreNear(t *testing.T) {
	for _, rate := range []float64{50, 250, 1000} {
		time, angle := stepLog(rate, 40, 4, .4, .02, 0, 0, nil)
		s, err := MeasureStep(time, angle, .2, StepOptions{BandDeg: .8})
		if err != nil {
			t.Fatal(err)
		}
		least := .95 / rate / math.Sqrt(12)
		for _, c := range []struct {
			name string
			e    stats.Estimate
			k    float64
		}{{"dead time", s.DeadTime, 1}, {"rise time", s.RiseTime, math.Sqrt2}, {"settling time", s.SettleTime, 1}} {
			if !(c.e.U >= c.k*least) || c.e.U > 4*c.k*least {
				t.Errorf("%s at %g samples/s: u %g, want about %g", c.name, rate, c.e.U, c.k*least)
			}
		}
	}
}

// A travel at steady speed has that speed as its peak; a coarse angle makes the steepest window a
// little steeper, and the interval must allow for it.
func TestPeakSpeedOfASteadyTravel(t *testing.T) {
	rng := rand.New(rand.NewPCG(71, 71))
	const runs = 200
	inside := 0
	for range runs {
		v, start := 150+100*rng.Float64(), twelveBit*rng.Float64()
		var time, angle []float64
		for i := range 300 {
			at := float64(i) / 250
			time = append(time, at)
			angle = append(angle, twelveBit*math.Round((start+v*math.Max(0, math.Min(.3, at-.2)))/twelveBit))
		}
		s, err := MeasureStep(time, angle, .2, StepOptions{BandDeg: .8, Quantum: twelveBit})
		if err != nil {
			t.Fatal(err)
		}
		if !s.PeakSpeed.Excludes(v) {
			inside++
		}
		if s.PeakSpeed.Expanded() > .1*v {
			t.Errorf("%g deg/s known to %g only", s.PeakSpeed.Value, s.PeakSpeed.Expanded())
		}
	}
	if inside < runs*9/10 {
		t.Errorf("%d of %d intervals held the speed", inside, runs)
	}
}

// The height of a peak between samples is that of the parabola through three of them.
func TestPeaksBetweenSamples(t *testing.T) {
	const dt = 1.0 / 20
	z := make([]float64, 81)
	for i := range z {
		z[i] = math.Cos(2 * math.Pi * (float64(i)*dt - .02))
	}
	at, height := peaks(z, dt, .1)
	if len(at) != 7 {
		t.Fatalf("%d turning points, want 7 from 0.52 on: %v", len(at), at)
	}
	for i := range at {
		ref.Near(t, "time", at[i], .52+.5*float64(i), 5e-4, "every half period, 0.02 late")
		ref.Near(t, "height", height[i], 1, 1e-3, "a cosine")
	}
}

// Where dry friction takes 0.35 deg from each half swing there is no one damping. What is said of it
// must be at least as unsure as a line through the logarithms of these peaks.
func TestDampingThatIsNone(t *testing.T) {
	const dt, hz, loss = 1.0 / 500, 7.0, .35
	var y, k, ln []float64
	side, amp := 1.0, 4.0
	for n := 0.0; amp > loss; n++ {
		for i := range int(math.Floor(.5 / hz / dt)) {
			ph := 2 * math.Pi * hz * float64(i) * dt
			y = append(y, side*((amp-loss/2)*math.Cos(ph)+loss/2))
		}
		if n > 0 { // the first sample is no turning point of the series
			k, ln = append(k, n), append(ln, math.Log(amp))
		}
		side, amp = -side, amp-loss
	}
	// What is left of the last swing is a turning point as well: there the joint comes to rest.
	k, ln = append(k, k[len(k)-1]+1), append(ln, math.Log(amp))
	for range 150 {
		y = append(y, 0)
	}
	line, err := stats.FitLine(k, ln)
	if err != nil {
		t.Fatal(err)
	}
	r := RingDown(y, dt, RingOptions{Quantum: .02})
	if least := .9 * line.Slope.U / math.Pi; !(r.Damping.U >= least) {
		t.Errorf("damping %g, u %g; want %g or more", r.Damping.Value, r.Damping.U, least)
	}
}

// An oscillation that halves and halves again within the rest is ringing.
func TestSlowRingingIsNoHunting(t *testing.T) {
	rng := rand.New(rand.NewPCG(72, 72))
	ring := rests(20, 0, 5, rng)
	for _, d := range ring {
		for i, s := range d.Time {
			d.Angle[i] += 3 * math.Exp(-s/.5) * math.Cos(2*math.Pi*8*s)
		}
	}
	if h := FindHunting(ring, DefaultHuntingRule(twelveBit)); h.Found {
		t.Errorf("ringing of 3 deg that falls to a third from half to half: %+v", h)
	}
}

// The median of oscillations that differ is as sure as a median of so many readings is: 1.2533·s/√n
// (Kendall and Stuart, The Advanced Theory of Statistics, from memory).
func TestHuntingIsAsSureAsItsMedian(t *testing.T) {
	rng := rand.New(rand.NewPCG(73, 73))
	var dwells []Dwell
	var amps []float64
	for i := range 15 {
		amps = append(amps, .6+.04*float64(i))
		dwells = append(dwells, rests(1, amps[i], 6, rng)...)
	}
	h := FindHunting(dwells, DefaultHuntingRule(twelveBit))
	if h.Hunting != len(amps) {
		t.Fatalf("%+v", h)
	}
	want := 1.2533 * stats.SD(amps) / math.Sqrt(float64(len(amps)))
	ref.Near(t, "amplitude", h.Amplitude.Value, .88, .02, "the middle one of 15")
	ref.Near(t, "its u", h.Amplitude.U, want, .1*want, "1.2533·s/√n")
}
