package analyze_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"limbgauge/analyze/health"
	"limbgauge/rig"
)

// worse spoils the log of a trial, not the joint in it.
type worse struct {
	name    string
	make    func(t testing.TB, tr trial) *rig.Series
	allowed []health.Cause // what the log itself is to blame for
}

func worseLogs() []worse {
	noisier := func(t testing.TB, tr trial, times float64) *rig.Series {
		x := tr.truth
		x.Sensors.Joint.NoiseDeg *= times
		x.Sensors.Motor.NoiseDeg *= times
		x.Sensors.CurrentNoiseA *= times
		x.Sensors.SupplyNoiseV *= times
		return playback(t, tr.joint, x, 250)
	}
	return []worse{
		{"as it is", func(t testing.TB, tr trial) *rig.Series { return tr.series }, nil},
		{"every third sample", func(t testing.TB, tr trial) *rig.Series {
			return pick(tr.series, func(i int) bool { return i%3 == 0 })
		}, nil},
		{"50 Hz", func(t testing.TB, tr trial) *rig.Series { return playback(t, tr.joint, tr.truth, 50) }, nil},
		{"2 kHz", func(t testing.TB, tr trial) *rig.Series { return playback(t, tr.joint, tr.truth, 2000) }, nil},
		{"one in twenty lost", func(t testing.TB, tr trial) *rig.Series {
			rng := rand.New(rand.NewPCG(7, tr.truth.Seed))
			return pick(tr.series, func(int) bool { return rng.Float64() >= 0.05 })
		}, []health.Cause{health.LostSamples}},
		{"no current", func(t testing.TB, tr trial) *rig.Series {
			return with(tr.series, func(o *rig.Series) { o.Current = nil })
		}, nil},
		{"no marks", func(t testing.TB, tr trial) *rig.Series {
			return with(tr.series, func(o *rig.Series) { o.Move, o.Segment = nil, nil })
		}, nil},
		{"ten times the noise", func(t testing.TB, tr trial) *rig.Series { return noisier(t, tr, 10) }, []health.Cause{health.SensorFault}},
	}
}

// Whatever a log lacks, its figures are right, or wider, or not there; and no fault is made up.
func TestWorseLogs(t *testing.T) {
	trials := 12
	if testing.Short() {
		trials = 4
	}
	holdsOf, figuresOf := map[string]int{}, map[string]int{}
	for i := range trials {
		tr := draw(t, i)
		tr.joint.Limits = rig.Limits{"play": 0.5, "compliance": 4.5, "belt_tension": 15, "friction": 0.06, "creep": 0.5, "supply_sag": 0.6, "torque_use": 0.9}
		for _, w := range worseLogs() {
			s := w.make(t, tr)
			h := run(t, s, tr.joint)
			for _, k := range truths(t, tr) {
				m, ok := h.Find(k.name, k.path)
				if !ok || m.Status == health.NotObservable || k.name == "lost_samples" {
					continue
				}
				m = k.compared(m)
				figuresOf[w.name]++
				if holds(m, k.value) {
					holdsOf[w.name]++
				} else if testing.Verbose() {
					t.Logf("trial %d, %s: %s (%s) %s %.4g ± %.2g, true %.4g", i, w.name, m.Name, m.Path, m.Status, m.Value, m.Uncertainty, k.value)
				}
			}
			for _, f := range h.Findings {
				also := slices.Contains(f.CouldAlsoBe, string(tr.cause))
				if f.Cause != health.None && f.Cause != tr.cause && !also && !slices.Contains(w.allowed, f.Cause) {
					t.Errorf("trial %d, %s: %s named at %.2f where %s was put in; evidence %q", i, w.name, f.Cause, f.Confidence, tr.cause, f.Evidence)
				}
			}
		}
	}
	var out strings.Builder
	for _, w := range worseLogs() {
		n, k := figuresOf[w.name], holdsOf[w.name]
		fmt.Fprintf(&out, "%-22s %d of %d figures hold\n", w.name, k, n)
		// Figures of one run are not independent: a quarter of them is taken to be.
		if low := 4 * atLeast(n/4); k < low {
			t.Errorf("%s: %d of %d figures hold the truth, want %d or more", w.name, k, n, low)
		}
	}
	t.Log(out.String())
}

// A joint that never moves says nothing of itself, and nothing false.
func TestJointThatNeverMoves(t *testing.T) {
	tr := draw(t, 1)
	first := tr.series.Command[0]
	still := with(tr.series, func(o *rig.Series) {
		rng := rand.New(rand.NewPCG(3, 3))
		q := 360.0 / 4096
		for i := range o.Angle {
			o.Command[i] = first
			o.Angle[i] = q * math.Round((first+0.03*rng.NormFloat64())/q)
			if o.Motor != nil {
				o.Motor[i] = q * math.Round((first*tr.joint.Ratio()+0.03*rng.NormFloat64())/q)
			}
			o.Current[i] = tr.joint.Servo.IdleA
		}
	})
	for _, marks := range []bool{true, false} {
		if !marks {
			still.Move, still.Segment = nil, nil
		}
		h := run(t, still, tr.joint)
		if len(h.Findings) != 1 || h.Findings[0].Cause != health.None {
			t.Errorf("marks %v: findings %v, evidence %q", marks, causes(h), h.Findings[0].Evidence)
		}
		for _, name := range []string{"play", "compliance", "reversal_error", "belt_tension", "friction", "tight_spot", "rise_time", "offset_step"} {
			for _, m := range h.Measures {
				if m.Name == name && m.Status == health.Measured {
					t.Errorf("marks %v: %s (%s) measured %.4g ± %.2g of a joint that stood still", marks, m.Name, m.Path, m.Value, m.Uncertainty)
				}
			}
		}
	}
}
