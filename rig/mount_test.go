package rig_test

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"limbgauge/rig"
)

// SPEC.md, sections 4 and 5: the zero is what the bare sensor shows at joint angle 0; the joint's angle is
// the sensor's less the zero, turned where the flag says so.
func TestMount(t *testing.T) {
	for _, c := range []struct {
		mount          rig.Mount
		reading, angle float64
	}{
		{rig.Mount{}, 12, 12},
		{rig.Mount{ZeroDeg: 37.2}, 37.2, 0},
		{rig.Mount{ZeroDeg: 37.2}, 47.2, 10},
		{rig.Mount{ZeroDeg: 37.2, Reversed: true}, 37.2, 0},
		{rig.Mount{ZeroDeg: 37.2, Reversed: true}, 47.2, -10},
		{rig.Mount{ZeroDeg: -90, Reversed: true}, -100, 10},
	} {
		if got := c.mount.Angle(c.reading); math.Abs(got-c.angle) > 1e-12 {
			t.Errorf("%s: reading %g is angle %g, want %g", c.mount, c.reading, got, c.angle)
		}
		if got := c.mount.Reading(c.angle); math.Abs(got-c.reading) > 1e-12 {
			t.Errorf("%s: angle %g reads %g, want %g", c.mount, c.angle, got, c.reading)
		}
		// A joint held at its zero while bench.toml has another one: the bare reading is the zero.
		if got, want := c.mount.ZeroAt(c.angle), c.reading; math.Abs(got-want) > 1e-12 {
			t.Errorf("%s: zero at angle %g is %g, want %g", c.mount, c.angle, got, want)
		}
	}
	if got := (rig.Mount{ZeroDeg: 170}).ZeroAt(30); math.Abs(got+160) > 1e-12 {
		t.Errorf("a reading of 200 deg is %g within a turn, want -160", got)
	}
}

// The range that a sensor tells at power-up is half a turn to each side of its own 0, less the 3 deg that
// a joint may lie outside (SPEC.md, sections 5 and 8): a range of 75 deg to each side leaves zeros below 102.
func TestSensorWrong(t *testing.T) {
	joint := func(s rig.Sensors) rig.Joint {
		return rig.Joint{RangeDeg: [2]float64{-75, 75}, Sensors: s}
	}
	for _, c := range []struct {
		what string
		j    rig.Joint
		key  string
	}{
		{"plain", joint(rig.Sensors{JointCounts: 4096}), ""},
		{"just within", joint(rig.Sensors{JointCounts: 4096, JointZeroDeg: 101.9}), ""},
		{"just beyond", joint(rig.Sensors{JointCounts: 4096, JointZeroDeg: 102.1}), "joint_zero_deg"},
		{"just beyond, below", joint(rig.Sensors{JointCounts: 4096, JointZeroDeg: -102.1, JointReversed: true}), "joint_zero_deg"},
		{"no motor side", joint(rig.Sensors{JointCounts: 4096, MotorZeroDeg: 179}), ""},
		{"motor side", joint(rig.Sensors{JointCounts: 4096, MotorCounts: 4096, MotorZeroDeg: 179}), "motor_zero_deg"},
		{"one side only, turned away", rig.Joint{RangeDeg: [2]float64{0, 120}, Sensors: rig.Sensors{JointCounts: 4096, JointZeroDeg: 150, JointReversed: true}}, ""},
		{"one side only, turned towards", rig.Joint{RangeDeg: [2]float64{0, 120}, Sensors: rig.Sensors{JointCounts: 4096, JointZeroDeg: 150}}, "joint_zero_deg"},
		{"behind a belt", rig.Joint{RangeDeg: [2]float64{-75, 75}, Belt: &rig.Belt{Teeth: 20, PitchMM: 2, Ratio: 2}, Sensors: rig.Sensors{JointCounts: 4096, MotorCounts: 4096, MotorZeroDeg: 40}}, "motor_zero_deg"},
		{"too wide", rig.Joint{RangeDeg: [2]float64{-180, 180}, Sensors: rig.Sensors{JointCounts: 4096}}, "joint_zero_deg"},
	} {
		key, problem, hint := c.j.SensorWrong()
		if key != c.key || (key != "") != (problem != "" && hint != "") {
			t.Errorf("%s: %q (%s; %s), want %q", c.what, key, problem, hint, c.key)
		}
		if c.what == "too wide" && !strings.Contains(hint, "narrow range_deg") {
			t.Errorf("%s: %s", c.what, hint)
		}
	}
}

// A run without these keys is written as it always was.
func TestSensorsJSON(t *testing.T) {
	out, err := json.Marshal(rig.Sensors{JointCounts: 4096, MotorCounts: 12})
	if err != nil || string(out) != `{"joint_counts":4096,"motor_counts":12}` {
		t.Errorf("%s, %v", out, err)
	}
	in := rig.Sensors{JointCounts: 4096, MotorCounts: 4096, JointZeroDeg: 37.2, JointReversed: true, MotorZeroDeg: -5, MotorReversed: true}
	out, err = json.Marshal(in)
	var back rig.Sensors
	if err != nil || json.Unmarshal(out, &back) != nil || back != in {
		t.Errorf("%s came back as %+v", out, back)
	}
	b, err := rig.ParseBench("bench.toml", []byte("[[joint]]\nname = \"knee\"\nrange_deg = [-75, 75]\n[joint.sensors]\nmotor_counts = 4096\njoint_zero_deg = 37.2\njoint_reversed = true\nmotor_zero_deg = -5\nmotor_reversed = true\n"))
	if err != nil || b.Joints[0].Sensors != in {
		t.Errorf("%+v, %v", b, err)
	}
}

// An angle's constants belong to one zero and one sense of its sensor.
func TestCalibrationOfAnotherMount(t *testing.T) {
	c := &rig.Calibration{Name: "c", Joint: "knee", JointAngle: &rig.Correction{Made: rig.Made{Serial: "K-1"}, Model: rig.ModelZero, Zero: 1, Mount: rig.Mount{ZeroDeg: 37.2, Reversed: true},
		Points: []rig.CalibrationPoint{{Reference: 1}}}}
	j := rig.Joint{Name: "knee", Sensors: rig.Sensors{Serial: "K-1", JointZeroDeg: 37.2, JointReversed: true, MotorZeroDeg: 5}}
	if wrong := c.Misfit(j); wrong != "" {
		t.Errorf("the same mount: %s", wrong)
	}
	text := string(c.Encode())
	back, err := rig.ParseCalibration("c.toml", []byte(text))
	if err != nil || back.JointAngle.Mount != c.JointAngle.Mount {
		t.Fatalf("%v\n%s", err, text)
	}
	j.Sensors.JointZeroDeg = 0
	if wrong := back.Misfit(j); !strings.Contains(wrong, "zero 37.2 deg, reversed") || !strings.Contains(wrong, "at zero 0 deg, reversed now") {
		t.Errorf("another zero: %q", wrong)
	}
	c.JointAngle.Mount = rig.Mount{}
	if text := string(c.Encode()); strings.Contains(text, "sensor_") {
		t.Errorf("a sensor at its own 0 wants no word:\n%s", text)
	}
}
