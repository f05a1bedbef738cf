package linktest

import (
	"time"

	wire "limbgauge/firmware-protocol"
)

// arm follows section 7 of SPEC.md; the order of its tests is that of section 9.
func (s *Stand) arm(m *wire.Arm) (wire.Code, uint8) {
	token := s.token
	s.token = 0 // good once, right or wrong
	if m.Mask == 0 || int(m.Mask)>>len(s.joint) != 0 {
		return wire.CodeNoJoint, wire.NoJoint
	}
	if s.state == wire.StateTripped {
		return wire.CodeTripped, wire.NoJoint
	}
	if s.state == wire.StateArmed {
		for j := range s.joint {
			if s.joint[j].armed != (m.Mask>>j&1 != 0) {
				return wire.CodeArmed, uint8(j)
			}
		}
		return 0, 0 // a repeat
	}
	for j := range s.joint {
		if m.Mask>>j&1 != 0 && s.joint[j].set == nil {
			return wire.CodeNotSetUp, uint8(j)
		}
	}
	if time.Since(s.beat) > wire.HeartbeatTripMS*time.Millisecond {
		return wire.CodeNoHeartbeat, wire.NoJoint
	}
	if token == 0 || m.Token != token || time.Since(s.tokenAt) > wire.TokenMS*time.Millisecond {
		return wire.CodeToken, wire.NoJoint
	}
	for i := range s.joint {
		if m.Mask>>i&1 == 0 {
			continue
		}
		j := &s.joint[i]
		j.armed, j.first, j.last, j.over = true, true, 0, -1
		j.command = min(max(s.angle(i), j.set.RangeMin), j.set.RangeMax)
	}
	s.state = wire.StateArmed
	return 0, 0
}

// disarm ends all pulses and queues and leaves the stand in a state.
func (s *Stand) disarm(to wire.State) {
	s.state = to
	for j := range s.joint {
		s.discard(j)
		s.joint[j].armed = false
	}
}

func (s *Stand) tripNow(reason wire.Reason, joint uint8, value, limit int32) {
	s.trip, s.tripJoint = reason, joint
	s.send(&wire.Trip{Reason: reason, Joint: joint, TimeUS: s.deviceUS(s.now()), Value: value, Limit: limit})
	s.disarm(wire.StateTripped)
	s.tellStatus(0)
}

func (s *Stand) queue(m *wire.Move) wire.Code {
	if int(m.Joint) >= len(s.joint) {
		return wire.CodeNoJoint
	}
	j := &s.joint[m.Joint]
	switch {
	case s.state == wire.StateTripped:
		return wire.CodeTripped
	case s.state != wire.StateArmed:
		return wire.CodeNotArmed
	case !j.armed:
		return wire.CodeNoJoint
	case m.Kind == 0 || m.Kind > 7 || m.Segment == 0:
		return wire.CodeValue
	case m.Segment == j.last:
		return 0 // a repeat
	case m.Target < j.set.RangeMin || m.Target > j.set.RangeMax:
		return wire.CodeRange
	case len(j.queue) >= s.cfg.Queue:
		return wire.CodeQueueFull
	}
	j.last = m.Segment
	j.queue = append(j.queue, *m)
	if len(j.queue) == 1 {
		s.begin(j, s.now())
	}
	return 0
}

// begin starts the first move of a queue.
func (s *Stand) begin(j *joint, at time.Duration) {
	j.from, j.moveAt = j.command, at
	m := &j.queue[0]
	if j.first && (m.Rate == 0 || m.Rate > wire.StartRate) {
		m.Rate = wire.StartRate
	}
	j.first = false
}

func (s *Stand) leave(i int, how wire.How) {
	j := &s.joint[i]
	m := j.queue[0]
	j.queue = j.queue[1:]
	j.gone++
	s.flush(i) // the samples of a move come before the word that it is gone
	s.send(&wire.MoveGone{Joint: uint8(i), How: how, Segment: m.Segment, Gone: j.gone, TimeUS: s.deviceUS(s.now())})
}

func (s *Stand) discard(i int) {
	for len(s.joint[i].queue) > 0 {
		s.leave(i, wire.Discarded)
	}
}

// advance brings a joint's command to time t.
func (s *Stand) advance(i int, t time.Duration) {
	j := &s.joint[i]
	for len(j.queue) > 0 {
		m := j.queue[0]
		var travel time.Duration
		way := int64(m.Target) - int64(j.from)
		if m.Rate > 0 {
			travel = time.Duration(max(way, -way) * int64(time.Second) / int64(m.Rate))
		}
		passed := t - j.moveAt
		if passed < 0 {
			return // a sample that was due before the move began
		}
		if passed < travel {
			j.command = j.from + int32(way*int64(passed)/int64(travel))
			return
		}
		j.command = m.Target
		end := j.moveAt + travel + time.Duration(m.DwellMS)*time.Millisecond
		if t < end {
			return
		}
		s.leave(i, wire.Finished)
		if len(j.queue) > 0 {
			s.begin(j, end)
		}
	}
}

func (s *Stand) angle(i int) int32 {
	if s.cfg.Angle != nil {
		return s.cfg.Angle(i, s.joint[i].command)
	}
	return s.joint[i].command
}

func (s *Stand) current(i int) int32 {
	if s.cfg.CurrentMA != nil {
		return s.cfg.CurrentMA(i)
	}
	return 120
}

// turn is one turn of the stand's loop.
func (s *Stand) turn() {
	if !s.met {
		return
	}
	now := s.now()
	silent := time.Since(s.beat)
	if s.state == wire.StateArmed && silent > wire.HeartbeatTripMS*time.Millisecond {
		s.tripNow(wire.ReasonHeartbeat, wire.NoJoint, int32(silent.Milliseconds()), wire.HeartbeatTripMS)
	}
	if silent > wire.QuietAfterMS*time.Millisecond {
		s.period = 0
	}
	for i := range s.joint {
		j := &s.joint[i]
		for s.period > 0 && j.sampled && j.nextAt <= now {
			s.advance(i, j.nextAt)
			s.take(i, j.nextAt)
			j.nextAt += s.period
		}
		s.advance(i, now)
		if j.out.N > 0 && now-j.outAt >= wire.SampleHoldMS*time.Millisecond {
			s.flush(i)
		}
		s.guard(i, now)
	}
	if time.Since(s.status) >= wire.StatusEveryMS*time.Millisecond {
		s.status = time.Now()
		s.tellStatus(0)
	}
}

// guard trips over the current and the range of an armed joint.
func (s *Stand) guard(i int, now time.Duration) {
	j := &s.joint[i]
	if !j.armed {
		return
	}
	if ma := s.current(i); j.set.CurrentMax == 0 || ma <= int32(j.set.CurrentMax) {
		j.over = -1
	} else if j.over < 0 {
		j.over = now
	} else if now-j.over > time.Duration(j.set.OverMS)*time.Millisecond {
		s.tripNow(wire.ReasonCurrent, uint8(i), ma, int32(j.set.CurrentMax))
		return
	}
	const beyond = 3000 // mdeg
	if a := s.angle(i); a < j.set.RangeMin-beyond {
		s.tripNow(wire.ReasonRange, uint8(i), a, j.set.RangeMin)
	} else if a > j.set.RangeMax+beyond {
		s.tripNow(wire.ReasonRange, uint8(i), a, j.set.RangeMax)
	}
}

func (s *Stand) take(i int, at time.Duration) {
	j := &s.joint[i]
	kind, segment := uint8(0), uint16(0)
	if len(j.queue) > 0 {
		kind, segment = j.queue[0].Kind, j.queue[0].Segment
	}
	r := wire.Record{TimeUS: s.deviceUS(at), Command: j.command, Angle: s.angle(i), Current: s.current(i), Supply: 6000}
	if j.out.N > 0 && (j.out.Kind != kind || j.out.Segment != segment || !j.out.Add(j.seq, r)) {
		s.flush(i)
	}
	if j.out.N == 0 {
		j.out.Start(uint8(i), fields, kind, segment)
		j.out.Add(j.seq, r)
		j.outAt = at
	}
	j.seq++
}

// flush sends the samples that wait, or drops them when the line is behind.
func (s *Stand) flush(i int) {
	j := &s.joint[i]
	if j.out.N == 0 {
		return
	}
	if len(s.out) > cap(s.out)/2 {
		j.dropped += uint16(j.out.N)
	} else {
		s.send(&j.out)
	}
	j.out.N = 0
}
