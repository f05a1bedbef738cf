package analyze_test

import (
	"math"
	"testing"

	"limbgauge/analyze/health"
	"limbgauge/rig"
)

// quiet is a run without noise: five cycles of a stair under a hanging load and slow ramps, a belt
// whose span goes slack at 0.13 N·m, angles in steps of q deg (0: none).
func quiet(q float64) (*rig.Series, rig.Joint) {
	_, j := sound()
	j.Sensors = rig.Sensors{JointCounts: 1 << 20, MotorCounts: 1 << 20}
	round := func(x float64) float64 { return x }
	if q > 0 {
		n := int(math.Round(360 / q))
		j.Sensors = rig.Sensors{JointCounts: n, MotorCounts: n}
		round = func(x float64) float64 { return q * math.Round(x/q) }
	}
	s := &rig.Series{Joint: "knee"}
	now, at := 0.0, -60.0
	goTo := func(target, rate, dwell float64) {
		for n := int(math.Abs(target-at)/rate/0.004) + int(dwell/0.004); n > 0; n-- {
			if d := target - at; math.Abs(d) > rate*0.004 {
				at += math.Copysign(rate*0.004, d)
			} else {
				at = target
			}
			load := -0.25 * 9.80665 * 0.11 * math.Sin(at*math.Pi/180)
			motor := at + 0.5*load
			slack := math.Copysign(2*math.Max(0, math.Abs(load)-0.13), load)
			s.Time, s.Command = append(s.Time, now), append(s.Command, at)
			s.Motor, s.Angle = append(s.Motor, round(motor)), append(s.Angle, round(motor+2*load+slack))
			now += 0.004
		}
		at = target
	}
	for range 5 {
		for _, dir := range []float64{1, -1} {
			for k := range 9 {
				goTo(dir*(-52+13*float64(k)), 60, 0.6)
			}
			goTo(dir*60, 60, 0.4)
		}
	}
	for range 3 {
		goTo(60, 15, 0.3)
		goTo(-60, 15, 0.3)
	}
	return s, j
}

// However quiet a run is, no figure is surer than what it rests on: a torque than the load (mass and
// lever to 1 % each at best, 2 % expanded), a range of deviations over many angles than the form of a
// magnetic sensor set up by hand (0.1 deg at best) [common practice], a difference of stops than the
// steps of its two sensors where nothing dithers them (1.96·√2·q/√6, JCGM 100:2008, F.2.2.1).
func TestFiguresAreNoSurerThanTheirFoundations(t *testing.T) {
	s, j := quiet(0)
	h := run(t, s, j)
	floor := func(h health.Joint, name string, p health.Path, least float64) {
		t.Helper()
		m, ok := find(t, h, name, p)
		if !ok || m.Status != health.Measured {
			t.Errorf("%s (%s) was not measured: %+v", name, p, m)
		} else if !(m.Uncertainty >= least) || m.Uncertainty > 8*least {
			t.Errorf("%s (%s) = %g ± %g, known to %g at best", name, p, m.Value, m.Uncertainty, least)
		}
	}
	r := j.Belt.JointRadiusM()
	inside(t, h, "span_slack_torque", health.Transmission, 0.13)
	floor(h, "span_slack_torque", health.Transmission, 0.02*0.13)
	floor(h, "belt_tension", health.Transmission, 0.02*0.13/(2*r))
	floor(h, "load_torque_peak", health.NoPath, 0.02*0.2335)
	for _, p := range []health.Path{health.Total, health.Servo, health.Transmission} {
		floor(h, "systematic_deviation", p, 0.1)
		floor(h, "accuracy", p, 0.1)
	}
	const q = 360.0 / 4096
	s, j = quiet(q)
	h = run(t, s, j)
	floor(h, "reversal_error", health.Total, 1.95*math.Sqrt2*q/math.Sqrt(12))
	floor(h, "reversal_error", health.Servo, 1.95*math.Sqrt2*q/math.Sqrt(12))
	floor(h, "reversal_error", health.Transmission, 1.95*math.Sqrt2*q/math.Sqrt(6))
}
