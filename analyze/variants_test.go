package analyze_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"limbgauge/analyze/health"
	"limbgauge/rig"
)

// pick returns the samples of a series for which keep is true, without touching the series.
func pick(s *rig.Series, keep func(i int) bool) *rig.Series {
	out := &rig.Series{Joint: s.Joint, SampleHz: s.SampleHz}
	mask := make([]bool, s.Len())
	for i := range mask {
		mask[i] = keep(i)
	}
	col := func(from []float64) (to []float64) {
		for i, v := range from {
			if mask[i] {
				to = append(to, v)
			}
		}
		return to
	}
	out.Time, out.Command, out.Angle, out.Motor = col(s.Time), col(s.Command), col(s.Angle), col(s.Motor)
	out.Current, out.Supply, out.Torque, out.Temp = col(s.Current), col(s.Supply), col(s.Torque), col(s.Temp)
	for i, m := range s.Move {
		if mask[i] {
			out.Move = append(out.Move, m)
		}
	}
	return out
}

func clone(s *rig.Series) *rig.Series { return pick(s, func(int) bool { return true }) }

func negate(x []float64) {
	for i := range x {
		x[i] = -x[i]
	}
}

// found reports whether the true cause is named, or stands in could_also_be of what is named.
func found(c caselog, h health.Joint) bool {
	for _, f := range h.Findings {
		if string(f.Cause) == c.truth.Cause || slices.Contains(f.CouldAlsoBe, c.truth.Cause) {
			return true
		}
	}
	return false
}

// onlyTruth wants no cause named but the true one, what cannot be told from it, and those allowed.
func onlyTruth(t *testing.T, c caselog, h health.Joint, allowed ...health.Cause) {
	t.Helper()
	for _, f := range h.Findings {
		if f.Cause == health.None || string(f.Cause) == c.truth.Cause || slices.Contains(allowed, f.Cause) || slices.Contains(f.CouldAlsoBe, c.truth.Cause) {
			continue
		}
		t.Errorf("findings %v where %s was put in; evidence %q", causes(h), c.truth.Cause, f.Evidence)
	}
}

func each(t *testing.T, check func(t *testing.T, c caselog)) {
	t.Helper()
	for _, c := range caselogs(t) {
		t.Run(c.name+" "+c.truth.Cause, func(t *testing.T) { check(t, c) })
	}
}

func noMotor(c caselog) caselog {
	c.series = clone(c.series)
	c.series.Motor = nil
	c.joint.Sensors.MotorCounts = 0
	return c
}

// Without its motor-side angle a log says less, and nothing false.
func TestWithoutMotorAngle(t *testing.T) {
	each(t, func(t *testing.T, c caselog) {
		if c.truth.MotorSensor {
			c = noMotor(c)
			wantCause(t, c, run(t, c.series, c.joint), false)
		}
	})
}

// Without marks the moves are told from the command; the answers stay.
func TestWithoutMarks(t *testing.T) {
	each(t, func(t *testing.T, c caselog) {
		if !c.truth.Moves {
			return
		}
		bare := clone(c.series)
		bare.Move = nil
		h := run(t, bare, c.joint)
		wantCause(t, c, h, c.truth.MotorSensor)
		marked := run(t, c.series, c.joint)
		for _, m := range marked.Measures {
			b, ok := h.Find(m.Name, m.Path)
			if !ok || b.Status != m.Status {
				t.Errorf("%s (%s): %s with marks, %s without", m.Name, m.Path, m.Status, b.Status)
				continue
			}
			if m.Status == health.Measured && math.Abs(b.Value-m.Value) > math.Hypot(nz(m.Uncertainty), nz(b.Uncertainty))+1e-9 {
				t.Errorf("%s (%s): %.4g ± %.2g with marks, %.4g ± %.2g without", m.Name, m.Path, m.Value, m.Uncertainty, b.Value, b.Uncertainty)
			}
		}
	})
}

func nz(x float64) float64 {
	if math.IsNaN(x) {
		return 0
	}
	return x
}

// Without marks and motor angle together.
func TestWithoutMarksAndMotorAngle(t *testing.T) {
	each(t, func(t *testing.T, c caselog) {
		c = noMotor(c)
		c.series.Move = nil
		wantCause(t, c, run(t, c.series, c.joint), false)
	})
}

// One in twenty samples lost at random: that is found too, and hides nothing.
func TestRandomLosses(t *testing.T) {
	each(t, func(t *testing.T, c caselog) {
		rng := rand.New(rand.NewPCG(11, 1))
		h := run(t, pick(c.series, func(int) bool { return rng.Float64() >= 0.05 }), c.joint)
		m, _ := h.Find("lost_samples", health.NoPath)
		if math.Abs(m.Value-0.05) > 0.005 {
			t.Errorf("lost %g of the samples, want 0.05", m.Value)
		}
		onlyTruth(t, c, h, health.LostSamples)
		if c.truth.Cause != "none" && c.truth.Cause != "hidden" && (!found(c, h) || h.Findings[0].Cause == health.LostSamples) {
			t.Errorf("findings %v, want %s before the losses", causes(h), c.truth.Cause)
		}
	})
}

// showsIn says in which half of these logs a fault can be seen: the slips happen in the stair of the
// first half, the hold for creep and the slow ramps for tight spots lie in the second; ramps alone
// do not tell the servo's play from friction and lag.
var showsIn = map[string][2]bool{
	"belt_tension_low": {true, true}, "belt_slack": {true, true}, "servo_play": {true, false}, "excess_compliance": {true, true},
	"horn_slip": {true, false}, "tooth_skip": {true, false}, "near_stall": {true, true}, "stall": {true, true}, "supply_sag": {true, true},
	"creep": {false, true}, "tight_spot": {false, true}, "high_friction": {false, true},
}

// Cut in half, a log shows less; what it shows is true.
func TestCutInHalf(t *testing.T) {
	each(t, func(t *testing.T, c caselog) {
		n := c.series.Len()
		for half := range 2 {
			h := run(t, pick(c.series, func(i int) bool { return (i >= n/2) == (half == 1) }), c.joint)
			onlyTruth(t, c, h)
			if showsIn[c.truth.Cause][half] && !found(c, h) {
				t.Errorf("half %d: %v, want %s", half+1, causes(h), c.truth.Cause)
			}
		}
	})
}

// Cut anywhere, it names nothing that is not there.
func TestCutAnywhere(t *testing.T) {
	each(t, func(t *testing.T, c caselog) {
		n := c.series.Len()
		shares := []float64{0.35, 0.65, 0.2, 0.4, 0.8}
		if testing.Short() {
			shares = shares[:2]
		}
		for _, share := range shares {
			for _, tail := range []bool{false, true} {
				onlyTruth(t, c, run(t, pick(c.series, func(i int) bool { return (i >= int(share*float64(n))) == tail }), c.joint))
			}
		}
	})
}

// same compares two answers measure by measure; sign and shift are what the change does to signed
// figures and to times.
func same(t *testing.T, a, b health.Joint, sign, shift float64) {
	t.Helper()
	if !slices.Equal(causes(a), causes(b)) {
		t.Errorf("findings %v and %v", causes(a), causes(b))
	}
	if len(a.Measures) != len(b.Measures) {
		t.Fatalf("%d and %d measures", len(a.Measures), len(b.Measures))
	}
	signed := []string{"offset_step", "creep", "permanent_set", "tight_spot_angle", "friction_asymmetry"}
	for i, m := range a.Measures {
		w := b.Measures[i]
		x, y := m.Value, w.Value
		switch {
		case slices.Contains(signed, m.Name) && m.Status == health.Measured:
			y *= sign
		case m.Name == "offset_step_time":
			y -= shift
		}
		near := func(x, y float64) bool {
			return math.IsNaN(x) && math.IsNaN(y) || math.Abs(x-y) <= 1e-6+0.02*math.Abs(x) || math.Abs(x-y) < 0.1*m.Uncertainty
		}
		if m.Name != w.Name || m.Path != w.Path || m.Status != w.Status || m.Verdict != w.Verdict || !near(x, y) {
			t.Errorf("%s (%s): %s %.6g ± %.3g %s and %s %.6g ± %.3g %s", m.Name, m.Path, m.Status, m.Value, m.Uncertainty, m.Verdict, w.Status, w.Value, w.Uncertainty, w.Verdict)
		}
	}
}

// Where the clock starts does not matter.
func TestShiftedTime(t *testing.T) {
	each(t, func(t *testing.T, c caselog) {
		a := run(t, c.series, c.joint)
		for _, shift := range []float64{-4096, 65536} { // powers of two keep the spacing nearly exact
			late := clone(c.series)
			for i := range late.Time {
				late.Time[i] += shift
			}
			same(t, a, run(t, late, c.joint), 1, shift)
		}
	})
}

// Which way is called positive does not matter.
func TestMirroredAngles(t *testing.T) {
	each(t, func(t *testing.T, c caselog) {
		m := clone(c.series)
		negate(m.Command)
		negate(m.Angle)
		negate(m.Motor)
		j := c.joint
		j.RangeDeg = [2]float64{-j.RangeDeg[1], -j.RangeDeg[0]}
		load := *j.Load
		load.DownDeg = -load.DownDeg
		j.Load = &load
		same(t, run(t, c.series, c.joint), run(t, m, j), -1, 0)
	})
}

// A torque sensor says what the hanging mass would.
func TestTorqueSensorInsteadOfMass(t *testing.T) {
	each(t, func(t *testing.T, c caselog) {
		s := clone(c.series)
		l := c.joint.Load
		for _, a := range s.Angle {
			s.Torque = append(s.Torque, -l.MassKg*9.80665*l.LeverM*math.Sin((a-l.DownDeg)*math.Pi/180))
		}
		j := c.joint
		j.Load = nil
		wantCause(t, c, run(t, s, j), c.truth.MotorSensor)
	})
}

// The same series gives the same answer again, and is not changed.
func TestSameAgain(t *testing.T) {
	c := caselogs(t)[3]
	before := clone(c.series)
	a, b := run(t, c.series, c.joint), run(t, c.series, c.joint)
	for i := range a.Measures {
		if x, y := a.Measures[i], b.Measures[i]; x != y && !(math.IsNaN(x.Value) || math.IsNaN(x.Limit) || math.IsNaN(x.Uncertainty)) {
			t.Errorf("%+v, then %+v", x, y)
		}
	}
	if !slices.Equal(before.Angle, c.series.Angle) || !slices.Equal(before.Command, c.series.Command) || !slices.Equal(before.Time, c.series.Time) || !slices.Equal(before.Current, c.series.Current) {
		t.Error("the series was changed")
	}
}
