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

// testRate checks that samples come at the rate asked for, by the stand's own clock.
func testRate(b *bench) {
	b.ready()
	n := max(b.opt.Hz/2, 20)
	b.samplesRun(b.ch, n)
	period := 1e6 / float64(b.opt.Hz)
	// The sample clock is the line that no sample is before: its numbers say which period each belongs to.
	var times []float64
	first, least := uint32(0), 0.0
	for _, m := range b.got(b.ch) {
		for _, r := range m.Rec[:m.N] {
			if len(times) == 0 {
				first = r.TimeUS
			}
			off := float64(r.TimeUS-first) - period*float64(len(times))
			least = min(least, off)
			times = append(times, off)
		}
	}
	late := 0
	for i, off := range times {
		if off-least > period {
			b.t.Fatalf("sample %d came %.0f us after its time at %d Hz", i, off-least, b.opt.Hz)
		}
		if off-least > period/4 {
			late++
		}
	}
	if told := int(b.status().Joint[b.ch].Late); late > told {
		b.t.Errorf("%d of %d samples came more than a quarter of a period late, the stand told of %d", late, len(times), told)
	}
}

// testRestart checks what a stand does that is reset in the middle of a conversation.
func testRestart(b *bench) {
	b.armed()
	b.want(0, b.move(1, 5000, 1000, 60_000))
	b.mute()
	b.opt.Restart(b.t)
	h := wait(b.client, "the hello of a restart", func(m *wire.Hello) bool { return m.Nonce == 0 })
	if h.Reset == wire.ReasonNone || h.Reset == wire.ReasonPowerUp {
		b.t.Errorf("the reason of its restart is %q, want one that is no power-up", h.Reset)
	}
	b.want(wire.CodeNoHello, func(tag uint8) wire.Message { return &wire.StatusAsk{Tag: tag} })
	b.hello()
	if s := b.status(); s.State != wire.StateDisarmed || s.Joint[b.ch].Flags&(wire.JointSetUp|wire.JointArmed) != 0 || s.Joint[b.ch].Segment != 0 {
		b.t.Errorf("after a restart: %s, %+v; want disarmed and nothing set up", s.State, s.Joint[b.ch])
	}
}

// testConversationRestart lets package link see a restart.
func testConversationRestart(t *testing.T, opt Options) {
	ctx, cancel := context.WithTimeout(t.Context(), 4*patience)
	defer cancel()
	c, err := link.Open(ctx, opt.Dial(t), link.Options{Joints: opt.Joints})
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	middle := (opt.Joints[0].RangeDeg[0] + opt.Joints[0].RangeDeg[1]) / 2
	hold := rig.Move{Kind: rig.MoveHold, TargetDeg: middle, RateDegPerS: 30, Dwell: time.Minute}
	if err := errors.Join(c.Setup(ctx, float64(opt.Hz)), c.Arm(ctx, 0), c.Queue(ctx, 0, 1, hold)); err != nil {
		t.Fatal(err)
	}
	opt.Restart(t)
	told := false
	for {
		e, err := c.Next(ctx)
		if trip, ok := e.(*link.Tripped); ok && trip.Reason == wire.ReasonReset {
			told = true
		}
		if err == nil {
			continue
		}
		if !errors.Is(err, link.ErrRestarted) || !told {
			t.Errorf("after a restart the conversation ended with %v (trip told: %t), want %v", err, told, link.ErrRestarted)
		}
		return
	}
}
