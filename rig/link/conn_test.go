package link_test

import (
	"context"
	"errors"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
	"limbgauge/rig/link"
	"limbgauge/rig/link/linktest"
)

func stair(target float64, dwell time.Duration) rig.Move {
	return rig.Move{Kind: rig.MoveStair, TargetDeg: target, RateDegPerS: 60, Dwell: dwell}
}

// TestConversation runs a routine on an ideal stand whose clock wraps in the middle, at a rate at
// which the sample numbers wrap too. Everything that came must follow.
func TestConversation(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := open(t, ideal(t, linktest.Config{StartUS: 1<<32 - 30_000_000}))
		ctx := t.Context()
		must(t, c.Setup(ctx, 1000), c.Arm(ctx))
		got := make(chan feed)
		go func() { got <- drain(t, c) }()
		for i := range 70 {
			must(t, c.Queue(ctx, 0, uint16(i+1), stair(float64(i%2)*10, time.Second)))
		}
		must(t, c.Idle(ctx), c.Disarm(ctx), c.StopSampling(ctx))
		f := <-got
		if f.err != nil || len(f.trips) != 0 || len(f.gone) != 70 {
			t.Fatalf("ended with %v, %d trips, %d moves gone", f.err, len(f.trips), len(f.gone))
		}
		for i, js := range joints() {
			b := f.rows[i]
			if b == nil || b.Len() < 70_000 {
				t.Fatalf("joint %q: no or too few samples", js.Name)
			}
			for k := 1; k < b.Len(); k++ {
				if d := b.TimeUS[k] - b.TimeUS[k-1]; d != 1000 {
					t.Fatalf("joint %q, sample %d: %d us after the one before", js.Name, k, d)
				}
			}
			if b.TimeUS[b.Len()-1] < 1<<32 {
				t.Errorf("the clock did not wrap: last time %d", b.TimeUS[b.Len()-1])
			}
			if b.Motor[0] != rig.Missing || b.Torque[0] != rig.Missing || b.Temp[0] != rig.Missing || b.Supply[0] != 6000 {
				t.Errorf("joint %q: first sample %+v", js.Name, b.Row(0))
			}
		}
		knee, hip := f.rows[0], f.rows[1]
		last := uint16(0)
		for k := range knee.Len() {
			if s := knee.Segment[k]; s != 0 {
				if s < last {
					t.Fatalf("segment %d after %d", s, last)
				}
				last = s
			}
			if (knee.Segment[k] != 0) != (knee.Move[k] == rig.MoveStair) || hip.Segment[min(k, hip.Len()-1)] != 0 {
				t.Fatalf("sample %d: marks %d %s, hip's %d", k, knee.Segment[k], knee.Move[k], hip.Segment[k])
			}
		}
		if last != 70 {
			t.Errorf("last segment %d, want 70", last)
		}
		for i, l := range c.Losses() {
			if l != (link.Loss{Known: true}) {
				t.Errorf("joint %d: losses %+v, want none", i, l)
			}
		}
		fit := c.Clock()
		if fit.N < 60 || fit.RatePPM < -1 || fit.RatePPM > 1 {
			t.Errorf("clock %+v: want a fit of the same rate", fit)
		}
		// The stand was switched on when its clock showed 2^32 - 30 s, which is what unwrapped time counts from.
		if off := fit.At(c.Status().TimeUS).Sub(c.Status().At); off < -time.Millisecond || off > time.Millisecond {
			t.Errorf("the last status is placed %s off", off)
		}
		if n := c.Counts(); n.Unknown+n.Malformed+n.Overflow+n.Drops.Total() != 0 {
			t.Errorf("counts %+v", n)
		}
	})
}

// TestLosses breaks chosen frames and compares the counts with what was broken.
func TestLosses(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		lost := map[uint8]int{}
		broken := map[uint8]int{}
		var dec wire.Decoder
		n := 0
		line := &linktest.Line{RW: ideal(t, linktest.Config{}), Break: func(p []byte) []byte {
			// The pipe hands over one frame per read; see which it is and break every seventh of samples.
			body, _ := dec.Next(p)
			var m wire.Samples
			if body == nil || m.ParseBody(body) != nil {
				return p
			}
			if n++; n%7 != 0 {
				return p
			}
			lost[m.Joint] += m.N
			if n%3 == 0 {
				return nil // gone without a trace
			}
			broken[m.Joint]++
			p[len(p)/2] ^= 0x40
			if p[len(p)/2] == 0 {
				p[len(p)/2] = 0x41
			}
			return p
		}}
		c := open(t, line)
		must(t, c.Setup(t.Context(), 200))
		time.Sleep(10 * time.Second)
		must(t, c.StopSampling(t.Context()))
		f := drain(t, c)
		if len(lost) != 2 || len(broken) != 2 {
			t.Fatalf("the test broke %v and %v: want both joints", lost, broken)
		}
		for i, j := range joints() {
			got, ch := c.Losses()[i], uint8(j.Channel)
			if got.Lost != lost[ch] || got.Damaged != broken[ch] {
				t.Errorf("joint %q: lost %d, damaged %d; want %d and %d", j.Name, got.Lost, got.Damaged, lost[ch], broken[ch])
			}
			if f.rows[i].Len()+got.Lost < 2000 {
				t.Errorf("joint %q: %d samples came and %d were lost, want 2000 in all", j.Name, f.rows[i].Len(), got.Lost)
			}
		}
		if total := broken[0] + broken[2]; c.Counts().Drops.Total() != total {
			t.Errorf("drops %+v, want %d in all", c.Counts().Drops, total)
		}
	})
}

func TestTrip(t *testing.T) {
	for _, lost := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			var stalls atomic.Bool
			line := &linktest.Line{RW: ideal(t, linktest.Config{CurrentMA: func(j int) int32 {
				if j == 2 && stalls.Load() {
					return 2700
				}
				return 300
			}})}
			var dec wire.Decoder
			if lost { // the status that follows must do
				line.Break = func(p []byte) []byte {
					if body, _ := dec.Next(p); body != nil && wire.Type(body[0]) == wire.TypeTrip {
						return nil
					}
					return p
				}
			}
			c := open(t, line)
			ctx := t.Context()
			must(t, c.Setup(ctx, 100), c.Arm(ctx), c.Queue(ctx, 0, 1, stair(10, time.Hour)))
			synctest.Wait()
			stalls.Store(true)
			err := c.Idle(ctx)
			var trip *link.TrippedError
			if !errors.As(err, &trip) || trip.Joint != "knee" || trip.Trip.Reason != wire.ReasonCurrent {
				t.Fatalf("idle: %v; want a trip by the current of the knee", err)
			}
			if want := "current 2.70 A stayed over 2.50 A"; !lost && !strings.Contains(err.Error(), want) {
				t.Errorf("%v; want %q", err, want)
			}
			if err := c.Queue(ctx, 0, 2, stair(0, 0)); !errors.As(err, &trip) {
				t.Errorf("a move after the trip: %v", err)
			}
			if err := c.Arm(ctx); !errors.As(err, &trip) {
				t.Errorf("arming after the trip: %v", err)
			}
			must(t, c.StopSampling(ctx))
			f := drain(t, c)
			if len(f.trips) != 1 || f.trips[0].Joint != 0 || len(f.gone) != 1 || f.gone[0].Finished {
				t.Errorf("%d trips, %d moves gone; want one each", len(f.trips), len(f.gone))
			}
			stalls.Store(false)
			must(t, c.Disarm(ctx), c.Arm(ctx, 0), c.Queue(ctx, 0, 3, stair(0, 0)), c.Idle(ctx))
		})
	}
}

func TestRefusals(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := open(t, ideal(t, linktest.Config{}))
		ctx := t.Context()
		must(t, c.Setup(ctx, 100))
		check := func(err error, code wire.Code, words string) {
			t.Helper()
			var r *link.RefusedError
			if !errors.As(err, &r) || r.Code != code || !strings.Contains(err.Error(), words) {
				t.Errorf("%v; want %s with %q", err, code, words)
			}
		}
		check(c.Queue(ctx, 0, 1, stair(10, 0)), wire.CodeNotArmed, "not armed")
		must(t, c.Arm(ctx, 0))
		check(c.Queue(ctx, 0, 1, stair(75.001, 0)), wire.CodeRange, `joint "knee"`)
		check(c.Queue(ctx, 1, 1, stair(0, 0)), wire.CodeNoJoint, "hip") // not among the armed
		check(c.Setup(ctx, 100), wire.CodeArmed, "not while it is armed")
		for _, hz := range []float64{0, -1, 2.5, 1001} {
			if err := c.Setup(ctx, hz); err == nil || !strings.Contains(err.Error(), "sample rate") {
				t.Errorf("%g Hz: %v", hz, err)
			}
		}
		if err := errors.Join(c.Arm(ctx, 7), c.Queue(ctx, -1, 1, rig.Move{})); err == nil {
			t.Error("joints the bench does not have were taken")
		}
		if err := c.Queue(ctx, 0, 1, rig.Move{Kind: rig.MoveRamp, TargetDeg: 1e9}); err == nil {
			t.Error("a target that has no room on the wire was sent")
		}
	})
}

// TestRepeats loses the first answer to everything: requests are repeated, and nothing is done twice.
func TestRepeats(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var dec wire.Decoder
		seen := map[string]bool{}
		line := &linktest.Line{RW: ideal(t, linktest.Config{}), Break: func(p []byte) []byte {
			body, _ := dec.Next(p)
			if body == nil {
				return p
			}
			switch typ := wire.Type(body[0]); typ {
			case wire.TypeAck, wire.TypeArmToken, wire.TypeRefusal:
				if key := string(body[:2]); !seen[key] {
					seen[key] = true
					return nil
				}
			}
			return p
		}}
		c := open(t, line)
		ctx := t.Context()
		must(t, c.Setup(ctx, 100), c.Arm(ctx, 0))
		for i := range 10 {
			must(t, c.Queue(ctx, 0, uint16(i+1), stair(float64(i), 0)))
		}
		must(t, c.Idle(ctx), c.Stop(ctx), c.Disarm(ctx), c.StopSampling(ctx))
		f := drain(t, c)
		if len(f.gone) != 10 {
			t.Errorf("%d moves were carried out, want 10", len(f.gone))
		}
	})
}

func TestNoReply(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, host := newScript(t)
		s.wg.Go(s.hello)
		c := open(t, host)
		begin := time.Now()
		var none *link.NoReplyError
		if err := c.Stop(t.Context()); !errors.As(err, &none) || none.Of != wire.TypeStop {
			t.Errorf("stop: %v", err)
		}
		if d := time.Since(begin); d != 750*time.Millisecond {
			t.Errorf("gave up after %s, want 750ms", d)
		}
		n := 0
		for len(s.in) > 0 {
			if m, ok := (<-s.in).(*wire.Stop); ok {
				if n++; m.Mask != wire.AllJoints {
					t.Errorf("stop of mask %02X", m.Mask)
				}
			}
		}
		if n != 3 {
			t.Errorf("stop was sent %d times, want 3", n)
		}
	})
}

func TestRestart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, host := newScript(t)
		s.wg.Go(s.hello)
		c := open(t, host)
		s.wg.Go(func() { s.send(&wire.Log{Text: "brown-out"}, &wire.Hello{Major: wire.Major, Joints: 3}) })
		f := drain(t, c)
		if !errors.Is(f.err, link.ErrRestarted) || len(f.trips) != 1 || f.trips[0].Reason != wire.ReasonReset || len(f.logs) != 1 {
			t.Errorf("%v, trips %v, logs %v; want restarted after one trip and one line", f.err, f.trips, f.logs)
		}
	})
}

// TestRestartWithoutHello: the hello of a restart may be lost, for one because the reset cut a frame. Whatever the
// stand then refuses with no_hello says the same; without it a host would wait for a move that was forgotten.
func TestRestartWithoutHello(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, host := newScript(t)
		s.wg.Go(s.hello)
		c := open(t, host)
		s.wg.Go(func() {
			for m := range s.in {
				if ask, ok := m.(*wire.ClockAsk); ok {
					no := &wire.Refusal{Tag: ask.Tag, Of: wire.TypeClockAsk, Code: wire.CodeNoHello, Joint: wire.NoJoint}
					s.send(no, no)
					return
				}
			}
		})
		ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
		defer cancel()
		if err := c.Idle(ctx); !errors.Is(err, link.ErrRestarted) {
			t.Fatal(err)
		}
		f := drain(t, c)
		if !errors.Is(f.err, link.ErrRestarted) || len(f.trips) != 1 || f.trips[0].Reason != wire.ReasonReset {
			t.Errorf("%v, trips %v; want restarted after one trip", f.err, f.trips)
		}
	})
}

// TestByeIsNoRestart: what was on its way beside the bye is refused with no_hello by a stand that has the bye, which
// is the parting that was asked for and no restart.
func TestByeIsNoRestart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, host := newScript(t)
		s.wg.Go(s.hello)
		c := open(t, host)
		s.wg.Go(func() {
			for m := range s.in {
				if bye, ok := m.(*wire.Bye); ok {
					s.send(&wire.Refusal{Tag: bye.Tag - 1, Of: wire.TypeClockAsk, Code: wire.CodeNoHello, Joint: wire.NoJoint}, &wire.Ack{Tag: bye.Tag, Of: wire.TypeBye})
					return
				}
			}
		})
		must(t, c.Close())
		if f := drain(t, c); !errors.Is(f.err, link.ErrClosed) || len(f.trips) != 0 {
			t.Errorf("%v, trips %v; want closed and no trip", f.err, f.trips)
		}
	})
}

// TestFullQueue: Queue waits for room, and its wait ends with the context.
func TestFullQueue(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := open(t, ideal(t, linktest.Config{Queue: 2}))
		ctx := t.Context()
		must(t, c.Setup(ctx, 100), c.Arm(ctx, 0))
		begin := time.Now()
		for i := range 3 {
			must(t, c.Queue(ctx, 0, uint16(i+1), stair(0, 10*time.Second)))
		}
		if d := time.Since(begin); d < 10*time.Second || d > 10200*time.Millisecond {
			t.Errorf("the third move was taken after %s, want 10 s: when the first has gone", d)
		}
		short, cancel := context.WithTimeout(ctx, time.Second)
		defer cancel()
		if err := c.Queue(short, 0, 4, stair(0, 0)); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("%v, want the context's error", err)
		}
		must(t, c.Stop(ctx), c.Idle(ctx))
	})
}

// TestStandTalksNonsense sends what no stand should; the conversation survives and counts it.
func TestStandTalksNonsense(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, host := newScript(t)
		s.wg.Go(s.hello)
		c := open(t, host)
		s.wg.Go(func() {
			for _, body := range [][]byte{
				{0x7F, 1, 2}, {0xFF}, {byte(wire.TypeHeartbeat), 1}, // unknown: 3
				{byte(wire.TypeStatus), 1}, {byte(wire.TypeSamples), 0, 0x80, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0}, {byte(wire.TypeHello)}, // malformed: 3
				{byte(wire.TypeAck), 99, 3}, {byte(wire.TypeMoveGone), 9, 0, 1, 0, 1, 0, 0, 0, 0, 0}, {byte(wire.TypeClock), 200, 0, 0, 0, 0}, // asked by nobody
				{byte(wire.TypeHello), 'L', 'G', 1, 0, 7, 7, 0, 0, 0, 0, 4, 0, 1, 0, 0}, // somebody else's
			} {
				if _, err := s.rw.Write(wire.AppendFrame(nil, body)); err != nil {
					t.Error(err)
				}
			}
			// Of a joint the bench does not use; then one sample, the same again, and one whose number went back.
			for _, m := range []struct {
				joint uint8
				seq   uint16
				time  uint32
			}{{1, 0, 5}, {2, 0, 1000}, {2, 0, 1000}, {2, 0, 2000}} {
				f := new(wire.Samples)
				f.Start(m.joint, 0, 0, 0)
				f.Add(m.seq, wire.Record{TimeUS: m.time})
				s.send(f)
			}
		})
		f := drain(t, c)
		n := c.Counts()
		if n.Unknown != 4 || n.Malformed != 3 || f.err != nil {
			t.Errorf("counts %+v, %v; want 4 unknown, 3 malformed, still going", n, f.err)
		}
		if b := f.rows[0]; b == nil || b.Len() != 2 {
			t.Errorf("samples %+v, want two", b)
		}
		if l := c.Losses()[0]; l.Damaged == 0 {
			t.Errorf("losses %+v: a repeated sample is damage", l)
		}
	})
}
