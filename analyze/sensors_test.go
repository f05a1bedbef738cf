package analyze_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"limbgauge/analyze/health"
	"limbgauge/rig"
)

// fold is what a sensor of one turn makes of an angle, its turn ending at zero deg.
func fold(col []float64, zero float64) {
	for i, v := range col {
		col[i] = math.Mod(v-zero+3600, 360) + zero
	}
}

// A fault that can be taken out is named, and the figures stay what they were.
func TestRepairedSensors(t *testing.T) {
	s, j := sound()
	whole := run(t, s, j)
	for _, c := range []struct {
		name string
		bad  *rig.Series
		says string
	}{
		{"joint angle wraps", with(s, func(o *rig.Series) { fold(o.Angle, 0) }), "joint angle: runs over the end of its turn"},
		{"motor angle wraps", with(s, func(o *rig.Series) { fold(o.Motor, 17) }), "motor angle: runs over the end of its turn"},
		{"both wrap", with(s, func(o *rig.Series) { fold(o.Angle, -40); fold(o.Motor, 30) }), "joint angle: runs over the end of its turn"},
		{"joint angle jumps twice a second", with(s, func(o *rig.Series) {
			rng := rand.New(rand.NewPCG(1, 2))
			for i := range o.Angle {
				if rng.Float64() < .008 {
					o.Angle[i] += 20 * float64(1-2*rng.IntN(2))
				}
			}
		}), "joint angle: jumps away and back"},
	} {
		h := run(t, c.bad, j)
		f := h.Findings[0]
		if len(h.Findings) != 1 || f.Cause != health.SensorFault || !strings.Contains(strings.Join(f.Evidence, "|"), c.says) {
			t.Errorf("%s: findings %v, evidence %q", c.name, causes(h), f.Evidence)
		}
		for _, m := range whole.Measures {
			b, _ := h.Find(m.Name, m.Path)
			if b.Status != m.Status || m.Status == health.Measured && math.Abs(b.Value-m.Value) > 1e-3+math.Max(nz(m.Uncertainty), nz(b.Uncertainty)) {
				t.Errorf("%s: %s (%s) %s %.4g ± %.2g, without the fault %s %.4g ± %.2g", c.name, m.Name, m.Path, b.Status, b.Value, b.Uncertainty, m.Status, m.Value, m.Uncertainty)
			}
		}
	}
}

// A record that lies whole turns beside the command is moved there, and that is no fault.
func TestWholeTurnsAside(t *testing.T) {
	s, j := sound()
	h := run(t, with(s, func(o *rig.Series) {
		for i := range o.Angle {
			o.Angle[i] += 360
			o.Motor[i] -= 720
		}
	}), j)
	if len(h.Findings) != 1 || h.Findings[0].Cause != health.None || !strings.Contains(strings.Join(h.Notes, "|"), "moved by -360 deg") {
		t.Errorf("findings %v, notes %q", causes(h), h.Notes)
	}
	inside(t, h, "compliance", health.Transmission, 2)
}

// A motor-side angle that stands still leaves a joint without one; what the joint angle shows stays.
func TestFrozenMotorAngle(t *testing.T) {
	s, j := sound()
	h := run(t, with(s, func(o *rig.Series) { fill(o.Motor[4000:], o.Motor[4000]) }), j)
	bare := with(s, func(o *rig.Series) { o.Motor = nil })
	b := run(t, bare, j)
	if h.Findings[0].Cause != health.SensorFault || len(h.Findings) != 1 {
		t.Errorf("findings %v", causes(h))
	}
	if _, ok := h.Find("play", health.Transmission); ok {
		t.Error("play of a path that needs the broken sensor")
	}
	for _, m := range b.Measures {
		o, _ := h.Find(m.Name, m.Path)
		if o.Status != m.Status || m.Status == health.Measured && o.Value != m.Value {
			t.Errorf("%s (%s): %s %.4g, without a motor-side angle %s %.4g", m.Name, m.Path, o.Status, o.Value, m.Status, m.Value)
		}
	}
}

// A joint angle that stands still for most of the run shows nothing: no figure rests on it, those of
// the servo stay.
func TestFrozenJointAngle(t *testing.T) {
	s, j := sound()
	whole := run(t, s, j)
	h := run(t, with(s, func(o *rig.Series) { fill(o.Angle[2000:], o.Angle[2000]) }), j)
	if h.Findings[0].Cause != health.SensorFault || len(h.Findings) != 1 {
		t.Errorf("findings %v", causes(h))
	}
	for _, m := range h.Measures {
		servo := m.Path == health.Servo || m.Name == "supply_sag" || m.Name == "lost_samples"
		if !servo && (m.Status != health.NotObservable || m.Reason == "") {
			t.Errorf("%s (%s) %s %g from a frozen sensor", m.Name, m.Path, m.Status, m.Value)
		}
	}
	want, _ := whole.Find("compliance", health.Servo)
	if m, _ := h.Find("compliance", health.Servo); m.Status != health.Measured || math.Abs(m.Value-want.Value) > want.Uncertainty {
		t.Errorf("compliance of the servo %s %g, with the joint angle %g", m.Status, m.Value, want.Value)
	}
	// For a few seconds: what was read before and after serves.
	h = run(t, with(s, func(o *rig.Series) { fill(o.Angle[3000:3700], o.Angle[3000]) }), j)
	if h.Findings[0].Cause != health.SensorFault || len(h.Findings) != 1 {
		t.Errorf("findings %v", causes(h))
	}
	inside(t, h, "compliance", health.Transmission, 2)
	within(t, h, "compliance", health.Transmission, 2, .1)
}

// A joint held fast at stall current with a sensor free of noise is in stall; its sensor is sound.
func TestHeldFastIsNoFrozenSensor(t *testing.T) {
	s, j := sound()
	j.Sensors.MotorCounts = 0
	h := run(t, with(s, func(o *rig.Series) {
		o.Motor = nil
		for i, a := range o.Angle {
			o.Angle[i] = math.Round(a*4096/360) * 360 / 4096
			if o.Command[i] > 20 {
				o.Angle[i], o.Current[i] = 20.0390625, 2.2
			}
		}
	}), j)
	for _, f := range h.Findings {
		if f.Cause == health.SensorFault {
			t.Errorf("findings %v, evidence %q", causes(h), f.Evidence)
		}
	}
}

// Times taken on arrival are noted.
func TestUnevenTimes(t *testing.T) {
	s, j := sound()
	rng := rand.New(rand.NewPCG(1, 1))
	h := run(t, with(s, func(o *rig.Series) {
		for i := range o.Time {
			o.Time[i] += .0035 * rng.Float64()
		}
	}), j)
	if len(h.Findings) != 1 || h.Findings[0].Cause != health.None || !strings.Contains(strings.Join(h.Notes, "|"), "times of the samples scatter") {
		t.Errorf("findings %v, notes %q", causes(h), h.Notes)
	}
}

// A current that is cut off is not used: what the angles show stays.
func TestCurrentSensor(t *testing.T) {
	s, j := sound()
	none := run(t, with(s, func(o *rig.Series) { o.Current = nil }), j)
	for name, c := range map[string]struct {
		s    *rig.Series
		says string
	}{
		"cut off": {with(s, func(o *rig.Series) {
			for i, a := range o.Current {
				o.Current[i] = math.Min(a, .3)
			}
		}), "at the end of its range"},
		"zero":  {with(s, func(o *rig.Series) { fill(o.Current, 0) }), ""},
		"sound": {s, ""},
	} {
		h := run(t, c.s, j)
		if text := sensorText(h); (text == "") != (c.says == "") || !strings.Contains(text, c.says) {
			t.Errorf("%s: findings %v, evidence %q", name, causes(h), text)
		}
		if c.says == "" {
			continue
		}
		for _, m := range none.Measures {
			if o, _ := h.Find(m.Name, m.Path); o.Status != m.Status || m.Status == health.Measured && o.Value != m.Value {
				t.Errorf("%s: %s (%s) %s %g, without current %s %g", name, m.Name, m.Path, o.Status, o.Value, m.Status, m.Value)
			}
		}
	}
}

// An angle that turns against its command has the wrong sign in all it shows: it is named, and nothing is
// measured by it. A motor side alone is done without.
func TestWrongSense(t *testing.T) {
	s, j := sound()
	turn := func(col []float64) {
		for i := range col {
			col[i] = 12 - col[i]
		}
	}
	for _, c := range []struct {
		name  string
		bad   *rig.Series
		says  string
		blind bool
	}{
		{"joint", with(s, func(o *rig.Series) { turn(o.Angle) }), "joint angle: turns against the command", true},
		{"both", with(s, func(o *rig.Series) { turn(o.Angle); turn(o.Motor) }), "joint angle: turns against the command", true},
		{"joint without motor side", with(s, func(o *rig.Series) { turn(o.Angle); o.Motor = nil }), "joint angle: turns against the command", true},
		{"motor side", with(s, func(o *rig.Series) { turn(o.Motor) }), "motor angle: turns against the command", false},
	} {
		h := run(t, c.bad, j)
		f := h.Findings[0]
		if len(h.Findings) != 1 || f.Cause != health.SensorFault || !strings.Contains(strings.Join(f.Evidence, "|"), c.says) {
			t.Errorf("%s: findings %v, evidence %q", c.name, causes(h), f.Evidence)
		}
		if !strings.Contains(f.Next, "_reversed = true below [joint.sensors]") {
			t.Errorf("%s: it does not say what to do but %q", c.name, f.Next)
		}
		for _, name := range []string{"play", "compliance", "reversal_error", "belt_tension", "friction", "creep"} {
			m, ok := h.Find(name, health.Total)
			if ok && c.blind && m.Status != health.NotObservable {
				t.Errorf("%s: %s is %s, %.3g", c.name, name, m.Status, m.Value)
			}
			if ok && !c.blind && name == "reversal_error" && m.Status != health.Measured {
				t.Errorf("%s: %s is %s: %s", c.name, name, m.Status, m.Reason)
			}
		}
	}
}
