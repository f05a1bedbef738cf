package rig

import (
	"math"
)

// Doubt is what a calibration leaves uncertain of a joint's readings, as standard uncertainties. It
// is there for the analysis; a field of 0 is one that no calibration speaks of.
type Doubt struct {
	JointFormDeg, MotorFormDeg float64 // of one reading against another, zero and scale apart
	JointZeroDeg, MotorZeroDeg float64
	JointScale, MotorScale     float64 // relative
	CurrentA, CurrentScale     float64
	SupplyV                    float64
	// Torque ties current to torque as weights showed it, nil when none were hung.
	Torque *TorqueScale
}

// Series returns the corrected samples of a joint that is set up as j. What no step speaks of is
// the same as in s, which is left as it is. A nil calibration corrects nothing.
func (c *Calibration) Series(s *Series, j Joint) *Series {
	if c == nil {
		return s
	}
	out := *s
	out.Calibration = c.Name
	for _, col := range []struct {
		of *[]float64
		by *Correction
	}{{&out.Angle, c.JointAngle}, {&out.Motor, c.MotorAngle}, {&out.Current, c.Current}, {&out.Supply, c.Supply}} {
		if col.by != nil {
			*col.of = mapped(*col.of, col.by.Apply)
		}
	}
	if p := c.Pulse; p != nil {
		out.Command = mapped(out.Command, func(deg float64) float64 { return p.Angle(j.PulseOf(deg)) })
	}
	return &out
}

func mapped(col []float64, f func(float64) float64) []float64 {
	if col == nil {
		return nil
	}
	out := make([]float64, len(col))
	for i, v := range col {
		out[i] = f(v) // NaN stays NaN
	}
	return out
}

// Setup returns j with what the calibration says of it: its doubt, and the law and idle current that
// weights showed, unless bench.toml states a law itself.
func (c *Calibration) Setup(j Joint) Joint {
	if c == nil {
		return j
	}
	known := func(u float64) float64 {
		if math.IsNaN(u) {
			return 0
		}
		return u
	}
	if a := c.JointAngle; a != nil {
		j.Doubt.JointFormDeg, j.Doubt.JointZeroDeg, j.Doubt.JointScale = known(a.FormU), known(a.ZeroU), known(a.ScaleU)
	}
	if a := c.MotorAngle; a != nil {
		j.Doubt.MotorFormDeg, j.Doubt.MotorZeroDeg, j.Doubt.MotorScale = known(a.FormU), known(a.ZeroU), known(a.ScaleU)
	}
	if a := c.Current; a != nil {
		j.Doubt.CurrentA, j.Doubt.CurrentScale = known(a.ZeroU), known(a.ScaleU)
	}
	if a := c.Supply; a != nil {
		j.Doubt.SupplyV = known(a.ZeroU)
	}
	if t := c.Torque; t != nil && t.Law != CurrentUnknown {
		j.Doubt.Torque = t
		if j.Servo.CurrentLaw == CurrentUnknown {
			j.Servo.CurrentLaw, j.Servo.IdleA = t.Law, t.IdleA
		}
	}
	return j
}
