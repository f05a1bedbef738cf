package rig_test

import (
	"testing"

	"limbgauge/rig"
)

// A servo that turns twice as far as its joint goes as far by itself, with its weight hanging at the
// same pulse, and the set-up is not changed.
func TestBareServo(t *testing.T) {
	j := rig.DefaultJoint(0)
	j.RangeDeg, j.Belt = [2]float64{-40, 30}, &rig.Belt{Teeth: 20, PitchMM: 2, Ratio: 2}
	j.Load, j.Sensors.MotorCounts, j.Servo.BareRun = &rig.Load{MassKg: 0.3, LeverM: 0.1, DownDeg: 5}, 4096, "0007"
	b := j.BareServo()
	if b.Belt != nil || b.Ratio() != 1 || b.RangeDeg != [2]float64{-80, 60} || b.Load.DownDeg != 10 || b.Load.MassKg != 0.3 ||
		b.Sensors.MotorCounts != 0 || b.Sensors.JointCounts != 4096 || b.Servo.BareRun != "" {
		t.Errorf("%+v, load %+v", b, b.Load)
	}
	if j.Belt == nil || j.RangeDeg[0] != -40 || j.Load.DownDeg != 5 || j.Sensors.MotorCounts != 4096 {
		t.Errorf("the joint itself is now %+v", j)
	}
}
