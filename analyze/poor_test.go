package analyze_test

import (
	"math"
	"math/rand/v2"
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

// poorLogs are ways in which a log can be poorer than it should be, with the findings that each allows
// beside the true ones.
var poorLogs = []struct {
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

// A poorer log names no cause that is not there; it may name none.
func TestPoorLogsNameNothingFalse(t *testing.T) {
	for _, w := range poorLogs {
		t.Run(w.name, func(t *testing.T) {
			each(t, func(t *testing.T, c caselog) {
				onlyTruth(t, c, run(t, w.make(c.series), c.joint), w.allowed...)
			})
		})
	}
}
