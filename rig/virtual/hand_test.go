package virtual

import (
	"errors"
	"math"
	"testing"
)

// A joint in a jig shows the jig's angle with exactly the errors that were put in, and the current
// sensor what flows in place of the servo. Truth is arithmetic: reading = zero + (1+scale)·true + waves.
func TestHandAndMisreadings(t *testing.T) {
	truth := Healthy(knee(), 0)
	truth.Sensors.Joint.NoiseDeg, truth.Sensors.Joint.Wave1Deg, truth.Sensors.Motor.Wave1Deg = 0, 0, 0
	truth.Sensors.CurrentNoiseA, truth.Sensors.SupplyNoiseV = 0, 0
	for name, size := range map[string]float64{"joint_zero_deg": 3, "joint_scale": -0.05, "motor_wave2_deg": 2, "current_zero_a": 0.02, "current_gain": 0.1, "supply_zero_v": 0.1, "supply_gain": -0.02} {
		var err error
		if truth, err = WithMisreading(truth, name, size); err != nil {
			t.Fatal(err)
		}
	}
	h := &Hand{}
	w := NewWorld([]Truth{truth})
	w.hand = h
	for _, deg := range []float64{-60, -10, 45} {
		h.Jig(0, deg)
		h.Draw(0, 0.5)
		h.Supply(7)
		w.Advance(w.TimeUS() + 100_000)
		r := w.Read(0)
		near(t, "joint", float64(r.Angle)/1000, 3+0.95*deg, 0.06, "put in")
		near(t, "motor", float64(r.Motor)/1000, deg+2*math.Sin(2*deg*rad), 0.2, "put in")
		near(t, "current", float64(r.Current)/1000, 0.02+1.1*0.5, 0.001, "put in")
		near(t, "supply", float64(r.Supply)/1000, 0.1+0.98*(7-0.5*truth.Supply.Ohm), 0.005, "put in")
	}
	h.Release(0)
	w.Advance(w.TimeUS() + 3_000_000)
	// Let go, the limp leg falls towards hanging down.
	if at := w.State(0).AngleDeg; math.Abs(at) > 40 {
		t.Errorf("let go at 45 deg, the leg is at %.1f", at)
	}
	if _, err := WithMisreading(truth, "joint_zero_deg", 500); !errors.Is(err, ErrNoFault) {
		t.Error(err)
	}
	if _, err := WithMisreading(truth, "joint_zero", 5); !errors.Is(err, ErrNoFault) {
		t.Error(err)
	}
}

// The servo's middle 20 µs off and 3 % too far: 0.09 deg/µs makes it -1.8 deg and 1.03 times.
func TestServoMisreadings(t *testing.T) {
	truth := Healthy(knee(), 0)
	truth.Servo.MiddleUS, truth.Servo.TravelError = 20, 0.03
	w := NewWorld([]Truth{truth})
	near(t, "shaft", w.plants[0].shaftAt(1820)/rad, 0.09*300*1.03, 1e-9, "put in")
}
