package linktest

import (
	"context"
	"errors"
	"io"
	"testing"
	"time"

	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
	"limbgauge/rig/link"
)

// Options says which stand the suite is to check.
type Options struct {
	// Dial opens a line to the stand. It may be a new stand each time or the same one again; the
	// suite closes the line before it dials again.
	Dial func(t *testing.T) io.ReadWriteCloser
	// Joints are those of the bench. The first is moved within its range, by no more than 20 deg
	// from its middle.
	Joints []rig.Joint
	// Hz is the sample rate to ask for; 0 means 100.
	Hz int
}

// Suite checks that a stand keeps SPEC.md. Each part opens a line of its own. It needs no clock of
// its own but the stand's, so that a slow machine does not fail it.
func Suite(t *testing.T, opt Options) {
	if opt.Hz == 0 {
		opt.Hz = 100
	}
	for _, part := range []struct {
		name string
		run  func(*bench)
	}{
		{"hello", testHello},
		{"quiet before hello", testQuiet},
		{"other version", testOtherVersion},
		{"set-up", testSetup},
		{"moves refused when disarmed", testDisarmed},
		{"arming", testArming},
		{"moves", testMoves},
		{"repeated move", testRepeat},
		{"range", testRange},
		{"queue", testQueue},
		{"stop", testStop},
		{"heartbeat", testHeartbeat},
		{"unknown messages", testUnknown},
		{"garbage", testGarbage},
		{"clock", testClock},
		{"hello forgets", testForgets},
		{"bye", testBye},
	} {
		t.Run(part.name, func(t *testing.T) {
			b := &bench{client: newClient(t, opt.Dial(t)), opt: opt, ch: uint8(opt.Joints[0].Channel)}
			j := opt.Joints[0]
			b.middle = int32((j.RangeDeg[0] + j.RangeDeg[1]) / 2 * 1000)
			part.run(b)
		})
	}
	t.Run("a whole conversation", func(t *testing.T) { testConversation(t, opt) })
}

// bench is one part's client with the joint it moves.
type bench struct {
	*client
	opt    Options
	ch     uint8
	middle int32 // mdeg
}

// ready says hello, sets all joints up, starts sampling and the heartbeat.
func (b *bench) ready() *wire.Hello {
	b.t.Helper()
	h := b.hello()
	b.beat()
	mask := uint8(0)
	for _, j := range b.opt.Joints {
		s, err := link.SetupOf(j)
		if err != nil {
			b.t.Fatal(err)
		}
		b.want(0, func(tag uint8) wire.Message { s.Tag = tag; return &s })
		mask |= 1 << j.Channel
	}
	b.want(0, func(tag uint8) wire.Message { return &wire.Setup{Tag: tag, Hz: uint16(b.opt.Hz), Mask: mask} })
	return h
}

// armed makes the stand ready and arms the joint.
func (b *bench) armed() *wire.Hello {
	b.t.Helper()
	h := b.ready()
	token := b.token()
	b.want(0, func(tag uint8) wire.Message { return &wire.Arm{Tag: tag, Token: token, Mask: 1 << b.ch} })
	if s := b.status(); s.State != wire.StateArmed {
		b.t.Fatalf("armed, but its state is %s", s.State)
	}
	return h
}

// move builds a move of the joint, offset mdeg from the middle of its range.
func (b *bench) move(segment uint16, offset int32, rate, dwellMS uint32) func(uint8) wire.Message {
	return func(tag uint8) wire.Message {
		return &wire.Move{Tag: tag, Joint: b.ch, Kind: 2, Segment: segment, Target: b.middle + offset, Rate: rate, DwellMS: dwellMS}
	}
}

func (b *bench) gone(segment uint16) *wire.MoveGone {
	b.t.Helper()
	return wait(b.client, "the end of a move", func(m *wire.MoveGone) bool { return m.Joint == b.ch && m.Segment == segment })
}

func testHello(b *bench) {
	h := b.hello()
	if h.Major != wire.Major {
		b.t.Errorf("protocol %d.%d, want major %d", h.Major, h.Minor, wire.Major)
	}
	if h.Queue < 2 || h.MaxHz < 1 || h.Name == "" {
		b.t.Errorf("queue %d (at least 2), greatest rate %d Hz (at least 1), name %q (not empty)", h.Queue, h.MaxHz, h.Name)
	}
	for _, j := range b.opt.Joints {
		if j.Channel >= h.Joints {
			b.t.Errorf("channel %d of joint %q is not among its %d", j.Channel, j.Name, h.Joints)
		}
	}
	if s := b.status(); s.State != wire.StateDisarmed {
		b.t.Errorf("after hello its state is %s, want disarmed", s.State)
	}
	unasked := wait(b.client, "a status of its own", func(m *wire.Status) bool { return m.Tag == 0 })
	if unasked.Joints != h.Joints {
		b.t.Errorf("status of %d joints, hello of %d", unasked.Joints, h.Joints)
	}
}

func testQuiet(b *bench) {
	for _, m := range []wire.Message{&wire.StatusAsk{Tag: 3}, &wire.ArmAsk{Tag: 3}, &wire.Setup{Tag: 3, Hz: 10, Mask: 1}} {
		b.send(m)
		if code := b.answer(3, m.Type()); code != wire.CodeNoHello {
			b.t.Errorf("%s before hello: answered %s, want %s", m.Type(), code, wire.CodeNoHello)
		}
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.samples) != 0 {
		b.t.Errorf("%d messages of samples before hello", len(b.samples))
	}
}

func testOtherVersion(b *bench) {
	b.send(&wire.HelloAsk{Major: wire.Major + 1, Nonce: 99})
	h := wait(b.client, "a hello to a host of another version", func(m *wire.Hello) bool { return m.Nonce == 99 })
	if h.Major != wire.Major {
		b.t.Errorf("it says major %d, want its own, %d", h.Major, wire.Major)
	}
	b.want(wire.CodeNoHello, func(tag uint8) wire.Message { return &wire.ArmAsk{Tag: tag} })
}

func testSetup(b *bench) {
	h := b.hello()
	b.beat()
	s, err := link.SetupOf(b.opt.Joints[0])
	if err != nil {
		b.t.Fatal(err)
	}
	joint := func(change func(*wire.SetupJoint)) func(uint8) wire.Message {
		return func(tag uint8) wire.Message { m := s; m.Tag = tag; change(&m); return &m }
	}
	b.want(0, joint(func(*wire.SetupJoint) {}))
	b.want(wire.CodeNoJoint, joint(func(m *wire.SetupJoint) { m.Joint = uint8(h.Joints) }))
	b.want(wire.CodeValue, joint(func(m *wire.SetupJoint) { m.RangeMin, m.RangeMax = m.RangeMax, m.RangeMin }))
	b.want(wire.CodeValue, joint(func(m *wire.SetupJoint) { m.CommandMax = m.CommandMin }))
	b.want(wire.CodeNoJoint, func(tag uint8) wire.Message { return &wire.Setup{Tag: tag, Hz: 1, Mask: 1 << h.Joints} })
	if h.MaxHz < 0xFFFF {
		b.want(wire.CodeRate, func(tag uint8) wire.Message { return &wire.Setup{Tag: tag, Hz: h.MaxHz + 1, Mask: 1} })
	}
	b.want(0, func(tag uint8) wire.Message { return &wire.Setup{Tag: tag, Hz: uint16(b.opt.Hz), Mask: 1 << b.ch} })
	b.samplesRun(b.ch, 20)
	b.want(0, func(tag uint8) wire.Message { return &wire.Setup{Tag: tag} })
	// All that was numbered has come: nothing may hide at the end.
	st := b.status()
	last := uint16(0)
	for _, m := range b.got(b.ch) {
		last = m.Seq + uint16(m.N)
	}
	if st.Joint[b.ch].Seq != last+st.Joint[b.ch].Dropped {
		b.t.Errorf("sampling stopped: the next number is %d, the last that came %d, dropped %d", st.Joint[b.ch].Seq, last-1, st.Joint[b.ch].Dropped)
	}
}

// samplesRun waits until at least n samples came and checks that numbers and times follow.
func (b *bench) samplesRun(channel uint8, n int) {
	b.t.Helper()
	late := time.After(patience)
	for {
		var seq uint16
		var last uint32
		total := 0
		for _, m := range b.got(channel) {
			if m.Seq != seq {
				b.t.Errorf("sample %d follows %d", m.Seq, seq-1)
			}
			for _, r := range m.Rec[:m.N] {
				if total > 0 && int32(r.TimeUS-last) <= 0 {
					b.t.Errorf("sample %d: time %d us does not rise from %d", seq, r.TimeUS, last)
				}
				last, seq, total = r.TimeUS, seq+1, total+1
			}
		}
		if total >= n || b.t.Failed() {
			return
		}
		select {
		case <-time.After(10 * time.Millisecond):
		case <-late:
			b.t.Fatalf("%d samples within %s, want %d", total, patience, n)
		}
	}
}

func testDisarmed(b *bench) {
	b.ready()
	b.want(wire.CodeNotArmed, b.move(1, 0, 0, 0))
	b.want(0, func(tag uint8) wire.Message { return &wire.Stop{Tag: tag, Mask: wire.AllJoints} })
	b.want(0, func(tag uint8) wire.Message { return &wire.Disarm{Tag: tag} })
	if s := b.status(); s.State != wire.StateDisarmed || s.Joint[b.ch].Segment != 0 {
		b.t.Errorf("state %s, segment %d; want disarmed and none", s.State, s.Joint[b.ch].Segment)
	}
}

func testArming(b *bench) {
	b.hello()
	arm := func(token uint16) func(uint8) wire.Message {
		return func(tag uint8) wire.Message { return &wire.Arm{Tag: tag, Token: token, Mask: 1 << b.ch} }
	}
	b.beat()
	b.want(wire.CodeNotSetUp, arm(b.token()))
	b.mute()
	b.ready()
	b.want(wire.CodeToken, arm(0))
	good := b.token()
	b.want(wire.CodeToken, arm(good^1))
	b.want(wire.CodeToken, arm(good)) // the wrong one used it up
	first, second := b.token(), b.token()
	if first == second || first == 0 || second == 0 {
		b.t.Errorf("tokens %d and %d must differ and not be 0", first, second)
	}
	b.want(wire.CodeToken, arm(first))
	b.want(0, arm(b.token()))
	b.want(0, arm(0)) // a repeat of what was done already
	b.want(wire.CodeArmed, func(tag uint8) wire.Message { return &wire.Setup{Tag: tag, Hz: 10, Mask: 1} })
	s, err := link.SetupOf(b.opt.Joints[0])
	if err != nil {
		b.t.Fatal(err)
	}
	b.want(wire.CodeArmed, func(tag uint8) wire.Message { s.Tag = tag; return &s })
	b.want(0, func(tag uint8) wire.Message { return &wire.Disarm{Tag: tag} })
	b.want(wire.CodeNotArmed, b.move(1, 0, 0, 0))

	token := b.token()
	b.mute()
	time.Sleep(2 * wire.HeartbeatTripMS * time.Millisecond) // not a measure: the longer the better
	b.want(wire.CodeNoHeartbeat, arm(token))
}

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
	// Its own count of the silence: the rule says 250, a loop of up to 50 ms comes on top.
	if trip.Value < wire.HeartbeatTripMS || trip.Value > wire.HeartbeatTripMS+50 {
		b.t.Errorf("tripped after %d ms, want %d to %d", trip.Value, wire.HeartbeatTripMS, wire.HeartbeatTripMS+50)
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

func testUnknown(b *bench) {
	b.ready()
	for _, typ := range []wire.Type{0x00, 0x3F, wire.TypeAck, 0x7F, 0xFF} {
		tag := b.nextTag()
		b.raw(wire.AppendFrame([]byte{0}, []byte{byte(typ), tag, 1, 2, 3}))
		if code := b.answer(tag, typ); code != wire.CodeUnknown {
			b.t.Errorf("%s: answered %s, want %s", typ, code, wire.CodeUnknown)
		}
	}
	tag := b.nextTag()
	b.raw(wire.AppendFrame([]byte{0}, []byte{byte(wire.TypeMove), tag, 0, 1}))
	if code := b.answer(tag, wire.TypeMove); code != wire.CodeMalformed {
		b.t.Errorf("a move of 4 bytes: answered %s, want %s", code, wire.CodeMalformed)
	}
	if s := b.status(); s.State != wire.StateDisarmed || s.BadFrames != 0 {
		b.t.Errorf("state %s, %d bad frames; want disarmed, none", s.State, s.BadFrames)
	}
}

func testGarbage(b *bench) {
	b.ready()
	x := uint32(1)
	noise := make([]byte, 3000)
	for i := range noise {
		x = x*1664525 + 1013904223 // the constants of Numerical Recipes, section 7.1
		noise[i] = byte(x >> 24)
	}
	good := wire.AppendFrame(nil, []byte{byte(wire.TypeDisarm), 77})
	flipped := append([]byte(nil), good...)
	flipped[1] ^= 4
	for _, junk := range [][]byte{noise, flipped, make([]byte, 100), append(make([]byte, 200), 1, 2, 3, 0), good[:3], {0}} {
		b.raw(junk)
	}
	for i := range 500 {
		junk := []byte{byte(i)}
		if i%100 == 99 {
			junk = append(junk, 0)
		}
		b.raw(junk)
	}
	b.raw([]byte{0})
	if s := b.status(); s.State != wire.StateDisarmed || s.BadFrames == 0 {
		b.t.Errorf("state %s, %d bad frames; want disarmed and some", s.State, s.BadFrames)
	}
	b.samplesRun(b.ch, 10)
}

func testClock(b *bench) {
	b.hello()
	var last uint32
	for i := range 5 {
		tag := b.nextTag()
		b.send(&wire.ClockAsk{Tag: tag})
		m := wait(b.client, "its time", func(m *wire.Clock) bool { return m.Tag == tag })
		if i > 0 && int32(m.TimeUS-last) < 0 {
			b.t.Errorf("time went from %d to %d us", last, m.TimeUS)
		}
		last = m.TimeUS
	}
}

func testForgets(b *bench) {
	b.armed()
	b.want(0, b.move(1, 5000, 1000, 60_000))
	b.mute()
	b.hello()
	b.beat()
	s := b.status()
	j := s.Joint[b.ch]
	if s.State != wire.StateDisarmed || j.Flags != 0 || j.Gone != 0 || j.Seq != 0 || j.Segment != 0 {
		b.t.Errorf("after a second hello: %s, %+v; want disarmed and all 0", s.State, j)
	}
	token := b.token()
	b.want(wire.CodeNotSetUp, func(tag uint8) wire.Message { return &wire.Arm{Tag: tag, Token: token, Mask: 1 << b.ch} })
}

func testBye(b *bench) {
	b.armed()
	b.want(0, func(tag uint8) wire.Message { return &wire.Bye{Tag: tag} })
	b.mute()
	b.want(wire.CodeNoHello, func(tag uint8) wire.Message { return &wire.StatusAsk{Tag: tag} })
}

// testConversation lets package link hold the whole conversation.
func testConversation(t *testing.T, opt Options) {
	ctx, cancel := context.WithTimeout(t.Context(), 4*patience)
	defer cancel()
	c, err := link.Open(ctx, opt.Dial(t), link.Options{Joints: opt.Joints})
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := c.Close(); err != nil {
			t.Error(err)
		}
	}()
	j := opt.Joints[0]
	middle := (j.RangeDeg[0] + j.RangeDeg[1]) / 2
	if err := errors.Join(c.Setup(ctx, float64(opt.Hz)), c.Arm(ctx, 0)); err != nil {
		t.Fatal(err)
	}
	const moves = 12 // more than a queue holds
	for i := range moves {
		m := rig.Move{Kind: rig.MoveStair, TargetDeg: middle + float64(i%3), RateDegPerS: 60, Dwell: 20 * time.Millisecond}
		if err := c.Queue(ctx, 0, uint16(i+1), m); err != nil {
			t.Fatal(err)
		}
	}
	if err := errors.Join(c.Idle(ctx), c.Disarm(ctx), c.StopSampling(ctx)); err != nil {
		t.Fatal(err)
	}
	samples, ends := 0, uint16(0)
	for ends < moves {
		e, err := c.Next(ctx)
		if err != nil {
			t.Fatal(err)
		}
		switch e := e.(type) {
		case *link.Samples:
			for _, b := range e.Batches {
				samples += b.Len()
			}
		case *link.MoveGone:
			if ends++; e.Segment != ends || !e.Finished {
				t.Errorf("end of move %d (finished %t), want %d", e.Segment, e.Finished, ends)
			}
		case *link.Tripped:
			t.Fatalf("tripped: %s", link.TripWords(*e))
		}
	}
	for i, l := range c.Losses() {
		if !l.Known || l.Lost != 0 || l.Damaged != 0 {
			t.Errorf("joint %d: losses %+v, want known and none", i, l)
		}
	}
	if samples == 0 {
		t.Error("no samples")
	}
}
