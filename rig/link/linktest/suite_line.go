package linktest

import (
	"context"
	"errors"
	"testing"
	"time"

	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
	"limbgauge/rig/link"
)

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
	if s.State != wire.StateDisarmed || j.Flags&(wire.JointSetUp|wire.JointArmed) != 0 || j.Gone != 0 || j.Seq != 0 || j.Segment != 0 {
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
