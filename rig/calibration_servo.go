package rig

import (
	"math"
)

// PulseMap says where the servo really goes for a pulse, apart for rising and falling pulses: two
// straight lines, angle = Deg + DegPerUS·(pulse - AtUS), at the joint.
type PulseMap struct {
	Made
	AtUS     float64
	Up, Down PulseLine
	GapDeg   float64 // Up less Down at AtUS, in degrees: dead band, play and friction together
	GapDegU  float64
	// SideDeg is half the step where the link hangs down, at DownDeg: play and dead band under its own
	// weight. It is no part of where the servo goes; 0 when none was seen.
	SideDeg, SideDegU, DownDeg float64
	ResidualSD                 float64 // deg, of both lines together
	Freedom                    int
	FromUS                     float64
	ToUS                       float64
	WithinDeg                  float64
	Points                     []PulsePoint
}

// sideDeg is how near hanging down it is not known to which side a link falls.
const sideDeg = 1.0

// PulseSide returns on which side of hanging down an angle lies: -1, 1, or 0 close to it.
func PulseSide(angleDeg, downDeg float64) float64 {
	switch d := angleDeg - downDeg; {
	case d > sideDeg:
		return 1
	case d < -sideDeg:
		return -1
	}
	return 0
}

// At returns the angle the map gives for a point, with the step of its side.
func (p *PulseMap) At(q *PulsePoint) float64 {
	l := p.Line(q.Direction)
	return l.Deg + l.DegPerUS*(q.PulseUS-p.AtUS) + p.SideDeg*PulseSide(q.AngleDeg, p.DownDeg)
}

// PulseLine is one direction of a PulseMap.
type PulseLine struct {
	Deg, DegU           float64
	DegPerUS, DegPerUSU float64
}

// PulsePoint is one stop: a pulse, the side it was reached from (+1 by rising pulses), and the angle.
type PulsePoint struct {
	PulseUS    float64
	Direction  int
	ReadingDeg float64 // as the sensor shows it
	AngleDeg   float64 // corrected by the same calibration's joint angle, where it has one
	SD         float64
	N          int
	Residual   float64
}

// Line returns the line of a direction.
func (p *PulseMap) Line(direction int) PulseLine {
	if direction < 0 {
		return p.Down
	}
	return p.Up
}

// Angle returns where the joint goes for a pulse, midway between both directions.
func (p *PulseMap) Angle(us float64) float64 {
	x := us - p.AtUS
	return (p.Up.Deg + p.Down.Deg + (p.Up.DegPerUS+p.Down.DegPerUS)*x) / 2
}

// PulseOf returns the pulse in µs that a stand makes for a command: the servo's pulses span its
// travel with the middle at joint angle 0.
func (j Joint) PulseOf(commandDeg float64) float64 {
	lo, hi := float64(j.Servo.PulseUS[0]), float64(j.Servo.PulseUS[1])
	return (lo+hi)/2 + commandDeg*j.Ratio()*(hi-lo)/j.Servo.TravelDeg
}

// TorqueScale says which current flows at standstill under a torque at the servo's shaft:
// IdleA + Scale·T for CurrentMotor (A/N·m), IdleA + Scale·T² for CurrentDuty (A/(N·m)²).
type TorqueScale struct {
	Made
	Law           CurrentLaw // CurrentUnknown when the points do not decide; then Scale is 0
	Scale, ScaleU float64
	IdleA, IdleAU float64
	ResidualSD    float64 // A
	Freedom       int
	Undecided     string // why Law is unknown
	Points        []TorquePoint
}

// TorquePoint is the current under one weight at one angle.
type TorquePoint struct {
	TorqueNm float64 // at the servo's shaft, signed
	MassKg   float64 // 0 where the torque was stated itself
	LeverM   float64
	AngleDeg float64 // from hanging straight down
	ReadingA float64
	CurrentA float64 // corrected by the same calibration's current, where it has one
	SD       float64
	N        int
	Residual float64
}

// Current returns the current the scale gives for a torque.
func (t *TorqueScale) Current(torqueNm float64) float64 {
	if t.Law == CurrentDuty {
		return t.IdleA + t.Scale*torqueNm*torqueNm
	}
	return t.IdleA + t.Scale*math.Abs(torqueNm)
}
