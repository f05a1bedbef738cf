package analyze_test

import (
	"math"
	"strings"
	"testing"

	"limbgauge/analyze/health"
	"limbgauge/rig"
)

// wide is a stair over half range deg either side, three times both ways, without load to speak of.
func wide(half float64) (*rig.Series, rig.Joint) {
	_, j := sound()
	j.RangeDeg = [2]float64{-180, 180}
	j.Load = &rig.Load{MassKg: .02, LeverM: .05}
	s := &rig.Series{Joint: j.Name}
	noise := uint32(7)
	jitter := func() float64 {
		noise = noise*1664525 + 1013904223
		return float64(noise>>8)/(1<<24) - 0.5
	}
	now, at := 0.0, -half-4
	add := func(c float64) {
		s.Time, s.Command = append(s.Time, now), append(s.Command, c)
		s.Motor, s.Angle = append(s.Motor, c+.1*jitter()), append(s.Angle, c+.1*jitter())
		now += 0.01
	}
	goTo := func(target float64) {
		for math.Abs(target-at) > .8 {
			at += math.Copysign(.8, target-at)
			add(at)
		}
		at = target
		for range 60 {
			add(at)
		}
	}
	for range 3 {
		for _, dir := range []float64{1, -1} {
			for k := range 15 {
				goTo(dir * half * (float64(k)/7 - 1))
			}
			goTo(dir * (half + 4))
		}
	}
	return s, j
}

// evidence of a sensor fault, "" when there is none.
func sensorText(h health.Joint) string {
	for _, f := range h.Findings {
		if f.Cause == health.SensorFault {
			return strings.Join(f.Evidence, "|")
		}
	}
	return ""
}

// A wrong scale is told from give under load, and a wrong pulley named; what load may explain is not.
func TestWrongScale(t *testing.T) {
	s, j := sound()
	grow := func(col func(o *rig.Series) []float64, k float64) *rig.Series {
		return with(s, func(o *rig.Series) {
			for i := range col(o) {
				col(o)[i] *= k
			}
		})
	}
	joint := func(o *rig.Series) []float64 { return o.Angle }
	for _, c := range []struct {
		name string
		s    *rig.Series
		says string
	}{
		{"joint angle reads 11 % much", grow(joint, 20.0/18), "motor angle and joint angle: differ by +"},
		{"joint angle reads 25 % little", grow(joint, .75), "motor angle and joint angle: differ by -"},
		{"servo turns 10 % too far", with(s, func(o *rig.Series) {
			for i := range o.Angle {
				o.Angle[i] *= 1.1
				o.Motor[i] *= 1.1
			}
		}), "command and motor angle: differ by +"},
		{"joint angle reads 3 % much", grow(joint, 1.03), ""},
		{"joint angle reads 3 % little", grow(joint, .97), ""},
	} {
		h := run(t, c.s, j)
		if text := sensorText(h); (text == "") != (c.says == "") || !strings.Contains(text, c.says) {
			t.Errorf("%s: findings %v, evidence %q, want %q", c.name, causes(h), text, c.says)
		}
		if c.says != "" && len(h.Findings) > 1 {
			t.Errorf("%s: findings %v", c.name, causes(h))
		}
		if m, _ := h.Find("compliance", health.Transmission); m.Status == health.Measured && math.Abs(m.Value-2) > math.Max(.5, m.Uncertainty) && c.says != "" {
			t.Errorf("%s: compliance %g ± %g, true 2", c.name, m.Value, m.Uncertainty)
		}
	}
	// Without load the slope is the pulley's: 18 teeth where 20 are stated.
	s, j = wide(60)
	h := run(t, grow(joint, 20.0/18), j)
	if text := sensorText(h); !strings.Contains(text, "a joint pulley of 18 teeth in place of 20") {
		t.Errorf("findings %v, evidence %q", causes(h), text)
	}
}

// Over most of a turn a magnet off its centre shows; over less there is only a hint.
func TestMagnetOffCentre(t *testing.T) {
	wave := func(half, amp, waves float64) health.Joint {
		s, j := wide(half)
		return run(t, with(s, func(o *rig.Series) {
			for i, a := range o.Angle {
				o.Angle[i] += amp * math.Sin(waves*a*math.Pi/180+1)
			}
		}), j)
	}
	for _, c := range []struct {
		half, amp, waves float64
		says             string
	}{
		{150, 1.5, 1, "once a turn"}, {150, 1.5, 2, "twice a turn"}, {150, 0.3, 1, ""}, {150, 0, 1, ""}, {60, 1.5, 2, ""},
	} {
		h := wave(c.half, c.amp, c.waves)
		if text := sensorText(h); (text == "") != (c.says == "") || !strings.Contains(text, c.says) {
			t.Errorf("%+v: findings %v, evidence %q", c, causes(h), text)
		}
		if hint := strings.Contains(strings.Join(h.Notes, "|"), "can not be told from a wrong scale"); hint != (c.half == 60) {
			t.Errorf("%+v: notes %q", c, h.Notes)
		}
	}
}
