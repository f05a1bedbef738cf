package virtual

import (
	"cmp"
	"math"
	"math/rand/v2"

	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
)

// Reading is what the sensors of one joint show at one moment, in the units of the wire.
type Reading struct {
	Angle, Motor       int32 // mdeg
	HasAngle, HasMotor bool
	Current            int32 // mA
	Supply             int32 // mV
	Temp               int32 // 0.01 °C
	HasTemp            bool
}

// sensing is the state of one joint's sensors.
type sensing struct {
	rnd          *rand.Rand
	joint, motor encoder
	armedS       float64
}

// encoder is one angle sensor at work.
type encoder struct {
	Encoder
	last  int32
	lastS float64
	seen  bool
	turns float64 // deg, whole turns that a sensor which was just switched on does not know of
}

func newSensing(t Truth) sensing {
	return sensing{rnd: rand.New(rand.NewPCG(t.Seed, 0x73656e73)), armedS: -1,
		joint: encoder{Encoder: t.Sensors.Joint}, motor: encoder{Encoder: t.Sensors.Motor}}
}

// magnet is what the sensor says of its magnet.
func (e Encoder) magnet() wire.Magnet {
	if e.Counts == 0 {
		return wire.MagnetUnknown
	}
	return cmp.Or(e.Magnet, wire.MagnetGood)
}

// read returns the reading at an angle in rad.
func (e *encoder) read(angle, armedS float64, rnd *rand.Rand) (mdeg int32, ok bool) {
	if e.Counts <= 0 {
		return 0, false
	}
	deg := e.ZeroDeg + (1+e.ScaleError)*angle/rad + e.Wave1Deg*math.Sin(angle+e.Phase1Deg*rad) + e.Wave2Deg*math.Sin(2*angle+e.Phase2Deg*rad)
	deg += e.NoiseDeg * rnd.NormFloat64()
	f := e.Fault
	if f.Kind != Sound && armedS >= f.FromS && (f.ToS == 0 || armedS < f.ToS) {
		switch f.Kind {
		case Silent:
			return 0, false
		case Frozen:
			if e.seen {
				return e.last, true
			}
		case Noisy:
			deg += f.SizeDeg * rnd.NormFloat64()
		case Jumping:
			if rnd.Float64() < f.PerS*(armedS-e.lastS) {
				deg += math.Copysign(f.SizeDeg, rnd.Float64()-0.5)
			}
		}
	}
	if deg = e.Mount.Reading(deg); !e.seen {
		// Within half a turn of its own 0 at power-up, carried on from there (SPEC.md, section 5).
		e.turns = 360 * math.Round(deg/360)
	}
	deg -= e.turns
	e.lastS, e.seen = armedS, true
	e.last = int32(math.Round(math.Round(deg*float64(e.Counts)/360) * 360000 / float64(e.Counts)))
	return e.last, true
}

// in turns bare readings into the joint's own sense.
func (r Reading) in(s rig.Sensors) Reading {
	turn := func(reading int32, m rig.Mount) int32 {
		return int32(math.Round(m.Angle(float64(reading)/1000) * 1000))
	}
	r.Angle, r.Motor = turn(r.Angle, s.Joint()), turn(r.Motor, s.Motor())
	return r
}

// Read takes a reading of a joint. Each reading draws on the joint's random numbers.
func (w *World) Read(joint int) Reading {
	p := w.plants[joint]
	s, x := &p.sense, p.truth.Sensors
	var r Reading
	r.Angle, r.HasAngle = s.joint.read(p.theta, s.armedS, s.rnd)
	r.Motor, r.HasMotor = s.motor.read(p.h, s.armedS, s.rnd)
	r.Current = int32(math.Round(1000 * ((1+x.CurrentGainError)*p.shunt + x.CurrentOffsetA + x.CurrentNoiseA*s.rnd.NormFloat64())))
	const quantum = 4 // mV, one step of a 12-bit supply monitor
	r.Supply = quantum * int32(math.Round(1000*((1+x.SupplyGainError)*w.volts+x.SupplyOffsetV+x.SupplyNoiseV*s.rnd.NormFloat64())/quantum))
	r.Supply = max(0, r.Supply)
	if x.Temp {
		r.Temp, r.HasTemp = int32(math.Round(p.tempC*100)), true
	}
	return r
}
