package analyze_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"limbgauge/analyze/health"
)

// A run that ends soon after a belt jumped has no rest twice: whole teeth show all the same, with size, and
// a run without them, with a slip of another size or with a soft joint names no tooth.
func TestJumpInAShortRun(t *testing.T) {
	s, j := sound()
	for _, end := range []float64{5, 7, 8} {
		for _, size := range []float64{-36, -18, 0, 3, 9, 12, 18, 36} {
			at := end / 2
			h := run(t, pick(slipped(s, at, size), func(i int) bool { return s.Time[i] < end }), j)
			name := fmt.Sprintf("%g deg at %.1f s of %g s", size, at, end)
			m, _ := h.Find("offset_step", health.Transmission)
			found := slices.ContainsFunc(h.Findings, func(f health.Finding) bool { return f.Cause == health.ToothSkip })
			if teeth := math.Abs(size) / 18; teeth == 0 || teeth != math.Trunc(teeth) {
				if found || m.Status == health.Measured {
					t.Errorf("%s: %v, step %.2f ± %.2f", name, causes(h), m.Value, m.Uncertainty)
				}
				continue
			}
			if !found || math.Abs(m.Value-size) > m.Uncertainty || m.Uncertainty > 3 {
				t.Errorf("%s: %v, step %s %.2f ± %.2f", name, causes(h), m.Status, m.Value, m.Uncertainty)
			}
			if m, _ := h.Find("offset_step_time", health.Transmission); math.Abs(m.Value-at) > m.Uncertainty {
				t.Errorf("%s: at %.2f ± %.2f s", name, m.Value, m.Uncertainty)
			}
		}
	}
}

// A small tooth is no wider than a dead zone may be, which steps once where the load turns over: it is not named.
func TestJumpNoWiderThanADeadZone(t *testing.T) {
	s, j := sound()
	belt := *j.Belt
	belt.Teeth = 60 // 6 deg a tooth
	j.Belt = &belt
	for _, size := range []float64{6, -6, 12} {
		h := run(t, pick(slipped(s, 3.5, size), func(i int) bool { return s.Time[i] < 7 }), j)
		found := slices.ContainsFunc(h.Findings, func(f health.Finding) bool { return f.Cause == health.ToothSkip })
		if found != (size == 12) {
			t.Errorf("%g deg: %v", size, causes(h))
		}
	}
}
