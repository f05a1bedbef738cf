package virtual

import (
	"cmp"
	"errors"
	"math/rand/v2"

	wire "limbgauge/firmware-protocol"
)

// refused says why a message changes nothing; the joint is the one it is about, or wire.NoJoint.
type refused struct {
	code  wire.Code
	joint uint8
}

var taken = refused{0, wire.NoJoint}

// handle answers one message of the host.
func (m *machine) handle(body []byte) {
	typ, tag := wire.Type(body[0]), uint8(0)
	if len(body) > 1 {
		tag = body[1]
	}
	answer := func(r refused) {
		if r.code == 0 {
			m.say(&wire.Ack{Tag: tag, Of: typ})
			return
		}
		m.say(&wire.Refusal{Tag: tag, Of: typ, Code: r.code, Joint: r.joint})
	}
	var msg wire.Message
	err := errors.New("not a host's message")
	if typ.FromHost() && wire.New(typ) != nil {
		msg, err = wire.Parse(body)
	}
	if h, ok := msg.(*wire.HelloAsk); ok && err == nil {
		m.restart()
		m.met = h.Major == wire.Major
		m.beatAt, m.statusUS = m.wall, m.deck.w.TimeUS()+wire.StatusEveryMS*1000
		m.say(m.hello(h.Nonce))
		return
	}
	switch {
	case !m.met:
		answer(refused{wire.CodeNoHello, wire.NoJoint})
		return
	case msg == nil:
		answer(refused{wire.CodeUnknown, wire.NoJoint})
		return
	case err != nil:
		answer(refused{wire.CodeMalformed, wire.NoJoint})
		return
	}
	was := m.state
	switch msg := msg.(type) {
	case *wire.Heartbeat:
		m.beatAt = m.wall
	case *wire.ClockAsk:
		m.say(&wire.Clock{Tag: tag, TimeUS: m.nowUS()})
	case *wire.StatusAsk:
		m.tellStatus(tag)
	case *wire.SetupJoint:
		answer(m.setUp(msg))
	case *wire.Setup:
		answer(m.setSampling(msg))
	case *wire.ArmAsk:
		m.say(&wire.ArmToken{Tag: tag, Token: m.newToken()})
	case *wire.Arm:
		answer(m.arm(msg))
	case *wire.Disarm:
		m.disarm(wire.StateDisarmed)
		m.trip, m.tripJoint = wire.ReasonNone, wire.NoJoint
		answer(taken)
	case *wire.Move:
		answer(m.queue(msg))
	case *wire.Stop:
		for c := range m.joints {
			if j := &m.joints[c]; msg.Mask>>c&1 != 0 && j.plant >= 0 {
				m.leftAll(uint8(c), m.deck.channels[j.plant].stop(m.deck.w.TimeUS()))
			}
		}
		answer(taken)
	case *wire.Bye:
		m.disarm(wire.StateDisarmed)
		answer(taken)
		m.restart()
		return
	}
	if m.state != was {
		m.tellStatus(0)
	}
}

func (m *machine) hello(nonce uint16) *wire.Hello {
	h := &wire.Hello{Major: wire.Major, Minor: wire.Minor, Nonce: nonce, Firmware: [3]uint8{1, 0, 0}, Reset: m.reason,
		Queue: uint8(m.opt.Queue), MaxHz: uint16(m.opt.MaxHz), Joints: len(m.joints), Name: m.opt.Name}
	for c := range m.joints {
		h.Joint[c] = m.joints[c].caps
	}
	return h
}

// newToken makes a token that is not 0, differs from the last, and can not be foretold.
func (m *machine) newToken() uint16 {
	for m.token = m.lastToken; m.token == m.lastToken || m.token == 0; {
		m.token = uint16(rand.IntN(1 << 16))
	}
	m.lastToken, m.tokenAt = m.token, m.wall
	return m.token
}

func (m *machine) setUp(s *wire.SetupJoint) refused {
	switch {
	case int(s.Joint) >= len(m.joints) || m.joints[s.Joint].plant < 0:
		return refused{wire.CodeNoJoint, s.Joint}
	case m.state == wire.StateArmed:
		return refused{wire.CodeArmed, s.Joint}
	case s.FrameHz != 0 && (s.FrameHz < wire.MinFrameHz || s.FrameHz > wire.MaxFrameHz), !m.sameFrame(s):
		return refused{wire.CodeFrame, s.Joint}
	case s.RangeMin >= s.RangeMax, s.PulseMinUS >= s.PulseMaxUS, int(s.PulseMaxUS) > wire.LongestPulseUS(int(cmp.Or(s.FrameHz, ownFrameHz))), s.CommandMin == s.CommandMax:
		return refused{wire.CodeValue, s.Joint}
	}
	m.joints[s.Joint].set = s
	m.deck.frame(int(s.FrameHz))
	return taken
}

// sameFrame says whether a joint asks for the rate that the others asked for: one clock makes all pulses, as on a
// small board. No rate beside a stated one is refused whatever that is: it would pass here at 250 and at a board at 50.
func (m *machine) sameFrame(s *wire.SetupJoint) bool {
	for c := range m.joints {
		if other := m.joints[c].set; c != int(s.Joint) && other != nil && other.FrameHz != s.FrameHz {
			return false
		}
	}
	return true
}

func (m *machine) setSampling(s *wire.Setup) refused {
	switch {
	case int(s.Mask)>>len(m.joints) != 0:
		return refused{wire.CodeNoJoint, wire.NoJoint}
	case m.state == wire.StateArmed:
		return refused{wire.CodeArmed, wire.NoJoint}
	case int(s.Hz) > m.opt.MaxHz:
		return refused{wire.CodeRate, wire.NoJoint}
	}
	m.stopSampling()
	for c := range m.joints {
		m.joints[c].sampled = s.Hz > 0 && s.Mask>>c&1 != 0
	}
	m.setRate(int(s.Hz))
	return taken
}

// stopSampling sends what still waits and takes no more.
func (m *machine) stopSampling() {
	for c := range m.joints {
		m.flush(&m.joints[c])
		m.joints[c].sampled = false
	}
	m.setRate(0)
}

func (m *machine) tellStatus(tag uint8) {
	m.statusUS = m.deck.w.TimeUS() + wire.StatusEveryMS*1000
	st := wire.Status{Tag: tag, State: m.state, Trip: m.trip, TripJoint: m.tripJoint, TimeUS: m.nowUS(),
		BadFrames: uint16(m.dec.Drops().Total() - m.badAt), Joints: len(m.joints)}
	for c := range m.joints {
		j := &m.joints[c]
		s := wire.JointStatus{Free: uint8(m.opt.Queue), Gone: j.gone, Seq: j.seq, Dropped: j.dropped}
		if j.plant >= 0 {
			ch := &m.deck.channels[j.plant]
			s.Free -= uint8(len(ch.queue))
			_, s.Segment = ch.mark()
		}
		if j.set != nil {
			s.Flags |= wire.JointSetUp
		}
		if j.armed {
			s.Flags |= wire.JointArmed
		}
		if j.plant >= 0 {
			x := m.opt.Truths[j.plant].Sensors
			s.Flags = s.Flags.WithMagnets(x.Joint.magnet(), x.Motor.magnet())
		}
		st.Joint[c] = s
	}
	m.say(&st)
}
