package friction

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"limbgauge/analyze/internal/ref"
	"limbgauge/analyze/stats"
)

// ramps makes cycles of slow passes from -60 to 60 deg and back over a hanging load of 0.27 N·m
// with friction 0.05 N·m, plus extra friction by angle and direction. ripple is a torque error that
// differs from pass to pass but is smooth along it, as real friction is; noise is per sample.
func ramps(cycles int, ripple, noise float64, rng *rand.Rand, extra func(angle float64, dir int) float64) []Pass {
	var out []Pass
	for c := range cycles {
		for _, dir := range []int{1, -1} {
			p := Pass{Dir: dir, Cycle: c}
			ph, at := 2*math.Pi*rng.Float64(), 3+6*rng.Float64()
			for i := range 1200 {
				a := -60 + .1*float64(i)
				f := .05 + ripple*math.Sin(ph+a/at) + extra(a, dir)
				p.Angle = append(p.Angle, a)
				p.Torque = append(p.Torque, .27*math.Sin(a*math.Pi/180)+float64(dir)*f+noise*rng.NormFloat64())
			}
			out = append(out, p)
		}
	}
	return out
}

func bump(at, height, width float64) func(float64, int) float64 {
	return func(a float64, _ int) float64 { return height * math.Exp(-math.Pow((a-at)/width, 2)) }
}

func level(float64, int) float64 { return 0 }

func profile(t *testing.T, passes []Pass) Profile {
	t.Helper()
	p, err := NewProfile(passes, 3)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestProfileSplitsFrictionFromLoad(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	p := profile(t, ramps(5, 0, 0, rng, level))
	if len(p.Bins) != 40 || p.Cycles != 5 {
		t.Fatalf("%d bins, %d cycles", len(p.Bins), p.Cycles)
	}
	for _, b := range p.Bins {
		ref.Near(t, "friction", b.Friction.Value, .05, 1e-9, "as made")
		ref.Near(t, "load", b.Load.Value, .27*math.Sin((b.Angle-.05)*math.Pi/180), 2e-4, "as made, at the mean of 30 angles 0.1 deg apart")
	}
	ref.Near(t, "level", p.Level.Value, .05, 1e-9, "as made")
}

func TestTightSpot(t *testing.T) {
	for seed := range uint64(5) {
		rng := rand.New(rand.NewPCG(seed, 2))
		p := profile(t, ramps(5, .002, .01, rng, bump(-22, .08, 6)))
		spots, why := TightSpots(p, DefaultTightRule())
		if why != "" || len(spots) != 1 {
			t.Fatalf("seed %d: %+v, %q", seed, spots, why)
		}
		s := spots[0]
		ref.Near(t, "place", s.Angle.Value, -22, s.Angle.Expanded(), "as made, within its own interval")
		if s.Angle.Expanded() > 3 {
			t.Errorf("place known to %.1f deg only", s.Angle.Expanded())
		}
		ref.Near(t, "height", s.Height.Value, .08, math.Max(s.Height.Expanded(), .006), "as made")
		ref.Near(t, "width", s.Width.Value, 2*6*math.Sqrt(math.Ln2), s.Width.Expanded(), "full width at half height of the bump")
	}
}

func TestNoTightSpot(t *testing.T) {
	oneWay := func(a float64, dir int) float64 {
		if dir < 0 {
			return 0
		}
		return bump(20, .08, 6)(a, dir)
	}
	found := 0
	for seed := range uint64(40) {
		rng := rand.New(rand.NewPCG(seed, 3))
		spots, _ := TightSpots(profile(t, ramps(5, .002, .01, rng, level)), DefaultTightRule())
		found += len(spots)
	}
	if found > 1 {
		t.Errorf("%d tight spots in 40 joints without one", found)
	}
	rng := rand.New(rand.NewPCG(9, 9))
	if spots, _ := TightSpots(profile(t, ramps(5, .002, .01, rng, oneWay)), DefaultTightRule()); len(spots) != 0 {
		t.Errorf("%+v: a torque that only one direction feels is not friction", spots)
	}
	// Twice in five cycles is not always.
	passes := ramps(5, .002, .01, rng, level)
	sometimes := ramps(2, .002, .01, rng, bump(0, .08, 6))
	if spots, _ := TightSpots(profile(t, append(sometimes, passes[4:]...)), DefaultTightRule()); len(spots) != 0 {
		t.Errorf("%+v: a bump in two cycles of five", spots)
	}
}

func TestTwoTightSpots(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	both := func(a float64, d int) float64 { return bump(-30, .06, 5)(a, d) + bump(25, .1, 5)(a, d) }
	spots, _ := TightSpots(profile(t, ramps(5, .001, .005, rng, both)), DefaultTightRule())
	if len(spots) != 2 || spots[0].Angle.Value < 0 {
		t.Fatalf("%+v, want two, the higher one at 25 deg first", spots)
	}
}

func TestProfileUnseen(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 6))
	passes := ramps(3, 0, 0, rng, level)
	var up []Pass
	for _, p := range passes {
		if p.Dir > 0 {
			up = append(up, p)
		}
	}
	if _, err := NewProfile(up, 3); !errors.Is(err, stats.ErrTooFew) {
		t.Errorf("one direction: %v", err)
	}
	if _, why := TightSpots(profile(t, passes[:2]), DefaultTightRule()); why == "" {
		t.Error("one cycle cannot show that a spot comes back")
	}
	// A stretch one direction never visits is unseen, not frictionless.
	passes[1].Angle, passes[1].Torque = passes[1].Angle[600:], passes[1].Torque[600:]
	p := profile(t, passes[:2])
	if b := p.Bins[2]; b.Friction.Seen() {
		t.Errorf("friction %.3g at %.0f deg, where only one direction went", b.Friction.Value, b.Angle)
	}
}

func TestThreshold(t *testing.T) {
	// -1, 0, 1 over and over: around every bin the median is 0, and MAD is 1, so the threshold is
	// 4·1.4826 = 5.9304. The second half lies a hundred higher, which hides nothing.
	for _, up := range []float64{0, 100} {
		f := make([]float64, 66)
		for i := range f {
			f[i] = float64(i%3 - 1)
			if i >= 33 {
				f[i] += up
			}
		}
		f[10], f[20], f[48] = 5.92, 5.94, 5.94+up
		for i, got := range above(f, make([]float64, len(f)), DefaultTightRule()) {
			if i > 26 && i < 39 { // about the jump itself
				continue
			}
			if want := i == 20 || i == 48; got != want {
				t.Errorf("second half %g higher: %g in bin %d is above the threshold: %v", up, f[i], i, got)
			}
		}
	}
}
