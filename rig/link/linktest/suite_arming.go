package linktest

import (
	"time"

	wire "limbgauge/firmware-protocol"
	"limbgauge/rig/link"
)

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

// testAtOnce arms in the same breath as the joint is set up with another zero: it begins where it is, in the
// new sense, though no reading may have come between.
func testAtOnce(b *bench) {
	b.ready()
	s, err := link.SetupOf(b.opt.Joints[0])
	if err != nil {
		b.t.Fatal(err)
	}
	b.samplesRun(b.ch, 1)
	set := s
	for _, x := range []struct {
		zero int32 // mdeg more than the joint's
		back bool  // in the other sense
	}{{20_000, false}, {-10_000, false}, {20_000, false}, {-30_000, true}, {0, false}} {
		m := s
		m.JointZero += x.zero
		if x.back {
			m.Flags ^= wire.JointReversed
		}
		// The same pulses lead to the same places, which have other angles.
		m.CommandMin, m.CommandMax = inSense(&m, bare(&s, s.CommandMin)), inSense(&m, bare(&s, s.CommandMax))
		_, at := b.latest()
		want := min(max(inSense(&m, bare(&set, at.Angle)), m.RangeMin), m.RangeMax)
		set = m
		token := b.token()
		m.Tag = b.nextTag()
		arm := &wire.Arm{Tag: b.nextTag(), Token: token, Mask: 1 << b.ch}
		b.sendTogether(&m, arm)
		if code := b.answer(m.Tag, m.Type()); code != 0 {
			b.t.Fatalf("set-up with another zero: answered %s", code)
		}
		if code := b.answer(arm.Tag, arm.Type()); code != 0 {
			b.t.Fatalf("armed at once: answered %s", code)
		}
		armed := b.status()
		late := time.Now().Add(patience)
		seg, r := b.latest()
		for ; int32(r.TimeUS-armed.TimeUS) <= 0; seg, r = b.latest() {
			if time.Now().After(late) {
				b.t.Fatalf("no sample within %s of arming", patience)
			}
			time.Sleep(time.Millisecond)
		}
		// A joint without pulses moves a little between two readings.
		if off := r.Command - want; seg != 0 || off > 3000 || off < -3000 {
			b.t.Errorf("zero %d mdeg: armed at once it is commanded to %d mdeg, and stood at %d", m.JointZero, r.Command, want)
		}
		b.want(0, func(tag uint8) wire.Message { return &wire.Disarm{Tag: tag} })
	}
}

// latest returns the newest sample of the joint, and the segment it belongs to.
func (b *bench) latest() (segment uint16, r wire.Record) {
	if all := b.got(b.ch); len(all) > 0 {
		m := all[len(all)-1]
		return m.Segment, m.Rec[m.N-1]
	}
	return 0, r
}
