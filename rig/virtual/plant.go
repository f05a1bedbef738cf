package virtual

import (
	"math"

	"limbgauge/rig"
)

// plant is one joint in motion. Angles are rad; phi and h on the motor side, theta at the joint.
type plant struct {
	truth Truth

	// State.
	phi, wPhi float64 // drive
	h, wH     float64 // horn and motor-side pulley
	theta, w  float64 // joint
	gears     bristle
	bearing   bristle
	live      bool    // pulses come
	armed     int64   // step of the world at the first pulse, -1 before
	target    float64 // what they ask of the drive
	supplyA   float64 // drawn in the last step
	motorA    float64
	torque    float64 // carried by the transmission, joint side, N·m
	shunt     float64 // supply current as the current sensor averages it
	grip      grip    // how a hand holds it

	// Reckoned by slow.
	motor      motor
	trans      transmission
	sin0, cos0 float64 // of the load's angle at theta0
	theta0     float64
	hunt       float64
	tempC      float64
	tension    float64
	creep      creep
	slips      slips
	sense      sensing

	// Constants.
	kMesh, cMesh, halfPlay float64
	iPhi, iH, iLoad        float64 // inverse inertias
	mgl, viscous, invRatio float64
	down                   float64
	phiMin, phiMax         float64
	stopMin, stopMax       float64
}

// Where a limp leg would fall out of its range, the stand props it a little beyond the range's end. The
// prop gives by a degree under about 2 N·m, and swallows most of a blow.
const (
	stopBeyondDeg = 1.5
	stopK, stopC  = 120.0, 0.4 // N·m/rad, N·m·s/rad
)

// hornInertia is that of horn, pulley and last gear, kg·m². It is small against the load's, and as
// large as the integration's step allows.
const hornInertia = 3e-5

func newPlant(t Truth) *plant {
	p := &plant{truth: t, armed: -1, tempC: t.Servo.AmbientC, invRatio: 1}
	if t.Belt != nil {
		belt := *t.Belt // the truth stays the caller's
		p.truth.Belt = &belt
		p.invRatio = 1 / belt.Ratio
	}
	s := t.Servo
	p.motor = newMotor(s)
	p.kMesh = 1 / (math.Max(s.MeshDegPerNm, 1e-3) * rad)
	p.cMesh = 2 * 0.1 * math.Sqrt(p.kMesh*hornInertia)
	p.halfPlay = s.PlayDeg / 2 * rad
	p.iPhi, p.iH, p.iLoad = 1/s.InertiaKgM2, 1/hornInertia, 1/t.Load.InertiaKgM2
	p.mgl, p.viscous, p.down = t.Load.MassKg*rig.Gravity*t.Load.LeverM, t.Bearing.ViscousNmSPerRad, t.Load.DownDeg*rad
	p.phiMin, p.phiMax = -s.TravelDeg/2*rad, s.TravelDeg/2*rad
	p.stopMin, p.stopMax = math.Inf(-1), math.Inf(1)
	if r := t.Load.RangeDeg; r[1] > r[0] {
		if t.Load.DownDeg < r[0] {
			p.stopMin = (r[0] - stopBeyondDeg) * rad
		}
		if t.Load.DownDeg > r[1] {
			p.stopMax = (r[1] + stopBeyondDeg) * rad
		}
	}
	p.gears = newBristle(s.InertiaKgM2)
	p.gears.set(s.GearFrictionNm)
	p.bearing = newBristle(t.Load.InertiaKgM2)
	p.trans = newTransmission(&p.truth)
	p.creep = newCreep(t.Part)
	p.slips = newSlips(&p.truth)
	p.sense = newSensing(t)
	p.shunt, p.supplyA = s.IdleA, s.IdleA

	p.h = clamp((clamp(p.down, p.stopMin, p.stopMax)-p.slips.offset)/p.invRatio, p.phiMin, p.phiMax)
	p.phi = p.h
	p.theta = p.h*p.invRatio + p.slips.offset
	p.slow(-1)
	return p
}

// shaftAt returns the angle a pulse width asks of the servo's shaft.
func (p *plant) shaftAt(us float64) float64 {
	s := p.truth.Servo
	lo, hi := float64(s.PulseUS[0]), float64(s.PulseUS[1])
	return clamp((us-(lo+hi)/2-s.MiddleUS)*(1+s.TravelError)*s.TravelDeg/(hi-lo)*rad, p.phiMin, p.phiMax)
}

// step moves the joint by dt at a supply voltage and returns the current it draws. Velocities first,
// positions with the new velocities (semi-implicit Euler).
func (p *plant) step(volts float64) float64 {
	if p.grip.jig || p.grip.plug {
		return p.still()
	}
	drive := 0.0
	p.motorA, p.supplyA = 0, p.motor.idleA
	if p.live {
		at := p.phi
		if p.truth.Servo.SenseOutput {
			at = p.h
		}
		drive = p.motor.steer(p.target+p.hunt-at, p.wPhi, volts)
		p.motorA, p.supplyA = p.motor.amps, p.motor.supplyA
	}

	mesh := 0.0
	d, v := p.phi-p.h, p.wPhi-p.wH
	if d > p.halfPlay {
		mesh = contact(p.kMesh*(d-p.halfPlay), p.cMesh*v)
	} else if d < -p.halfPlay {
		mesh = contact(p.kMesh*(d+p.halfPlay), p.cMesh*v)
	}

	m := p.trans.torque(p.h*p.invRatio+p.slips.offset-p.creep.sum-p.theta, p.wH*p.invRatio+p.slips.rate-p.w)
	p.torque = m

	x := p.theta - p.theta0 // small: the sine by its series about theta0
	load := -p.mgl * (p.sin0*(1-x*x/2) + p.cos0*x)

	if p.theta > p.stopMax {
		load += contact(-stopK*(p.theta-p.stopMax), -stopC*p.w)
	} else if p.theta < p.stopMin {
		load += contact(-stopK*(p.theta-p.stopMin), -stopC*p.w)
	}

	p.wPhi += dt * p.iPhi * (drive - mesh - p.gears.force(p.wPhi))
	p.wH += dt * p.iH * (mesh - m*p.invRatio)
	p.w += dt * p.iLoad * (m + load - p.viscous*p.w - p.bearing.force(p.w))

	p.phi += dt * p.wPhi
	p.h += dt * p.wH
	p.theta += dt * p.w
	p.slips.offset += dt * p.slips.rate
	p.gears.move(dt * p.wPhi)
	p.bearing.move(dt * p.w)
	if p.phi > p.phiMax {
		p.phi, p.wPhi = p.phiMax, math.Min(0, p.wPhi)
	} else if p.phi < p.phiMin {
		p.phi, p.wPhi = p.phiMin, math.Max(0, p.wPhi)
	}
	p.shunt += (p.supplyA - p.shunt) * shuntShare
	return p.supplyA
}

// shuntShare makes the current sensor average over half a millisecond, as a 12-bit shunt monitor does.
const shuntShare = dt / 0.5e-3

// slow reckons what changes slowly, once each slowSteps. armedS is the time since the joint was first
// armed, negative before.
func (p *plant) slow(armedS float64) {
	p.theta0 = p.theta
	p.sin0, p.cos0 = math.Sincos(p.theta - p.down)
	b := p.truth.Bearing
	friction := b.CoulombNm
	if b.TightNm != 0 {
		x := (p.theta/rad - b.TightDeg) / b.TightWidthDeg
		friction += b.TightNm * math.Exp(-x*x)
	}
	p.bearing.set(friction)
	p.creep.advance(p.torque)
	if belt := p.truth.Belt; belt != nil {
		belt.AgeS += slowDT
		p.tension = math.Max(0, belt.TensionAt(belt.AgeS)-belt.LossNPerDeg*math.Abs(p.creep.sum)/rad)
		p.trans.setTension(p.tension)
	}
	s := p.truth.Servo
	if s.HeatKPerW > 0 && s.HeatS > 0 {
		p.tempC += slowDT / s.HeatS * (p.motorA*p.motorA*p.motor.ohm*s.HeatKPerW - (p.tempC - s.AmbientC))
		p.motor.warm(p.tempC - s.AmbientC)
	}
	p.hunt = 0
	if s.HuntDeg != 0 && armedS >= 0 {
		p.hunt = s.HuntDeg * rad * math.Sin(2*math.Pi*s.HuntHz*armedS)
	}
	p.slips.advance(p, armedS)
	p.sense.armedS = armedS
}

// pull returns the direction in which the load turns the joint: +1 to greater angles.
func (p *plant) pull() float64 {
	if math.Abs(p.sin0) < 0.02 && p.torque != 0 {
		return -math.Copysign(1, p.torque)
	}
	return -math.Copysign(1, p.sin0)
}

func (p *plant) energy() float64 {
	e := p.wPhi*p.wPhi/p.iPhi/2 + p.wH*p.wH/p.iH/2 + p.w*p.w/p.iLoad/2
	e += p.mgl * (1 - math.Cos(p.theta-p.down))
	if d := math.Abs(p.phi-p.h) - p.halfPlay; d > 0 {
		e += p.kMesh * d * d / 2
	}
	for _, d := range []float64{p.theta - p.stopMax, p.stopMin - p.theta} {
		if d > 0 {
			e += stopK * d * d / 2
		}
	}
	e += p.trans.energy(p.h*p.invRatio + p.slips.offset - p.creep.sum - p.theta)
	return e + p.gears.energy() + p.bearing.energy()
}

// contact adds damping to an elastic contact without letting it pull.
func contact(elastic, damping float64) float64 {
	if math.Abs(damping) > math.Abs(elastic) {
		damping = math.Copysign(elastic, damping)
	}
	return elastic + damping
}

func clamp(v, lo, hi float64) float64 { return math.Max(lo, math.Min(hi, v)) }
