package rig

import (
	"fmt"
	"math"
)

// Mount is how an angle sensor sits, in deg: reading = ZeroDeg + angle, or ZeroDeg - angle where it is
// Reversed. That is setup_joint of firmware-protocol/SPEC.md: a zero as the bare sensor shows it, before
// the sense is turned.
type Mount struct {
	ZeroDeg  float64 // what the sensor reads at angle 0
	Reversed bool    // it counts up where the angle goes down
}

// String says it in words.
func (m Mount) String() string {
	if m.Reversed {
		return fmt.Sprintf("zero %g deg, reversed", m.ZeroDeg)
	}
	return fmt.Sprintf("zero %g deg", m.ZeroDeg)
}

// Reading returns what the sensor shows at an angle, over as many turns as it takes.
func (m Mount) Reading(angle float64) float64 {
	if m.Reversed {
		return m.ZeroDeg - angle
	}
	return m.ZeroDeg + angle
}

// Angle returns the angle behind a reading.
func (m Mount) Angle(reading float64) float64 {
	if m.Reversed {
		return m.ZeroDeg - reading
	}
	return reading - m.ZeroDeg
}

// ZeroAt returns the ZeroDeg, within -180 to 180, of the sensor whose angle reads so now and should
// read 0.
func (m Mount) ZeroAt(angle float64) float64 {
	return math.Remainder(m.Reading(angle), 360)
}

// A sensor knows its place within one turn, and a stand starts within half a turn of the sensor's own 0
// at power-up (SPEC.md, section 5). The margin is what a joint may lie outside its range (section 8).
const (
	halfTurnDeg  = 180.0
	beyondEndDeg = 3.0
)

// past returns the reading at an end of a range that lies half a turn or more from the sensor's 0; ok is
// false where there is none.
func (m Mount) past(lo, hi float64) (reading float64, ok bool) {
	for _, deg := range []float64{lo - beyondEndDeg, hi + beyondEndDeg} {
		if r := m.Reading(deg); math.Abs(r) >= halfTurnDeg {
			return r, true
		}
	}
	return 0, false
}

// SensorWrong says of the joint's sensors what keeps a stand from knowing the angle at power-up: the key
// below sensors, what is wrong and what to do; all "" where nothing is.
func (j Joint) SensorWrong() (key, problem, hint string) {
	k := j.Ratio()
	for _, s := range []struct {
		key, what string
		mount     Mount
		counts    int
		lo, hi    float64
	}{
		{"joint_zero_deg", "joint's", j.Sensors.Joint(), j.Sensors.JointCounts, j.RangeDeg[0], j.RangeDeg[1]},
		{"motor_zero_deg", "motor side's", j.Sensors.Motor(), j.Sensors.MotorCounts, k * j.RangeDeg[0], k * j.RangeDeg[1]},
	} {
		r, bad := s.mount.past(s.lo, s.hi)
		if s.counts == 0 || !bad {
			continue
		}
		middle := s.mount.Reading((s.lo + s.hi) / 2)
		hint := fmt.Sprintf("turn its magnet, or the sensor's body, by about %.0f deg, then give what it reads at the zero", math.Abs(middle))
		if s.hi-s.lo >= 2*(halfTurnDeg-beyondEndDeg) {
			hint = "narrow range_deg: one turn of a sensor can not tell so wide a range"
		}
		return s.key, fmt.Sprintf("(%g) makes the %s sensor read %.0f deg at an end of range_deg (and the %g deg a joint may lie beyond it), which it can not tell from %.0f deg when the stand is switched on there",
			s.mount.ZeroDeg, s.what, r, beyondEndDeg, r-math.Copysign(360, r)), hint
	}
	return "", "", ""
}
