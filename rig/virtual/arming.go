package virtual

import (
	"math"

	wire "limbgauge/firmware-protocol"
)

// arm follows section 7 of SPEC.md; the order of its tests is that of section 9.
func (m *machine) arm(a *wire.Arm) refused {
	token := m.token
	m.token = 0 // good once, right or wrong
	if a.Mask == 0 || int(a.Mask)>>len(m.joints) != 0 {
		return refused{wire.CodeNoJoint, wire.NoJoint}
	}
	asked := func(c int) bool { return a.Mask>>c&1 != 0 }
	for c := range m.joints {
		if asked(c) && m.joints[c].plant < 0 {
			return refused{wire.CodeNoJoint, uint8(c)}
		}
	}
	switch m.state {
	case wire.StateTripped:
		return refused{wire.CodeTripped, wire.NoJoint}
	case wire.StateArmed:
		for c := range m.joints {
			if m.joints[c].armed != asked(c) {
				return refused{wire.CodeArmed, uint8(c)}
			}
		}
		return taken // a repeat
	}
	for c := range m.joints {
		if asked(c) && m.joints[c].set == nil {
			return refused{wire.CodeNotSetUp, uint8(c)}
		}
	}
	if m.wall-m.beatAt > wire.HeartbeatTripMS*ms {
		return refused{wire.CodeNoHeartbeat, wire.NoJoint}
	}
	if token == 0 || a.Token != token || m.wall-m.tokenAt > wire.TokenMS*ms {
		return refused{wire.CodeToken, wire.NoJoint}
	}
	for c := range m.joints {
		if asked(c) {
			m.begin(&m.joints[c])
		}
	}
	m.state, m.lowUS = wire.StateArmed, -1
	return taken
}

// begin starts a joint's pulses where its sensor shows it.
func (m *machine) begin(j *joint) {
	s := j.set
	m.deck.channels[j.plant].pulses = pulses{minUS: float64(s.PulseMinUS), maxUS: float64(s.PulseMaxUS),
		minCmd: float64(s.CommandMin), maxCmd: float64(s.CommandMax)}
	m.follow(j, j.sense(m.deck.w.Read(j.plant)))
	m.deck.arm(j.plant, m.deck.channels[j.plant].command)
	j.armed, j.commanded, j.last, j.watch = true, true, 0, newWatch()
}

// follow keeps the command of a limp joint where its pulses would begin: at the angle its sensor shows,
// within the range. The sensor's last two steps do not count, so that the command of a leg at rest is
// at rest. A joint without that sensor keeps its last command, or begins in the middle.
func (m *machine) follow(j *joint, r Reading) {
	ch := &m.deck.channels[j.plant]
	at := float64(r.Angle)
	switch {
	case !r.HasAngle && j.set != nil && !j.commanded:
		at = float64(j.set.RangeMin+j.set.RangeMax) / 2
		ch.command = at
	case !r.HasAngle:
		at = ch.command
	}
	if j.set != nil {
		at = clamp(at, float64(j.set.RangeMin), float64(j.set.RangeMax))
	}
	if quantum := 360_000 / float64(max(1, j.caps.JointCounts)); math.Abs(at-ch.command) > 2*quantum {
		ch.command = at
	}
}

// disarm ends all pulses and moves and leaves the stand in a state.
func (m *machine) disarm(to wire.State) {
	m.state = to
	for c := range m.joints {
		j := &m.joints[c]
		if j.plant >= 0 {
			m.leftAll(uint8(c), m.deck.limp(j.plant))
		}
		j.armed = false
	}
}

func (m *machine) tripNow(reason wire.Reason, channel uint8, value, limit int32) {
	m.disarm(wire.StateTripped)
	m.trip, m.tripJoint = reason, channel
	m.say(&wire.Trip{Reason: reason, Joint: channel, TimeUS: m.nowUS(), Value: value, Limit: limit})
	m.tellStatus(0)
}

func (m *machine) queue(w *wire.Move) refused {
	if int(w.Joint) >= len(m.joints) || m.joints[w.Joint].plant < 0 {
		return refused{wire.CodeNoJoint, w.Joint}
	}
	j := &m.joints[w.Joint]
	ch := &m.deck.channels[j.plant]
	switch {
	case m.state == wire.StateTripped:
		return refused{wire.CodeTripped, wire.NoJoint}
	case m.state != wire.StateArmed:
		return refused{wire.CodeNotArmed, wire.NoJoint}
	case !j.armed:
		return refused{wire.CodeNoJoint, w.Joint}
	case w.Kind == 0 || w.Kind > 7 || w.Segment == 0:
		return refused{wire.CodeValue, w.Joint}
	case w.Segment == j.last:
		return taken // a repeat
	case w.Target < j.set.RangeMin || w.Target > j.set.RangeMax:
		return refused{wire.CodeRange, w.Joint}
	case len(ch.queue) >= m.opt.Queue:
		return refused{wire.CodeQueueFull, w.Joint}
	}
	j.last = w.Segment
	ch.add(move{kind: w.Kind, segment: w.Segment, target: w.Target, rate: w.Rate, dwellMS: w.DwellMS}, m.deck.w.TimeUS())
	return taken
}

// left tells that a move left a joint's queue, after the samples that bear its mark.
func (m *machine) left(channel uint8, g gone) {
	j := &m.joints[channel]
	m.flush(j)
	j.gone++
	m.say(&wire.MoveGone{Joint: channel, How: g.how, Segment: g.segment, Gone: j.gone, TimeUS: m.deviceUS(g.atUS)})
}

func (m *machine) leftAll(channel uint8, all []gone) {
	for _, g := range all {
		m.left(channel, g)
	}
}
