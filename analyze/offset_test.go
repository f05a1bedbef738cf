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

// slipped is a run whose joint stands size deg off its motor side from a time on, and so under another
// load.
func slipped(s *rig.Series, at, size float64) *rig.Series {
	return with(s, func(o *rig.Series) {
		load := func(a float64) float64 { return -0.25 * 9.80665 * 0.11 * math.Sin(a*math.Pi/180) }
		for i := range o.Angle {
			if o.Time[i] >= at {
				// The compliance of sound() is 2 deg/N·m; one correction is enough for its digits.
				o.Angle[i] += size + 2*(load(o.Angle[i]+size)-load(o.Angle[i]))
			}
		}
	})
}

// A slip in the joint shows with size, time and path wherever in the run it falls: in the stair, on a
// pass, in the rest between the stair and the first pass, within a reading.
func TestSlipAnywhere(t *testing.T) {
	s, j := sound()
	end := s.Time[len(s.Time)-1]
	for at := 6.0; at < end-6; at += 2.71 {
		for _, size := range []float64{-3.1, 18, -36} {
			h := run(t, slipped(s, at, size), j)
			name := fmt.Sprintf("%g deg at %.2f s", size, at)
			m, _ := h.Find("offset_step", health.Transmission)
			if m.Status != health.Measured || math.Abs(m.Value-size) > math.Max(0.02*math.Abs(size), .1) || math.Abs(m.Value-size) > m.Uncertainty {
				t.Errorf("%s: step %s %.3f ± %.3f", name, m.Status, m.Value, m.Uncertainty)
				continue
			}
			if m, _ := h.Find("offset_step_time", health.Transmission); math.Abs(m.Value-at) > m.Uncertainty || m.Uncertainty > .06 {
				t.Errorf("%s: at %.3f ± %.3f s", name, m.Value, m.Uncertainty)
			}
			if m, _ := h.Find("offset_step", health.Servo); m.Status != health.BoundHigh {
				t.Errorf("%s: the servo's offset steps too: %s %g", name, m.Status, m.Value)
			}
			want := health.ToothSkip // 18 deg a tooth, whether one skipped or two at once
			if size == -3.1 {
				want = health.HornSlip
			}
			if h.Findings[0].Cause != want || len(h.Findings) != 1 {
				t.Errorf("%s: findings %v", name, causes(h))
			}
			inside(t, h, "compliance", health.Transmission, 2)
		}
	}
}

// Two teeth one after the other, with no rest between them to tell, are two teeth.
func TestTwoTeethBetweenTwoRests(t *testing.T) {
	s, j := sound()
	h := run(t, slipped(slipped(s, 20.05, -18), 20.35, -18), j)
	m, _ := h.Find("offset_step", health.Transmission)
	if h.Findings[0].Cause != health.ToothSkip || math.Abs(m.Value+36) > m.Uncertainty {
		t.Errorf("findings %v, step %.3f ± %.3f", causes(h), m.Value, m.Uncertainty)
	}
	// Half a minute apart they are two steps.
	h = run(t, slipped(slipped(s, 12, -18), 40, -18), j)
	m, _ = h.Find("offset_step", health.Transmission)
	if h.Findings[0].Cause != health.ToothSkip || math.Abs(m.Value+18) > m.Uncertainty {
		t.Errorf("findings %v, step %.3f ± %.3f", causes(h), m.Value, m.Uncertainty)
	}
}

// held is sound() followed by a rest at 0, a hold near the end of the range with growth and set, and
// the same rest again, reached from the side given.
func held(grow, set float64, sameSide bool) (*rig.Series, rig.Joint) {
	s, j := sound()
	rng := rand.New(rand.NewPCG(8, 8))
	at, now := s.Command[len(s.Command)-1], s.Time[len(s.Time)-1]
	extra := 0.0
	goTo := func(target, rate, dwell float64, creep func(t float64) float64) {
		dir := math.Copysign(1, target-at)
		for k := 0; at != target || float64(k)*.004 < dwell; k++ {
			if at != target {
				at += dir * math.Min(rate*.004, math.Abs(target-at))
				k = 0
			}
			now += .004
			load := -0.25 * 9.80665 * 0.11 * math.Sin(at*math.Pi/180)
			w := extra
			if creep != nil {
				w += creep(float64(k) * .004)
			}
			noise := func() float64 { return .05 * (rng.Float64() - .5) }
			s.Time, s.Command = append(s.Time, now), append(s.Command, at)
			s.Motor, s.Angle = append(s.Motor, at+load+noise()), append(s.Angle, at+3*load+w+noise()+.1*dir)
			s.Current, s.Supply = append(s.Current, .12+1.6*math.Abs(load)), append(s.Supply, 6)
		}
	}
	goTo(-12, 40, 1, nil)
	goTo(0, 20, 1, nil)
	goTo(66, 40, 20, func(t float64) float64 { return -grow * math.Log10(1+t/.01) })
	extra = -set
	if sameSide {
		goTo(-12, 40, 1, nil)
	}
	goTo(0, 20, 1, nil)
	return s, j
}

// What stays after the load is the set; what grew under it and came back is not.
func TestPermanentSet(t *testing.T) {
	for _, set := range []float64{0, .15, -.4, 1} {
		s, j := held(.1, set, true)
		h := run(t, s, j)
		m, _ := h.Find("permanent_set", health.Transmission)
		if m.Status != health.Measured || math.Abs(m.Value+set) > m.Uncertainty || m.Uncertainty > .15 {
			t.Errorf("set of %g: %s %.3f ± %.3f %s", -set, m.Status, m.Value, m.Uncertainty, m.Reason)
		}
		if m, _ := h.Find("permanent_set", health.Servo); math.Abs(m.Value) > m.Uncertainty {
			t.Errorf("the servo has a set of %.3f ± %.3f", m.Value, m.Uncertainty)
		}
		// From the other side the joint stands 0.2 deg off, which is no set: wide, and so said.
		s, j = held(.1, set, false)
		m, _ = run(t, s, j).Find("permanent_set", health.Transmission)
		if m.Status == health.Measured && (math.Abs(m.Value+set) > m.Uncertainty+.2 || !strings.Contains(m.Reason, "unlike sides")) {
			t.Errorf("set of %g from unlike sides: %s %.3f ± %.3f %s", -set, m.Status, m.Value, m.Uncertainty, m.Reason)
		}
	}
	s, j := sound()
	if m, _ := run(t, s, j).Find("permanent_set", health.Total); m.Status != health.NotObservable {
		t.Errorf("a set without a hold: %+v", m)
	}
}

// What gives evenly in the hold and stays is a slow slip; what gives fast, then slowly, is creep.
func TestSlowSlipAndCreep(t *testing.T) {
	s, j := held(0, 0, true)
	slow := with(s, func(o *rig.Series) {
		from := math.NaN()
		for i, c := range o.Command {
			if c == 66 && math.IsNaN(from) {
				from = o.Time[i]
			}
			if !math.IsNaN(from) {
				o.Angle[i] -= 1.2 * math.Min(1, (o.Time[i]-from)/20)
			}
		}
	})
	h := run(t, slow, j)
	if f := h.Findings[0]; f.Cause != health.HornSlip || !slices.Contains(f.CouldAlsoBe, string(health.Creep)) || len(h.Findings) != 1 {
		t.Errorf("slow slip: findings %v, evidence %q", causes(h), f.Evidence)
	}
	if m, _ := h.Find("permanent_set", health.Transmission); m.Status != health.Measured || math.Abs(m.Value+1.2) > m.Uncertainty {
		t.Errorf("slow slip of 1.2 deg stays: %s %.3f ± %.3f", m.Status, m.Value, m.Uncertainty)
	}
	s, j = held(.7, 0, true)
	h = run(t, s, j)
	if f := h.Findings[0]; f.Cause != health.Creep || !slices.Contains(f.CouldAlsoBe, string(health.HornSlip)) || len(h.Findings) != 1 {
		t.Errorf("creep: findings %v, evidence %q", causes(h), f.Evidence)
	}
}

// A slip shows with its size at other rates, with samples lost, with readings missing and with noise.
func TestSlipInPoorLogs(t *testing.T) {
	s, j := sound()
	rng := rand.New(rand.NewPCG(6, 6))
	for _, size := range []float64{-3.1, 18} {
		slip := slipped(s, 30.3, size)
		for name, poor := range map[string]*rig.Series{
			"50 samples a second": pick(slip, func(i int) bool { return i%5 == 0 }),
			"one in twenty lost":  pick(slip, func(int) bool { return rng.Float64() > .05 }),
			"thinned at random":   pick(slip, func(int) bool { return rng.Float64() > .5 }),
			"one in ten not read": with(slip, func(o *rig.Series) {
				for i := range o.Angle {
					if rng.IntN(10) == 0 {
						o.Angle[i] = math.NaN()
					}
				}
			}),
			"noise of 0.3 deg": with(slip, func(o *rig.Series) {
				for i := range o.Angle {
					o.Angle[i] += .3 * rng.NormFloat64()
				}
			}),
			"2000 samples a second": repeated(slip, 8),
		} {
			h := run(t, poor, j)
			m, _ := h.Find("offset_step", health.Transmission)
			if m.Status != health.Measured || math.Abs(m.Value-size) > m.Uncertainty || m.Uncertainty > .4 {
				t.Errorf("%s: %g deg: step %s %.3f ± %.3f", name, size, m.Status, m.Value, m.Uncertainty)
			}
			if m, _ := h.Find("offset_step_time", health.Transmission); !(math.Abs(m.Value-30.3) <= m.Uncertainty) {
				t.Errorf("%s: %g deg at 30.3 s: at %.3f ± %.3f s", name, size, m.Value, m.Uncertainty)
			}
		}
	}
}

// repeated is a log of k times the rate, each reading k times with a little noise, the command on its
// way between.
func repeated(s *rig.Series, k int) *rig.Series {
	rng := rand.New(rand.NewPCG(7, 7))
	o := &rig.Series{Joint: s.Joint}
	for i := 0; i+1 < s.Len(); i++ {
		for n := range k {
			w := float64(n) / float64(k)
			between := func(col []float64) float64 { return col[i] + w*(col[i+1]-col[i]) }
			o.Time, o.Command = append(o.Time, between(s.Time)), append(o.Command, between(s.Command))
			o.Angle, o.Motor = append(o.Angle, s.Angle[i]+.03*rng.NormFloat64()), append(o.Motor, s.Motor[i]+.03*rng.NormFloat64())
			o.Current, o.Supply = append(o.Current, s.Current[i]), append(o.Supply, s.Supply[i])
		}
	}
	return o
}

// A slip in the middle of a hold is a slip, not creep.
func TestSlipInTheHold(t *testing.T) {
	for _, size := range []float64{-2, -5, 1.2} {
		s, j := held(.05, 0, true)
		from := 0.0
		for i, c := range s.Command {
			if c == 66 {
				from = s.Time[i]
				break
			}
		}
		at := from + 8.3
		h := run(t, slipped(s, at, size), j)
		m, _ := h.Find("offset_step", health.Transmission)
		if m.Status != health.Measured || math.Abs(m.Value-size) > m.Uncertainty || m.Uncertainty > .3 {
			t.Errorf("%g deg: step %s %.3f ± %.3f", size, m.Status, m.Value, m.Uncertainty)
		}
		if m, _ := h.Find("offset_step_time", health.Transmission); !(math.Abs(m.Value-at) <= m.Uncertainty) {
			t.Errorf("%g deg at %.3f s: at %.3f ± %.3f s", size, at, m.Value, m.Uncertainty)
		}
		if h.Findings[0].Cause != health.HornSlip || len(h.Findings) != 1 {
			t.Errorf("%g deg: findings %v", size, causes(h))
		}
		if m, _ := h.Find("creep", health.Transmission); m.Status == health.Measured && math.Abs(m.Value) > .3 {
			t.Errorf("%g deg: creep %.3f ± %.3f", size, m.Value, m.Uncertainty)
		}
	}
}
