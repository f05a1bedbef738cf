package virtual

import (
	"math"

	"limbgauge/rig"
)

// motor is the servo's motor with its controller, seen at the output shaft.
//
// Source: the lines of a permanent-magnet motor, T = k_t·I, V = R·I + k_e·ω (any drive text). The
// data sheet's stall torque is what the gears leave, so k_t is a little greater than stall torque over
// stall current.
type motor struct {
	kt, ke, ohm, ohmCold    float64
	idleA                   float64
	perRad, damping, halfDB float64
	duty                    bool // supply current is duty times motor current

	amps, supplyA float64 // of the last steer
}

func newMotor(s Servo) motor {
	stallA := math.Max(s.StallA-s.IdleA, 1e-3)
	m := motor{idleA: s.IdleA, duty: s.Law == rig.CurrentDuty, damping: s.DampingS,
		perRad: 1 / (s.FullDutyDeg * rad)}
	m.ohmCold = s.RatedV / stallA
	m.ohm = m.ohmCold
	m.kt = (s.StallNm + s.GearFrictionNm) / stallA
	m.ke = (s.RatedV - m.ohmCold*s.GearFrictionNm/m.kt) / (s.NoLoadDegPerS * rad)
	m.halfDB = s.DeadbandUS / 2 * s.TravelDeg / float64(s.PulseUS[1]-s.PulseUS[0]) * rad
	return m
}

// steer returns the torque for an error of angle, rad, at a speed and a supply voltage.
func (m *motor) steer(err, speed, volts float64) float64 {
	duty := 0.0
	if err > m.halfDB {
		duty = m.perRad * (err - m.halfDB - m.damping*speed)
	} else if err < -m.halfDB {
		duty = m.perRad * (err + m.halfDB - m.damping*speed)
	}
	if duty > 1 {
		duty = 1
	} else if duty < -1 {
		duty = -1
	}
	// Inside the dead band the bridge shorts the motor, which brakes it.
	m.amps = (duty*volts - m.ke*speed) / m.ohm
	m.supplyA = m.idleA + math.Abs(m.amps)
	if m.duty {
		// The bridge works like a transformer; what it would feed back, the supply does not take.
		m.supplyA = m.idleA + math.Max(0, duty*m.amps)
	}
	return m.kt * m.amps
}

// warm sets the winding's resistance for a rise in temperature. Copper, 0.393 % per K at 20 °C.
func (m *motor) warm(riseK float64) { m.ohm = m.ohmCold * (1 + 0.00393*riseK) }

// transmission is what lies between horn and joint: two spans of belt, and the part that bends.
// Angles and torques are joint side.
//
// Source: statics of a two-span belt (derived): while both spans are taut the belt's stiffness is
// 2·k·r²; at the torque 2·T0·r the loose span carries nothing and half the stiffness is left.
type transmission struct {
	gap        float64 // half of the dead zone, rad
	partGap    float64
	slackGap   float64
	kTaut      float64 // N·m/rad, both spans and the part
	kOne       float64 // one span and the part
	at, width  float64 // deflection at which a span goes slack, and over which, rad
	shift      float64 // makes the rounded curve begin at 0
	damping    float64 // N·m·s/rad
	radius     float64
	kneeShare  float64
	belt       bool
	compliance float64 // rad/N·m while taut
}

func newTransmission(t *Truth) transmission {
	part := math.Max(t.Part.DegPerNm, 1e-4) * rad
	x := transmission{partGap: t.Part.PlayDeg / 2 * rad, compliance: part}
	share := t.Part.Damping
	if b := t.Belt; b != nil {
		c := b.degPerNm() * rad
		x.belt, x.radius, x.kneeShare, share = true, b.jointRadiusM(), b.KneeShare, b.Damping
		x.slackGap = b.SlackDeg / 2 * rad
		x.compliance = part + c
		x.kOne = 1 / (part + 2*c)
	}
	x.kTaut = 1 / x.compliance
	x.gap = x.partGap
	x.damping = 2 * share * math.Sqrt(x.kTaut*t.Load.InertiaKgM2)
	return x
}

// setTension moves the knee to where it lies at a pretension in N.
func (x *transmission) setTension(n float64) {
	x.at = 2 * n * x.radius * x.compliance
	x.width = x.kneeShare * x.at
	x.shift = (x.kTaut - x.kOne) / 2 * (math.Sqrt(x.at*x.at+x.width*x.width) - x.at)
	x.gap = x.partGap
	if n <= 0 {
		x.gap += x.slackGap
	}
}

// torque returns the torque on the joint at a deflection, rad, that changes at a rate.
func (x *transmission) torque(defl, rate float64) float64 {
	a := math.Abs(defl) - x.gap
	if a <= 0 {
		return 0
	}
	m := x.kTaut * a
	if x.belt {
		past := a - x.at
		m += x.shift - (x.kTaut-x.kOne)/2*(past+math.Sqrt(past*past+x.width*x.width))
	}
	return contact(math.Copysign(m, defl), x.damping*rate)
}

func (x *transmission) energy(defl float64) float64 {
	a := math.Abs(defl) - x.gap
	if a <= 0 {
		return 0
	}
	const n = 200 // the curve has no handy integral; midpoints do
	e := 0.0
	for i := range n {
		e += x.torque((x.gap+a*(float64(i)+0.5)/n), 0) * a / n
	}
	return e
}
