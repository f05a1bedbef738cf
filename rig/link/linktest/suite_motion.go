package linktest

import (
	wire "limbgauge/firmware-protocol"
)

func testMoves(b *bench) {
	b.armed()
	b.want(0, b.move(1, 10000, 0, 200)) // the first move starts slowly, even "at once"
	b.want(0, b.move(2, -10000, 60000, 100))
	for s := uint16(1); s <= 2; s++ {
		if g := b.gone(s); g.How != wire.Finished || g.Gone != s {
			b.t.Errorf("move %d: how %d, %d gone; want finished and %d", s, g.How, g.Gone, s)
		}
	}
	b.samplesRun(b.ch, 1)
	seen := map[uint16]int{}
	var last wire.Record
	end := map[uint16]int32{}
	for i, m := range b.got(b.ch) {
		for k, r := range m.Rec[:m.N] {
			if (i > 0 || k > 0) && m.Segment == 1 {
				// A step of mdeg at a rate of mdeg/s, with the rounding of both ends.
				most := int64(r.TimeUS-last.TimeUS)*wire.StartRate/1_000_000 + 50
				if step := int64(r.Command - last.Command); step > most || step < -most {
					b.t.Errorf("first move: command went %d mdeg in %d us, at most %d allowed", step, r.TimeUS-last.TimeUS, most)
				}
			}
			last = r
			seen[m.Segment]++
			end[m.Segment] = r.Command
			if want := uint8(2); m.Segment != 0 && m.Kind != want || m.Segment == 0 && m.Kind != 0 {
				b.t.Errorf("sample of segment %d has kind %d", m.Segment, m.Kind)
			}
		}
	}
	if end[1] != b.middle+10000 || end[2] != b.middle-10000 {
		b.t.Errorf("commands at the ends of the moves: %d and %d mdeg, want %d and %d", end[1], end[2], b.middle+10000, b.middle-10000)
	}
	if seen[1] < b.opt.Hz/10 || seen[2] < b.opt.Hz/10 {
		b.t.Errorf("%d and %d samples of the two moves", seen[1], seen[2])
	}
}

func testRepeat(b *bench) {
	b.armed()
	b.want(0, b.move(7, 2000, 0, 50))
	b.want(0, b.move(7, 2000, 0, 50)) // as a host sends again what was not answered
	b.gone(7)
	if s := b.status(); s.Joint[b.ch].Gone != 1 || s.Joint[b.ch].Segment != 0 {
		b.t.Errorf("%d moves gone, segment %d running; want 1 and none", s.Joint[b.ch].Gone, s.Joint[b.ch].Segment)
	}
}

func testRange(b *bench) {
	h := b.armed()
	j := b.opt.Joints[0]
	move := func(change func(*wire.Move)) func(uint8) wire.Message {
		return func(tag uint8) wire.Message {
			m := b.move(9, 0, 0, 0)(tag).(*wire.Move)
			change(m)
			return m
		}
	}
	b.want(wire.CodeRange, move(func(m *wire.Move) { m.Target = int32(j.RangeDeg[1]*1000) + 1 }))
	b.want(wire.CodeRange, move(func(m *wire.Move) { m.Target = int32(j.RangeDeg[0]*1000) - 1 }))
	b.want(wire.CodeValue, move(func(m *wire.Move) { m.Kind = 0 }))
	b.want(wire.CodeValue, move(func(m *wire.Move) { m.Kind = 200 }))
	b.want(wire.CodeValue, move(func(m *wire.Move) { m.Segment = 0 }))
	b.want(wire.CodeNoJoint, move(func(m *wire.Move) { m.Joint = uint8(h.Joints) }))
	if s := b.status(); s.State != wire.StateArmed || s.Joint[b.ch].Gone != 0 || s.Joint[b.ch].Segment != 0 {
		b.t.Errorf("after refusals: %s, %d gone, segment %d; want armed and nothing queued", s.State, s.Joint[b.ch].Gone, s.Joint[b.ch].Segment)
	}
}

func testQueue(b *bench) {
	h := b.armed()
	for s := range uint16(h.Queue) {
		b.want(0, b.move(s+1, 0, 0, 60_000))
	}
	b.want(wire.CodeQueueFull, b.move(uint16(h.Queue)+1, 0, 0, 0))
	if s := b.status(); s.Joint[b.ch].Free != 0 {
		b.t.Errorf("%d places free in a full queue", s.Joint[b.ch].Free)
	}
	b.want(0, func(tag uint8) wire.Message { return &wire.Disarm{Tag: tag} })
	if s := b.status(); s.Joint[b.ch].Free != h.Queue || s.Joint[b.ch].Gone != uint16(h.Queue) {
		b.t.Errorf("after disarm: %d free, %d gone; want %d and %d", s.Joint[b.ch].Free, s.Joint[b.ch].Gone, h.Queue, h.Queue)
	}
}

func testStop(b *bench) {
	b.armed()
	b.want(0, b.move(1, 0, 0, 60_000))
	b.want(0, b.move(2, 15000, 1000, 0))
	b.want(0, func(tag uint8) wire.Message { return &wire.Stop{Tag: tag, Mask: wire.AllJoints} })
	s := b.status()
	if s.State != wire.StateArmed || s.Joint[b.ch].Segment != 0 || s.Joint[b.ch].Gone != 2 {
		b.t.Errorf("after stop: %s, segment %d, %d gone; want armed, none, 2", s.State, s.Joint[b.ch].Segment, s.Joint[b.ch].Gone)
	}
	b.want(0, b.move(3, 0, 60000, 0)) // it takes moves again
	if g := b.gone(3); g.How != wire.Finished {
		b.t.Error("a move after a stop was not finished")
	}
}

func testHeartbeat(b *bench) {
	b.armed()
	b.want(0, b.move(1, 10000, 1000, 60_000))
	b.mute()
	trip := wait[*wire.Trip](b.client, "a trip without heartbeat", nil)
	if trip.Reason != wire.ReasonHeartbeat || trip.Limit != wire.HeartbeatTripMS {
		b.t.Errorf("tripped by %s, limit %d; want heartbeat, %d", trip.Reason, trip.Limit, wire.HeartbeatTripMS)
	}
	if most := wire.HeartbeatTripMS + b.opt.LateMS; trip.Value < wire.HeartbeatTripMS || trip.Value > most {
		b.t.Errorf("tripped after %d ms, want %d to %d", trip.Value, wire.HeartbeatTripMS, most)
	}
	b.beat() // a host that comes back does not undo the trip
	if s := b.status(); s.State != wire.StateTripped || s.Trip != wire.ReasonHeartbeat || s.Joint[b.ch].Segment != 0 {
		b.t.Errorf("state %s by %s, segment %d; want tripped by heartbeat, none", s.State, s.Trip, s.Joint[b.ch].Segment)
	}
	b.want(wire.CodeTripped, b.move(2, 0, 0, 0))
	token := b.token()
	b.want(wire.CodeTripped, func(tag uint8) wire.Message { return &wire.Arm{Tag: tag, Token: token, Mask: 1 << b.ch} })
	b.want(0, func(tag uint8) wire.Message { return &wire.Disarm{Tag: tag} })
	if s := b.status(); s.State != wire.StateDisarmed || s.Trip != wire.ReasonNone {
		b.t.Errorf("after disarm: %s, trip %s; want disarmed, none", s.State, s.Trip)
	}
	token = b.token()
	b.want(0, func(tag uint8) wire.Message { return &wire.Arm{Tag: tag, Token: token, Mask: 1 << b.ch} })
}
