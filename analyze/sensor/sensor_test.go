package sensor

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"limbgauge/analyze/internal/ref"
)

const twelveBit = 360.0 / 4096

// swing is a joint that follows a slow triangle of ±60 deg with rests at its ends, read at hz with
// 12 bits and noise.
func swing(hz, noise float64, rng *rand.Rand) (time, command, angle []float64) {
	for i := 0; i < int(30*hz); i++ {
		t := float64(i) / hz
		c := 60.0
		switch ph := math.Mod(t, 10); {
		case ph < 4:
			c = -60 + 30*ph
		case ph < 5:
		case ph < 9:
			c = 60 - 30*(ph-5)
		default:
			c = -60
		}
		a := c + noise*rng.NormFloat64()
		time, command, angle = append(time, t), append(command, c), append(angle, twelveBit*math.Round(a/twelveBit))
	}
	return time, command, angle
}

// A reading folded into one turn comes back whole, to the digit, at any rate.
func TestUnwrapGivesBackWhatWasFolded(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for _, hz := range []float64{50, 250, 2000} {
		time, command, angle := swing(hz, .05, rng)
		for _, zero := range []float64{-30, 0, 59.95} { // where the sensor's turn ends
			folded := slices.Clone(angle)
			for i, v := range folded {
				folded[i] = math.Mod(v-zero+720, 360) + zero
				if rng.Float64() < .05 {
					folded[i] = math.NaN()
				}
			}
			y, w := Unwrap(time, folded, command, 360, 420)
			if w.Count == 0 || math.IsNaN(w.FirstS) {
				t.Fatalf("%g Hz, end of turn at %g: no wrap seen", hz, zero)
			}
			for i := range y {
				if !math.IsNaN(y[i]) && math.Abs(y[i]-angle[i]) > 1e-9 {
					t.Fatalf("%g Hz, end of turn at %g: %g deg at %g s, was %g", hz, zero, y[i], time[i], angle[i])
				}
			}
		}
		same, w := Unwrap(time, angle, command, 360, 420)
		if w.Count != 0 || w.Turns != 0 || &same[0] != &angle[0] {
			t.Errorf("%g Hz: a whole record was changed: %+v", hz, w)
		}
	}
}

// What is no wrap stays: a slip, a spike that misses a turn by more than the joint can move, a gap in
// which the joint may have turned as far.
func TestUnwrapLeavesAlone(t *testing.T) {
	time := []float64{0, .004, .008, .012, .016, .020}
	for name, x := range map[string][]float64{
		"slip of 22.5 deg":   {0, 0, 22.5, 22.5, 22.5, 22.5},
		"spike of 340 deg":   {0, 0, 340, 0, 0, 0},
		"nothing but holes":  {math.NaN(), math.NaN(), math.NaN(), math.NaN(), math.NaN(), math.NaN()},
		"no angle of a turn": {0, 0, 1e300, 1e300, 0, 0},
	} {
		if y, w := Unwrap(time, x, nil, 360, 420); w.Count != 0 || &y[0] != &x[0] {
			t.Errorf("%s: %+v, %v", name, w, y)
		}
	}
	if _, w := Unwrap([]float64{0, .3}, []float64{0, 355}, nil, 360, 420); w.Count != 0 {
		t.Error("in 0.3 s the joint may have turned by a third of a turn either way")
	}
}

func TestSpikes(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	for _, hz := range []float64{50, 250, 2000} {
		for _, noise := range []float64{0, .05, .5} {
			time, command, angle := swing(hz, noise, rng)
			o := SpikeOptions{Fastest: 420, LeastDeg: 3, Quantum: twelveBit}
			if s := FindSpikes(time, angle, command, o); s.Count != 0 || s.Bad != nil {
				t.Errorf("%g Hz, noise %g: %d spikes in a sound record", hz, noise, s.Count)
			}
			want := map[int]bool{}
			x := slices.Clone(angle)
			for _, at := range []float64{1.5, 2.5, 6.5, 12, 17} { // moving
				i := int(at * hz)
				x[i] += 60 * (1 - 2*float64(i%2))
				want[i] = true
			}
			for _, at := range []float64{4.7, 14.6, 24.7} { // at rest
				i := int(at * hz)
				x[i] += math.Copysign(math.Max(4, 20*noise), rng.Float64()-.5)
				want[i] = true
			}
			s := FindSpikes(time, x, command, o)
			if s.Count != len(want) {
				t.Errorf("%g Hz, noise %g: %d spikes, %d were put in", hz, noise, s.Count, len(want))
			}
			for i, bad := range s.Bad {
				if bad != want[i] {
					t.Errorf("%g Hz, noise %g: reading at %g s: left out %v", hz, noise, time[i], bad)
				}
			}
		}
	}
}

// A joint that jumps and stays, that rings, that was not read for a while, has no spike.
func TestNoSpikes(t *testing.T) {
	o := SpikeOptions{Fastest: 420, LeastDeg: 3, Quantum: twelveBit}
	const hz = 250.0
	for name, f := range map[string]func(s float64) float64{
		"a skipped tooth in one sample": func(s float64) float64 {
			if s > 2 {
				return -22.5
			}
			return 0
		},
		"ringing at 30 Hz":   func(s float64) float64 { return 5 * math.Exp(-s/.2) * math.Cos(2*math.Pi*30*s) },
		"hunting":            func(s float64) float64 { return 2 * math.Sin(2*math.Pi*15*s) },
		"a step of 18 deg":   func(s float64) float64 { return math.Min(18, math.Max(0, 420*(s-1))) },
		"not read for 0.5 s": func(s float64) float64 { return map[bool]float64{true: math.NaN(), false: 40 * s}[s > 1 && s < 1.5] },
	} {
		var time, command, x []float64
		for i := range 1000 {
			time, command, x = append(time, float64(i)/hz), append(command, 0), append(x, twelveBit*math.Round(f(float64(i)/hz)/twelveBit))
		}
		if s := FindSpikes(time, x, command, o); s.Count != 0 {
			t.Errorf("%s: %d spikes, the first at %g s", name, s.Count, s.FirstS)
		}
	}
}

func TestStill(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	time, command, angle := swing(250, .05, rng)
	if s := FindStill(time, angle, command); len(s) != 0 {
		t.Fatalf("a sound record stands still: %+v", s)
	}
	x := slices.Clone(angle)
	for i := 3000; i < 4000; i++ { // 12 to 16 s
		x[i] = x[2999]
		if i%20 == 0 {
			x[i] = math.NaN()
		}
	}
	s := FindStill(time, x, command)
	if len(s) != 1 || s[0].From != 2999 || s[0].To < 3999 || s[0].To > 4000 {
		t.Fatalf("%+v, want 2999 to 4000", s)
	}
	// The command goes on from 0 to 60 deg, rests, and comes back to 30.
	ref.Near(t, "travel", s[0].TravelDeg, 60, .5, "as made")
	ref.Near(t, "duration", s[0].DurationS, 4, .01, "as made")
	if s[0].Natural > .5 {
		t.Errorf("noise of half a quantum keeps a value for %g s", s[0].Natural)
	}
	// A joint without noise keeps its value as long as it rests: a stop may do the same.
	time, command, angle = swing(250, 0, rng)
	for i := 3000; i < 3250; i++ {
		angle[i] = angle[2999]
	}
	if s = FindStill(time, angle, command); len(s) != 1 || s[0].Natural < s[0].DurationS/2 {
		t.Errorf("%+v: a blocked joint without noise looks alike", s)
	}
}

func TestRestNoise(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	x := make([]float64, 4000)
	for i := range x {
		s := float64(i) / 250
		x[i] = .7*rng.NormFloat64() + .3*math.Log(1+s) + 2*math.Sin(2*math.Pi*2*s) // creeps and sways
	}
	ref.Near(t, "noise", RestNoise(x, [][2]int{{0, 2000}, {2000, 4000}}), .7, .05, "as made")
	if n := RestNoise(x, [][2]int{{0, 50}}); n != 0 {
		t.Errorf("noise of 50 readings: %g", n)
	}
}

func TestClock(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	make := func(keep, jitter float64) (time []float64) {
		for i := range 5000 {
			if rng.Float64() < keep {
				time = append(time, float64(i)*.004+jitter*rng.NormFloat64())
			}
		}
		slices.Sort(time)
		return time
	}
	c := FindClock(make(1, 0))
	ref.Near(t, "spacing", c.SpacingS, .004, 1e-9, "as made")
	ref.Near(t, "jitter of an even clock", c.JitterS, 0, 1e-9, "as made")
	ref.Near(t, "jitter of an even clock with losses", FindClock(make(.9, 0)).JitterS, 0, 1e-9, "as made")
	ref.Near(t, "jitter", FindClock(make(1, .0004)).JitterS, .0004, .00004, "as made")
	var bursts []float64
	for i := range 1000 {
		bursts = append(bursts, float64(i/4)*.016)
	}
	// Four samples of one time: the median spacing is nothing.
	if c := FindClock(bursts); c.SpacingS != 0 || c.Bursts < .7 {
		t.Errorf("%+v", c)
	}
	if c := FindClock(nil); c != (Clock{}) {
		t.Errorf("%+v", c)
	}
}

// Check 8c: 0.01 of offset in one channel is one wave of 0.57296 deg a turn, unlike gains by 0.01 are
// two waves of 0.28505 deg, a track 0.1 mm off centre at 12.5 mm one wave of 0.45837 deg.
func TestForm(t *testing.T) {
	var angle, load []float64
	for a := -150.0; a <= 150; a += 15 {
		angle, load = append(angle, a), append(load, -.2*math.Sin(a*math.Pi/180))
	}
	read := func(f func(s, c float64) (float64, float64)) (dev []float64) {
		for _, a := range angle {
			s, c := math.Sincos(a * math.Pi / 180)
			s2, c2 := f(s, c)
			dev = append(dev, math.Remainder(math.Atan2(s2, c2)*180/math.Pi-a, 360))
		}
		return dev
	}
	f, ok := FindForm(angle, read(func(s, c float64) (float64, float64) { return s, c + .01 }), nil)
	if !ok {
		t.Fatal("not seen")
	}
	const from = "channels computed, check of the reference on encoder errors"
	ref.Near(t, "offset 0.01", f.First, .57296, 2e-3, from)
	f, _ = FindForm(angle, read(func(s, c float64) (float64, float64) { return 1.01 * s, c }), nil)
	ref.Near(t, "gain 1.01", f.Second, .28505, 2e-3, from)
	f, _ = FindForm(angle, read(func(s, c float64) (float64, float64) { return s + .1/12.5, c }), load)
	ref.Near(t, "off centre by 0.1 mm at 12.5 mm, a quarter turn off the load", f.First, .45837, 3e-3, from)
	// Give under a hanging load is one wave too, and is not taken for a magnet.
	dev := make([]float64, len(load))
	for i, l := range load {
		dev[i] = 8 * l
	}
	if f, _ = FindForm(angle, dev, load); f.First > 1e-9 {
		t.Errorf("give of 8 deg/N·m: a wave of %g deg", f.First)
	}
	// Half a turn shows a slope and no waves.
	f, ok = FindForm(angle[5:16], dev[5:16], nil)
	if !ok || !math.IsNaN(f.First) || f.Slope >= 0 {
		t.Errorf("%+v", f)
	}
	if _, ok = FindForm(angle[8:12], dev[8:12], nil); ok {
		t.Error("a form of 45 deg and four readings")
	}
}

func TestClip(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 6))
	current := func(noise, end float64) (x []float64) {
		for i := range 20000 {
			v := .5 + .5*math.Sin(float64(i)/300) + noise*rng.NormFloat64()
			x = append(x, math.Min(end, math.Round(v*1000)/1000))
		}
		return x
	}
	c, ok := FindClip(current(.01, .82))
	if !ok || c.Level != .82 || c.Runs < 5 {
		t.Errorf("%+v, %v, want clipped at 0.82", c, ok)
	}
	// sin above 0.64 for 0.279 of the time.
	ref.Near(t, "share", c.Share, .279, .02, "acos(0.64)/π")
	for name, x := range map[string][]float64{"whole": current(.01, 9), "without noise": current(0, .82), "no readings": {math.NaN(), math.NaN()}, "none": nil, "constant": make([]float64, 900)} {
		if c, ok := FindClip(x); ok {
			t.Errorf("%s: clipped %+v", name, c)
		}
	}
}
