package linktest

import (
	"time"

	wire "limbgauge/firmware-protocol"
)

func (s *Stand) setUp(m *wire.SetupJoint) wire.Code {
	switch {
	case int(m.Joint) >= len(s.joint):
		return wire.CodeNoJoint
	case s.state == wire.StateArmed:
		return wire.CodeArmed
	case m.RangeMin >= m.RangeMax, m.PulseMinUS >= m.PulseMaxUS, m.CommandMin == m.CommandMax:
		return wire.CodeValue
	}
	j := &s.joint[m.Joint]
	j.command = inSense(m, bare(j.set, j.command))
	j.set = m
	return 0
}

// bare returns what the sensor shows at an angle in the joint's own sense; before set-up that is the sensor's.
func bare(set *wire.SetupJoint, angle int32) int32 {
	switch {
	case set == nil:
		return angle
	case set.Flags&wire.JointReversed != 0:
		angle = -angle
	}
	return angle + set.JointZero
}

// inSense is the way back.
func inSense(set *wire.SetupJoint, shown int32) int32 {
	if set.Flags&wire.JointReversed != 0 {
		return set.JointZero - shown
	}
	return shown - set.JointZero
}

func (s *Stand) sample(m *wire.Setup) wire.Code {
	switch {
	case int(m.Mask)>>len(s.joint) != 0:
		return wire.CodeNoJoint
	case s.state == wire.StateArmed:
		return wire.CodeArmed
	case int(m.Hz) > s.cfg.MaxHz:
		return wire.CodeRate
	}
	for j := range s.joint {
		s.flush(j)
		s.joint[j].sampled = m.Hz > 0 && m.Mask>>j&1 != 0
		s.joint[j].nextAt = s.now()
	}
	s.period = 0
	if m.Hz > 0 {
		s.period = time.Second / time.Duration(m.Hz)
	}
	return 0
}

func (s *Stand) tellChange(was wire.State) {
	if s.state != was {
		s.tellStatus(0)
	}
}

func (s *Stand) tellStatus(tag uint8) {
	m := wire.Status{Tag: tag, State: s.state, Trip: s.trip, TripJoint: s.tripJoint, TimeUS: s.deviceUS(s.now()),
		BadFrames: uint16(s.drops() - s.badAt), Joints: len(s.joint)}
	for i := range s.joint {
		j := &s.joint[i]
		st := wire.JointStatus{Free: uint8(s.cfg.Queue - len(j.queue)), Gone: j.gone, Seq: j.seq, Dropped: j.dropped}
		if j.set != nil {
			st.Flags |= wire.JointSetUp
		}
		if j.armed {
			st.Flags |= wire.JointArmed
		}
		if len(j.queue) > 0 {
			st.Segment = j.queue[0].Segment
		}
		m.Joint[i] = st
	}
	s.send(&m)
}
