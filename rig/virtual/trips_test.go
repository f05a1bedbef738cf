package virtual

import (
	"math"
	"testing"

	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
	"limbgauge/rig/link"
)

// bench drives a machine without goroutines: the test is host, wall clock and line at once.
type bench struct {
	t    *testing.T
	m    *machine
	wall wallTime
	got  []wire.Message
	enc  wire.Encoder
	full bool // the line takes nothing
}

func newBench(t *testing.T, opt Options) *bench {
	t.Helper()
	if err := opt.complete(); err != nil {
		t.Fatal(err)
	}
	b := &bench{t: t, m: newMachine(opt, NewWorld(opt.Truths))}
	var dec wire.Decoder
	b.m.sendTo(func(frame []byte) bool {
		if b.full {
			return false
		}
		for chunk := frame; len(chunk) > 0; {
			var body []byte
			if body, chunk = dec.Next(chunk); body == nil {
				continue
			}
			m, err := wire.Parse(body)
			if err != nil {
				t.Fatal(err)
			}
			b.got = append(b.got, m)
		}
		return true
	})
	return b
}

func (b *bench) send(m wire.Message) {
	b.t.Helper()
	frame, err := b.enc.Append(nil, m)
	if err != nil {
		b.t.Fatal(err)
	}
	b.m.receive(frame, b.wall)
}

// run lets time pass, with heartbeats.
func (b *bench) run(seconds float64) {
	for end := b.m.nowWorldUS() + int64(seconds*1e6); b.m.nowWorldUS() < end; {
		b.send(&wire.Heartbeat{})
		b.wall += 50 * ms
		b.m.advance(b.m.nowWorldUS() + 50_000)
		b.m.judge(b.wall)
	}
}

// arm says hello, sets the joint up and arms it.
func (b *bench) arm(j rig.Joint, hz uint16) {
	b.t.Helper()
	b.send(&wire.HelloAsk{Major: wire.Major, Nonce: 1})
	s, err := link.SetupOf(j)
	if err != nil {
		b.t.Fatal(err)
	}
	s.Tag = 1
	b.send(&s)
	b.send(&wire.Setup{Tag: 2, Hz: hz, Mask: 1 << j.Channel})
	b.send(&wire.Heartbeat{})
	b.send(&wire.ArmAsk{Tag: 3})
	token := last[*wire.ArmToken](b)
	if token == nil {
		b.t.Fatal("no token")
	}
	b.send(&wire.Arm{Tag: 4, Token: token.Token, Mask: 1 << j.Channel})
	if b.m.state != wire.StateArmed {
		b.t.Fatalf("not armed: %+v", last[*wire.Refusal](b))
	}
}

func last[M wire.Message](b *bench) (found M) {
	for _, m := range b.got {
		if x, ok := m.(M); ok {
			found = x
		}
	}
	return found
}

func (b *bench) move(segment uint16, targetMdeg int32, rate uint32) {
	b.send(&wire.Move{Tag: 5, Kind: uint8(rig.MoveHold), Segment: segment, Target: targetMdeg, Rate: rate, DwellMS: 60_000})
}

func TestTrips(t *testing.T) {
	with := func(cause string, size float64) Truth {
		truth, err := WithFault(Healthy(knee(), 0), cause, size)
		if err != nil {
			t.Fatal(err)
		}
		return truth
	}
	silent := Healthy(knee(), 0)
	silent.Sensors.Joint.Fault = EncoderFault{Kind: Silent, FromS: 1}
	wild := Healthy(knee(), 0)
	wild.Sensors.Joint.Fault = EncoderFault{Kind: Noisy, FromS: 1, SizeDeg: 1e4}
	for _, test := range []struct {
		name  string
		truth Truth
		hz    uint16
		want  wire.Trip // without time; Value is checked against the limit
	}{
		{"current", with("stall", 1.15), 250, wire.Trip{Reason: wire.ReasonCurrent, Limit: 1500}},
		{"current, unsampled", with("stall", 1.15), 0, wire.Trip{Reason: wire.ReasonCurrent, Limit: 1500}},
		{"bus", silent, 250, wire.Trip{Reason: wire.ReasonBus, Limit: silentTimes}},
		{"range", wild, 250, wire.Trip{Reason: wire.ReasonRange}},
		{"supply", with("supply_sag", 4), 250, wire.Trip{Reason: wire.ReasonSupply, Joint: wire.NoJoint, Limit: 3000}},
		{"none", Healthy(knee(), 0), 250, wire.Trip{}},
	} {
		t.Run(test.name, func(t *testing.T) {
			j := knee()
			j.CurrentMaxA = 1.5
			truth := test.truth
			if test.want.Reason == wire.ReasonSupply {
				j.CurrentMaxA = 0
				truth.Load.MassKg *= 6 // enough torque to draw the supply down and hold it there
			}
			b := newBench(t, Options{Joints: []rig.Joint{j}, Truths: []Truth{truth}})
			b.arm(j, test.hz)
			b.move(1, 70_000, 60_000)
			b.run(8)
			trip := last[*wire.Trip](b)
			if test.want.Reason == wire.ReasonNone {
				if trip != nil {
					t.Fatalf("tripped: %+v", trip)
				}
				return
			}
			if trip == nil {
				t.Fatalf("no trip; the joint is at %+v", b.m.deck.w.State(0))
			}
			if trip.Reason != test.want.Reason || trip.Joint != test.want.Joint || test.want.Limit != 0 && trip.Limit != test.want.Limit {
				t.Errorf("tripped by %s, joint %d, limit %d; want %s, %d, %d", trip.Reason, trip.Joint, trip.Limit, test.want.Reason, test.want.Joint, test.want.Limit)
			}
			if b.m.deck.channels[0].live || b.m.deck.w.plants[0].live {
				t.Error("pulses still go after the trip")
			}
			if s := last[*wire.Status](b); s.State != wire.StateTripped || s.Trip != test.want.Reason {
				t.Errorf("status says %s by %s", s.State, s.Trip)
			}
		})
	}
}

// The guards against a dead host go by the wall's clock, however fast the world runs.
func TestHeartbeatGoesByTheWall(t *testing.T) {
	b := newBench(t, Options{Joints: []rig.Joint{knee()}})
	b.arm(knee(), 250)
	b.m.advance(60e6) // a minute of the world within no time of the wall
	b.m.judge(b.wall)
	if b.m.state != wire.StateArmed {
		t.Errorf("tripped by the world's clock: %+v", last[*wire.Trip](b))
	}
	b.wall += 251 * ms
	b.m.judge(b.wall)
	if trip := last[*wire.Trip](b); trip == nil || trip.Reason != wire.ReasonHeartbeat || trip.Value != 251 {
		t.Errorf("after 251 ms of silence: %+v, want a heartbeat trip of 251 ms", trip)
	}
	b.wall += wire.QuietAfterMS * ms
	b.m.judge(b.wall)
	b.got = nil
	b.m.advance(b.m.nowWorldUS() + 1e6)
	if s := last[*wire.Samples](b); s != nil {
		t.Error("still sampling after 5 s of silence")
	}
}

// A disarmed leg drops; one that is armed holds where it is.
func TestArmedHoldsAndDisarmedDrops(t *testing.T) {
	b := newBench(t, Options{Joints: []rig.Joint{knee()}})
	b.arm(knee(), 250)
	b.move(1, 60_000, 60_000)
	b.run(4)
	if a := b.m.deck.w.State(0).AngleDeg; math.Abs(a-60) > 2 {
		t.Errorf("held at %.2f deg, want 60 less its droop", a)
	}
	b.send(&wire.Disarm{Tag: 9})
	b.run(4)
	if a := b.m.deck.w.State(0).AngleDeg; math.Abs(a) > 8 {
		t.Errorf("limp at %.2f deg, want it hanging but for friction", a)
	}
}

// Numbers go on over samples for which the line had no room, and the status owns up.
func TestDroppedSamplesAreCounted(t *testing.T) {
	b := newBench(t, Options{Joints: []rig.Joint{knee()}})
	b.arm(knee(), 100)
	b.run(1)
	b.full = true
	b.run(1)
	b.full = false
	b.run(1)
	b.send(&wire.StatusAsk{Tag: 7})
	s := last[*wire.Status](b).Joint[0]
	came := 0
	for _, m := range b.got {
		if x, ok := m.(*wire.Samples); ok {
			came += x.N
		}
	}
	waiting := b.m.joints[0].out.N
	if int(s.Seq) != came+int(s.Dropped)+waiting || s.Dropped < 90 {
		t.Errorf("next number %d, %d came, %d dropped, %d wait", s.Seq, came, s.Dropped, waiting)
	}
}

// Pace: real time adds up to no drift, free running waits while nothing moves.
func TestPace(t *testing.T) {
	p := pace{rate: 1}
	p.target(1000*ms, 0, false)
	if got := p.target(3_601_000*ms, 17, true); got != 3_600_000_000 {
		t.Errorf("after an hour the world should be at %d us, want 3600 s", got)
	}
	f := pace{free: true}
	f.target(0, 5, false)
	if got := f.target(10*ms, 5, false); got != 5+10_000*IdleSpeed {
		t.Errorf("idle: %d us, want %d", got, 5+10_000*IdleSpeed)
	}
	if got := f.target(10*ms, 1000, true); got <= 1000 {
		t.Error("free running does not run")
	}
	if got := f.target(20*ms, 7_000_000, false); got != 7_000_000 {
		t.Errorf("idle again: %d us, want where it is", got)
	}
}
