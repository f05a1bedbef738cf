package linktest

import (
	"io"
	"testing"

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
	// LateMS is how much more than 250 ms a trip over a missing heartbeat may take, by the stand's
	// own count. 0 means 250, for a stand in software on a machine that is busy; ask 20 of a board.
	LateMS int32
	// Restart resets the stand that was dialled last, as its reset line would. Without it two parts are left
	// out; another line to the same kind of stand must then pass them.
	Restart func(t *testing.T)
}

// Suite checks that a stand keeps SPEC.md. Each part opens a line of its own. It needs no clock of
// its own but the stand's, so that a slow machine does not fail it.
func Suite(t *testing.T, opt Options) {
	if opt.Hz == 0 {
		opt.Hz = 100
	}
	if opt.LateMS == 0 {
		opt.LateMS = 250
	}
	for _, part := range []struct {
		name string
		run  func(*bench)
	}{
		{"hello", testHello},
		{"quiet before hello", testQuiet},
		{"other version", testOtherVersion},
		{"set-up", testSetup},
		{"sample rate", testRate},
		{"moves refused when disarmed", testDisarmed},
		{"arming", testArming},
		{"armed at once", testAtOnce},
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
		{"restart", testRestart},
	} {
		if part.name == "restart" && opt.Restart == nil {
			continue
		}
		t.Run(part.name, func(t *testing.T) {
			b := &bench{client: newClient(t, opt.Dial(t)), opt: opt, ch: uint8(opt.Joints[0].Channel)}
			j := opt.Joints[0]
			b.middle = int32((j.RangeDeg[0] + j.RangeDeg[1]) / 2 * 1000)
			part.run(b)
		})
	}
	t.Run("a whole conversation", func(t *testing.T) { testConversation(t, opt) })
	if opt.Restart == nil {
		return
	}
	t.Run("a restart in a conversation", func(t *testing.T) { testConversationRestart(t, opt) })
}

// bench is one part's client with the joint it moves.
type bench struct {
	*client
	opt    Options
	ch     uint8
	queue  uint8 // moves that a joint's holds; known to the tests of the board under load
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
