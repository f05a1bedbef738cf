package analyze_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"limbgauge/analyze/health"
	"limbgauge/rig"
)

// every keeps one sample of n, as a slower logger would have written.
func every(s *rig.Series, n int) *rig.Series {
	out := pick(s, func(i int) bool { return i%n == 0 })
	out.SampleHz = s.SampleHz / float64(n)
	return out
}

// noisy adds white noise of the given deviation.
func noisy(x []float64, sd float64, seed uint64) {
	rng := rand.New(rand.NewPCG(seed, 7))
	for i := range x {
		x[i] += sd * rng.NormFloat64()
	}
}

// worse are ways in which a log can be poorer than it should be, with the findings that each allows
// beside the true ones.
var worse = []struct {
	name    string
	make    func(s *rig.Series) *rig.Series
	allowed []health.Cause
}{
	{"thinned to a half", func(s *rig.Series) *rig.Series { return every(s, 2) }, nil},
	{"50 Hz", func(s *rig.Series) *rig.Series {
		return every(s, max(1, int(math.Round(1/(50*(s.Time[1]-s.Time[0]))))))
	}, nil},
	{"5 % lost", func(s *rig.Series) *rig.Series {
		rng := rand.New(rand.NewPCG(5, 5))
		return pick(s, func(int) bool { return rng.Float64() >= 0.05 })
	}, []health.Cause{health.LostSamples}},
	{"no current", func(s *rig.Series) *rig.Series { s = clone(s); s.Current = nil; return s }, nil},
	{"no marks", func(s *rig.Series) *rig.Series { s = clone(s); s.Move = nil; return s }, nil},
	{"noise", func(s *rig.Series) *rig.Series {
		s = clone(s)
		noisy(s.Angle, 0.3, 1)
		noisy(s.Motor, 0.3, 2)
		noisy(s.Current, 0.1, 3)
		return s
	}, []health.Cause{health.SensorFault}},
}

// A poorer log of the virtual stand gives figures that are right, wider or not seen. All measures of
// a log are counted together: that one measure is always a little off does not show here.
func TestPoorLogsKeepTheirIntervals(t *testing.T) {
	for _, w := range worse {
		t.Run(w.name, func(t *testing.T) {
			var m marks
			for n := range 3 {
				tr := draw(t, n)
				h := run(t, w.make(tr.series), tr.joint)
				for _, want := range truths(t, tr) {
					got, ok := h.Find(want.name, want.path)
					if !ok || want.name == "lost_samples" { // what was taken out here is no part of the trial's truth
						continue
					}
					if want.size {
						got.Value = math.Abs(got.Value)
					}
					m.add(got, want.value)
					if !holds(got, want.value) {
						t.Logf("trial %d: %s (%s) %s %.4g ± %.2g, true %.4g", n, got.Name, got.Path, got.Status, got.Value, got.Uncertainty, want.value)
					}
				}
			}
			if low := atLeast(m.measured); m.covered < low {
				t.Errorf("%d of %d intervals hold the truth, want %d or more", m.covered, m.measured, low)
			}
			if low := atLeast(m.bounds); m.held < low {
				t.Errorf("%d of %d bounds hold, want %d or more", m.held, m.bounds, low)
			}
		})
	}
}

// A poorer log names no cause that is not there; it may name none.
func TestPoorLogsNameNothingFalse(t *testing.T) {
	for _, w := range worse {
		t.Run(w.name, func(t *testing.T) {
			each(t, func(t *testing.T, c caselog) {
				onlyTruth(t, c, run(t, w.make(c.series), c.joint), w.allowed...)
			})
		})
	}
}

// A joint that never moves shows no play, no give and no fault.
func TestJointThatNeverMoves(t *testing.T) {
	tr := draw(t, 0)
	s := clone(tr.series)
	for _, x := range [][]float64{s.Command, s.Angle, s.Motor} {
		for i := range x {
			x[i] = x[0]
		}
	}
	noisy(s.Angle, 0.02, 1)
	noisy(s.Motor, 0.02, 2)
	h := run(t, s, tr.joint)
	for _, m := range h.Measures {
		if slices.Contains([]string{"play", "compliance", "belt_tension"}, m.Name) && m.Status != health.NotObservable {
			t.Errorf("%s (%s) %s %.3g", m.Name, m.Path, m.Status, m.Value)
		}
	}
	t.Logf("findings %v", causes(h))
}
