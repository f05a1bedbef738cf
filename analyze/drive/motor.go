package drive

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

const rad = math.Pi / 180

// KgCm is one kilogram-force centimetre in N·m.
const KgCm = 0.0980665

// Rating is one line of a data sheet.
type Rating struct {
	Volts         float64
	StallNm       float64
	NoLoadDegPerS float64
	StallA        float64
}

// Basis says where the figures of a Motor come from.
type Basis string

const (
	// Interpolated: the voltage lies between two rated ones, or on one.
	Interpolated Basis = "interpolated"
	// Scaled: the voltage lies outside the rated ones; the figures of the nearest line were scaled
	// with the voltage, which is a model and not a rating.
	Scaled Basis = "scaled"
)

// Motor is a motor at one voltage, all through the gear.
type Motor struct {
	Volts         float64
	StallNm       float64 // T_s
	NoLoadDegPerS float64 // ω_0
	StallA        float64 // I_s, motor current
	IdleA         float64 // I_0
	Basis         Basis
}

// At returns the motor at a voltage. Between rated lines it interpolates linearly; outside them it
// scales the nearest line with V, as torque, speed and current of a motor do, and says so in Basis.
// Rated lines may be in any order. It returns an error when there is none or the voltage is not positive.
func At(rated []Rating, idleA, volts float64) (Motor, error) {
	if len(rated) == 0 {
		return Motor{}, fmt.Errorf("motor at %.2f V: no rated line is known", volts)
	}
	if !(volts > 0) {
		return Motor{}, fmt.Errorf("motor at %.2f V: the voltage must be positive", volts)
	}
	r := rated
	byVolts := func(a, b Rating) int { return cmp.Compare(a.Volts, b.Volts) }
	if !slices.IsSortedFunc(r, byVolts) {
		r = slices.Clone(rated)
		slices.SortFunc(r, byVolts)
	}
	m := Motor{Volts: volts, IdleA: idleA, Basis: Interpolated}
	i := 0
	for i < len(r) && r[i].Volts < volts {
		i++
	}
	switch {
	case i < len(r) && r[i].Volts == volts:
		m.StallNm, m.NoLoadDegPerS, m.StallA = r[i].StallNm, r[i].NoLoadDegPerS, r[i].StallA
	case i == 0 || i == len(r):
		near := r[min(i, len(r)-1)]
		k := volts / near.Volts
		m.StallNm, m.NoLoadDegPerS, m.StallA, m.Basis = k*near.StallNm, k*near.NoLoadDegPerS, k*near.StallA, Scaled
	default:
		a, b := r[i-1], r[i]
		k := (volts - a.Volts) / (b.Volts - a.Volts)
		m.StallNm = a.StallNm + k*(b.StallNm-a.StallNm)
		m.NoLoadDegPerS = a.NoLoadDegPerS + k*(b.NoLoadDegPerS-a.NoLoadDegPerS)
		m.StallA = a.StallA + k*(b.StallA-a.StallA)
	}
	return m, nil
}

// Torque returns the torque at a speed on full voltage: T_s(1 - ω/ω_0).
func (m Motor) Torque(degPerS float64) float64 { return m.StallNm * (1 - degPerS/m.NoLoadDegPerS) }

// Speed returns the speed under a torque on full voltage.
func (m Motor) Speed(torqueNm float64) float64 { return m.NoLoadDegPerS * (1 - torqueNm/m.StallNm) }

// MotorCurrent returns the winding current under a torque: I_0 + (I_s - I_0)·T/T_s.
func (m Motor) MotorCurrent(torqueNm float64) float64 {
	return m.IdleA + (m.StallA-m.IdleA)*torqueNm/m.StallNm
}

// TorqueOf returns the torque of a winding current, the inverse of MotorCurrent.
func (m Motor) TorqueOf(motorA float64) float64 {
	return m.StallNm * (motorA - m.IdleA) / (m.StallA - m.IdleA)
}

// MaxPower returns the greatest mechanical power, W: T_s·ω_0/4, at half the no-load speed.
func (m Motor) MaxPower() float64 { return m.StallNm * m.NoLoadDegPerS * rad / 4 }

// MaxEfficiency returns the greatest efficiency, (1 - √(I_0/I_s))², and the current √(I_0·I_s) it is at.
func (m Motor) MaxEfficiency() (eta, amps float64) {
	k := 1 - math.Sqrt(m.IdleA/m.StallA)
	return k * k, math.Sqrt(m.IdleA * m.StallA)
}

// Resistance returns the winding resistance V/I_s, Ω.
func (m Motor) Resistance() float64 { return m.Volts / m.StallA }

// Use returns the share of the torque at stall that a torque asks for.
func (m Motor) Use(torqueNm float64) float64 { return math.Abs(torqueNm) / m.StallNm }

// Pulse says how a hobby servo turns pulse widths into angles.
type Pulse struct {
	TravelDeg  float64
	MinUS      float64
	MaxUS      float64
	DeadbandUS float64
}

// DegPerUS returns the angle of one microsecond of pulse.
func (p Pulse) DegPerUS() float64 { return p.TravelDeg / (p.MaxUS - p.MinUS) }

// DeadbandDeg returns the dead band, a floor under the reversal error.
func (p Pulse) DeadbandDeg() float64 { return p.DeadbandUS * p.DegPerUS() }

// FrameDelayU returns the standard uncertainty of the delay a pulse frame adds to a command, s: it
// is even over one frame, so 1/(f·√12).
func FrameDelayU(frameHz float64) float64 { return 1 / frameHz / math.Sqrt(12) }
