package virtual

import (
	"math/rand/v2"
	"time"

	wire "limbgauge/firmware-protocol"
)

const ms = time.Millisecond

// machine is the stand's side of firmware-protocol/SPEC.md, a pure state machine: bytes and times go
// in, frames come out, the world moves on. Two times rule it. The world's own is that of samples and
// moves. The wall's is that of the heartbeat and all that guards against a dead host; in real time the
// two run alike.
type machine struct {
	opt  Options
	deck *deck
	// emit takes a frame and says whether there was room for it.
	emit func(frame []byte) bool
	line mangler
	sent *int64 // samples that left whole
	enc  wire.Encoder
	dec  wire.Decoder
	buf  []byte

	met       bool // hello was said by a host of our version
	state     wire.State
	trip      wire.Reason
	tripJoint uint8
	reason    wire.Reason // why it last restarted
	token     uint16
	lastToken uint16
	tokenAt   time.Duration // wall
	beatAt    time.Duration // wall
	wall      time.Duration
	badAt     int // broken frames before hello
	hz        int // 0: no sampling
	tick      sampleClock
	statusUS  int64 // when the next status of its own is due
	lowUS     int64 // since when the supply is too low, -1: it is not
	joints    []joint
}

// joint is one of the stand's channels.
type joint struct {
	plant int // -1: nothing is connected
	caps  wire.JointCaps
	set   *wire.SetupJoint
	armed bool
	// commanded says that it was armed since power-up, so that it has a last command.
	commanded bool
	last      uint16 // last segment taken since arming
	gone      uint16
	sampled   bool
	seq       uint16
	dropped   uint16
	out       wire.Samples
	outUS     int64
	watch     watch
}

// watchHz is how often the sensors are read for the rules' sake when nobody asked for samples.
const watchHz = 250

func newMachine(opt Options, w *World) *machine {
	m := &machine{opt: opt, deck: newDeck(w), reason: wire.ReasonPowerUp, lowUS: -1}
	m.line = mangler{Line: w.line, rnd: rand.New(rand.NewPCG(opt.Truths[0].Seed, 0x6c696e65))}
	m.tick = newSampleClock(opt.Truths[0].Seed)
	n := 0
	for _, j := range opt.Joints {
		n = max(n, j.Channel+1)
	}
	m.joints = make([]joint, n)
	for c := range m.joints {
		m.joints[c].plant = -1
	}
	for i, j := range opt.Joints {
		m.joints[j.Channel].plant = i
		m.joints[j.Channel].caps = capsOf(opt.Truths[i].Sensors)
	}
	m.deck.onGone = func(plant int, g gone) { m.left(uint8(opt.Joints[plant].Channel), g) }
	m.restart()
	return m
}

func capsOf(s Sensors) wire.JointCaps {
	c := wire.JointCaps{Has: wire.HasCurrent | wire.HasSupply | wire.HasServo,
		JointCounts: uint32(s.Joint.Counts), MotorCounts: uint32(s.Motor.Counts)}
	if s.Joint.Counts > 0 {
		c.Has |= wire.HasAngle
	}
	if s.Motor.Counts > 0 {
		c.Has |= wire.HasMotor
	}
	if s.Temp {
		c.Has |= wire.HasTemp
	}
	return c
}

// restart brings the stand into the state after power-up, hello and bye.
func (m *machine) restart() {
	m.state, m.trip, m.tripJoint, m.token, m.met = wire.StateDisarmed, wire.ReasonNone, wire.NoJoint, 0, false
	m.badAt = m.dec.Drops().Total()
	for c := range m.joints {
		j := &m.joints[c]
		if j.plant >= 0 {
			m.deck.limp(j.plant) // its moves go without a word: all counts begin anew
		}
		*j = joint{plant: j.plant, caps: j.caps, commanded: j.commanded}
	}
	m.setRate(0)
}

// opened is what a board does when its port is opened: it restarts, and says so.
func (m *machine) opened() {
	m.restart()
	m.reason = wire.ReasonReset
	m.dec = wire.Decoder{}
	m.badAt = 0
	m.say(m.hello(0))
}

func (m *machine) setRate(hz int) {
	m.hz = hz
	if hz == 0 {
		hz = watchHz
	}
	m.tick.start(m.deck.w.TimeUS(), float64(hz))
}

// deviceUS turns the world's time into the wire's.
func (m *machine) deviceUS(us int64) uint32 { return m.opt.StartUS + uint32(us) }

func (m *machine) nowUS() uint32 { return m.deviceUS(m.deck.w.TimeUS()) }

// say sends a message; it is false when there was no room.
func (m *machine) say(msg wire.Message) bool {
	frame, err := m.enc.Append(m.buf[:0], msg)
	if err != nil {
		// Only a reading beyond the wire's range can do this, as of a joint flung about.
		return false
	}
	m.buf = frame
	if frame = m.line.frame(frame); frame == nil {
		return true // lost on the way, which no stand can know
	}
	return m.emit(frame)
}

// busy says whether a move is under way.
func (m *machine) busy() bool { return m.deck.moving() }

// receive takes bytes that arrived at a time of the wall.
func (m *machine) receive(chunk []byte, wall time.Duration) {
	m.wall = max(m.wall, wall)
	for len(chunk) > 0 {
		var body []byte
		if body, chunk = m.dec.Next(chunk); body != nil {
			m.handle(body)
		}
	}
}

// judge applies the rules that guard against a dead host. Call it when all that arrived was received.
func (m *machine) judge(wall time.Duration) {
	m.wall = max(m.wall, wall)
	silent := m.wall - m.beatAt
	if m.state == wire.StateArmed && silent > wire.HeartbeatTripMS*ms {
		m.tripNow(wire.ReasonHeartbeat, wire.NoJoint, int32(silent/ms), wire.HeartbeatTripMS)
	}
	if m.hz > 0 && silent > wire.QuietAfterMS*ms {
		m.stopSampling()
	}
}

// advance lets the world run to a time and sends what falls due.
func (m *machine) advance(toUS int64) {
	for {
		next := min(toUS, m.tick.next)
		if m.met {
			next = min(next, m.statusUS)
		}
		m.deck.advance(next)
		if next == m.tick.next {
			m.sample()
			m.tick.step()
		}
		if m.met && next == m.statusUS {
			m.tellStatus(0)
		}
		if next == toUS {
			break
		}
	}
	for c := range m.joints {
		if j := &m.joints[c]; j.out.N > 0 && toUS-j.outUS >= wire.SampleHoldMS*1000 {
			m.flush(j)
		}
	}
}

func (m *machine) nowWorldUS() int64                   { return m.deck.w.TimeUS() }
func (m *machine) sendTo(emit func(frame []byte) bool) { m.emit = emit }
