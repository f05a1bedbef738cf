package analyze_test

import (
	"math"
	"testing"

	"limbgauge/analyze/health"
	"limbgauge/rig"
)

// moving is a run without noise that raises and lowers a hanging load at two speeds and then steps:
// dry friction 0.03 N·m, viscous 0.08 N·m·s/rad, current by the rated line; the steps ring.
func moving(slow, fast float64, steps int) (*rig.Series, rig.Joint) {
	_, j := sound()
	j.Sensors = rig.Sensors{JointCounts: 1 << 20, MotorCounts: 1 << 20}
	j.Servo.CurrentLaw = "motor"
	s := &rig.Series{Joint: "knee"}
	now, at := 0.0, -60.0
	add := func(command, angle, speed float64) {
		load := -0.25 * 9.80665 * 0.11 * math.Sin(angle*math.Pi/180)
		drive := -load
		if speed != 0 {
			drive += math.Copysign(0.03, speed) + 0.08*speed*math.Pi/180
		}
		s.Time, s.Command = append(s.Time, now), append(s.Command, command)
		s.Motor, s.Angle = append(s.Motor, angle), append(s.Angle, angle)
		s.Current, s.Supply = append(s.Current, 0.12+(2.4-0.12)/1.4*math.Abs(drive)), append(s.Supply, 6)
		now += 0.004
	}
	goTo := func(to, rate float64) {
		v := math.Copysign(rate, to-at)
		for n := int(math.Abs(to-at) / rate / 0.004); n > 0; n-- {
			at += v * 0.004
			add(at, at, v)
		}
		at = to
		for range 100 {
			add(at, at, 0)
		}
	}
	for range 4 {
		for _, rate := range []float64{slow, fast} {
			goTo(60, rate)
			goTo(-60, rate)
		}
	}
	goTo(0, fast)
	for k := range steps {
		to := 20 * float64(1-k%2)
		for i := range 300 {
			x := 1.0
			if t := float64(i)*0.004 - 0.02; t <= 0 {
				x = 0
			} else {
				x -= math.Exp(-15*t) * math.Cos(40*t)
			}
			add(to, at+(to-at)*x, 0)
		}
		at = to
	}
	return s, j
}

// Friction at either speed rests on the same scale of the current, so their difference over the
// speeds is no surer than √2 of friction's own doubt over the same; the time from a command to the
// joint's answer lies between samples at both ends, √2·dt/√12 a step.
func TestDifferencesAreNoSurerThanTheirEnds(t *testing.T) {
	const slow, fast, steps = 15.0, 60.0, 4
	s, j := moving(slow, fast, steps)
	h := run(t, s, j)
	get := func(name string, p health.Path) health.Measure {
		m, ok := find(t, h, name, p)
		if !ok || m.Status != health.Measured {
			t.Fatalf("%s (%s) was not measured: %+v", name, p, m)
		}
		return m
	}
	friction, viscous := get("friction", health.Total), get("viscous_friction", health.Total)
	inside(t, h, "viscous_friction", health.Total, 0.08)
	least := math.Sqrt2 * friction.Uncertainty / ((fast - slow) * math.Pi / 180)
	if !(viscous.Uncertainty >= 0.99*least) {
		t.Errorf("viscous friction %g ± %g, known to %g at best", viscous.Value, viscous.Uncertainty, least)
	}
	dead := get("dead_time", health.NoPath)
	if least := 1.95 * math.Sqrt2 * 0.004 / math.Sqrt(12*steps); !(dead.Uncertainty >= least) || math.Abs(dead.Value-0.022) > 0.01 {
		t.Errorf("dead time %g ± %g, want 0.022 (20 ms and 2 %% of the way), known to %g at best", dead.Value, dead.Uncertainty, least)
	}
}
