package analyze_test

import (
	"fmt"
	"math"
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
