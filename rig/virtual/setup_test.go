package virtual

import (
	"math"
	"testing"
	"time"

	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
	"limbgauge/rig/link"
)

// Behind a belt the servo turns by the ratio more, and the joint goes where it is told.
func TestRatio(t *testing.T) {
	for _, ratio := range []float64{0.5, 1, 2} {
		j := knee()
		j.Belt = &rig.Belt{Teeth: 20, PitchMM: 2, Ratio: ratio}
		j.RangeDeg = [2]float64{-40, 40}
		r := rig.Routine{Moves: []rig.Move{{Kind: rig.MoveHold, TargetDeg: 30, RateDegPerS: 20, Dwell: 2 * time.Second}}}
		out, err := Play(NewWorld([]Truth{Healthy(j, 0)}), []rig.Joint{j}, []rig.Routine{r}, 100)
		if err != nil {
			t.Fatal(err)
		}
		end := out[0].Row(out[0].Len() - 1)
		if end.Command != 30_000 || math.Abs(float64(end.Angle)-30_000) > 2500 || math.Abs(float64(end.Motor)-30_000*ratio) > 2500 {
			t.Errorf("ratio %g: command %d, joint %d, motor %d mdeg; want 30000 and the motor at %g", ratio, end.Command, end.Angle, end.Motor, 30_000*ratio)
		}
	}
}

// A joint that is mounted the other way round, with sensors off zero, is set right by its set-up.
func TestReversedJoint(t *testing.T) {
	b := newBench(t, Options{Joints: []rig.Joint{knee()}})
	b.send(&wire.HelloAsk{Major: wire.Major, Nonce: 1})
	s, err := link.SetupOf(knee())
	if err != nil {
		t.Fatal(err)
	}
	s.Tag, s.Flags = 1, wire.JointReversed|wire.MotorReversed
	s.CommandMin, s.CommandMax = s.CommandMax, s.CommandMin
	s.JointZero, s.MotorZero = 5000, -5000
	b.send(&s)
	b.send(&wire.Heartbeat{})
	b.send(&wire.ArmAsk{Tag: 3})
	b.send(&wire.Arm{Tag: 4, Token: last[*wire.ArmToken](b).Token, Mask: 1})
	b.send(&wire.Setup{Tag: 5, Hz: 100, Mask: 1}) // refused: armed
	b.move(1, 40_000, 60_000)
	b.run(3)
	if at := b.m.deck.w.State(0).AngleDeg; math.Abs(at+40) > 2 {
		t.Errorf("told 40 deg, the joint is at %.2f in its own sense, want -40 less its droop", at)
	}
	r := b.m.joints[0].sense(Reading{Angle: -40_000, Motor: -40_000})
	if r.Angle != 45_000 || r.Motor != 35_000 {
		t.Errorf("sensors at -40 deg read %d and %d mdeg, want 45000 and 35000: less zero, then turned", r.Angle, r.Motor)
	}
}

// A sensor that sits anywhere reads so, and starts within half a turn of its own 0 (SPEC.md, section 5); what
// bench.toml says of it gives the joint's own angle back.
func TestMountedSensors(t *testing.T) {
	for _, c := range []struct {
		zero, down float64
		reversed   bool
		bare       float64 // reading at rest
	}{
		{37, 0, false, 37}, {37, 20, false, 57}, {37, 20, true, 17}, {-170, -20, false, 170}, {170, -20, true, -170},
	} {
		j := knee()
		j.Load.DownDeg = c.down
		j.Sensors.JointZeroDeg, j.Sensors.JointReversed = c.zero, c.reversed
		truth := Healthy(j, 0)
		w := NewWorld([]Truth{truth})
		r := w.Read(0)
		if got := float64(r.Angle) / 1000; math.Abs(got-c.bare) > 0.4 {
			t.Errorf("zero %g, reversed %t, hanging at %g: reads %.2f deg, want %g", c.zero, c.reversed, c.down, got, c.bare)
		}
		if got := float64(r.in(j.Sensors).Angle) / 1000; math.Abs(math.Remainder(got-c.down, 360)) > 0.4 {
			t.Errorf("zero %g, reversed %t, hanging at %g: in its own sense %.2f deg", c.zero, c.reversed, c.down, got)
		}
		if got := float64(w.Read(0).in(j.Sensors).Motor) / 1000; math.Abs(got-c.down) > 1 {
			t.Errorf("the motor side reads %.2f deg, want about %g", got, c.down)
		}
		s, err := link.SetupOf(j)
		if err != nil || s.JointZero != int32(c.zero*1000) || (s.Flags&wire.JointReversed != 0) != c.reversed || s.Flags&wire.MotorReversed != 0 || s.MotorZero != 0 {
			t.Errorf("set up as %+v, %v", s, err)
		}
	}
	j := knee()
	j.Sensors.MotorZeroDeg, j.Sensors.MotorReversed = -12.3456, true
	if s, err := link.SetupOf(j); err != nil || s.MotorZero != -12346 || s.Flags != wire.MotorReversed {
		t.Errorf("set up as %+v, %v", s, err)
	}
}

// The command waits for the servo's next pulse: at 50 a second its steps are 20 ms long, at 250 4 ms. A stair of 60
// deg/s then is one of 1.2 and of 0.24 deg.
func TestFrameRate(t *testing.T) {
	for _, hz := range []int{50, 100, 250, 333} {
		j := knee()
		j.Servo.FrameHz = hz
		b := newBench(t, Options{Joints: []rig.Joint{j}})
		b.send(&wire.HelloAsk{Major: wire.Major, Minor: wire.Minor, Nonce: 1})
		s, err := link.SetupOf(j)
		if err != nil || int(s.FrameHz) != hz {
			t.Fatalf("%+v, %v", s, err)
		}
		s.Tag = 1
		b.send(&s)
		b.send(&wire.Heartbeat{})
		b.send(&wire.ArmAsk{Tag: 3})
		b.send(&wire.Arm{Tag: 4, Token: last[*wire.ArmToken](b).Token, Mask: 1})
		b.move(1, 60_000, 30_000)
		b.run(0.5)
		var changes int
		p := b.m.deck.w.plants[0]
		for was, ms := p.target, 0; ms < 1000; ms++ {
			b.m.advance(b.m.nowWorldUS() + 1000)
			if p.target != was {
				was, changes = p.target, changes+1
			}
		}
		if math.Abs(float64(changes-hz)) > 2 {
			t.Errorf("asked for %d pulses a second, the servo's target changed %d times in one", hz, changes)
		}
	}
}

// One rate for all joints that are set up, 50 to 333 (SPEC.md, section 6).
func TestFrameRateRefused(t *testing.T) {
	hip, knee := knee(), knee()
	hip.Name, knee.Channel = "hip", 1
	b := newBench(t, Options{Joints: []rig.Joint{hip, knee}})
	tag := uint8(0)
	ask := func(j rig.Joint, hz uint16) wire.Code {
		s, err := link.SetupOf(j)
		if err != nil {
			t.Fatal(err)
		}
		tag++
		s.Tag, s.FrameHz = tag, hz
		b.send(&s)
		if a := last[*wire.Ack](b); a != nil && a.Tag == tag {
			return 0
		}
		return last[*wire.Refusal](b).Code
	}
	b.send(&wire.HelloAsk{Major: wire.Major, Nonce: 1})
	for _, c := range []struct {
		j    rig.Joint
		hz   uint16
		want wire.Code
	}{
		{hip, 49, wire.CodeFrame}, {hip, 334, wire.CodeFrame}, {hip, 333, 0}, {knee, 0, wire.CodeFrame}, {knee, 50, wire.CodeFrame}, {knee, 333, 0},
		{hip, 50, wire.CodeFrame}, {hip, 333, 0},
	} {
		if got := ask(c.j, c.hz); got != c.want {
			t.Errorf("%s at %d Hz: %s, want %s", c.j.Name, c.hz, got, c.want)
		}
	}
	b.send(&wire.HelloAsk{Major: wire.Major, Nonce: 2}) // forgets all set-up
	if got := ask(hip, 0); got != 0 {
		t.Errorf("the stand's own rate: %s", got)
	}
	for _, hz := range []uint16{250, 50} { // a board's own rate may be the one or the other
		if got := ask(knee, hz); got != wire.CodeFrame {
			t.Errorf("%d Hz beside the stand's own rate: %s", hz, got)
		}
	}
	if got := ask(knee, 0); got != 0 {
		t.Errorf("the stand's own rate for both: %s", got)
	}
}

// What a sensor says of its magnet stands in the status, of the sensors that are there.
func TestMagnets(t *testing.T) {
	j := knee()
	truth := Healthy(j, 0)
	truth.Sensors.Joint.Magnet = wire.MagnetWeak
	j2 := knee()
	j2.Channel, j2.Sensors.MotorCounts = 1, 0
	b := newBench(t, Options{Joints: []rig.Joint{j, j2}, Truths: []Truth{truth, Healthy(j2, 0)}})
	b.send(&wire.HelloAsk{Major: wire.Major, Minor: wire.Minor, Nonce: 1})
	b.send(&wire.StatusAsk{Tag: 1})
	s := last[*wire.Status](b)
	for c, want := range [][2]wire.Magnet{{wire.MagnetWeak, wire.MagnetGood}, {wire.MagnetGood, wire.MagnetUnknown}} {
		if f := s.Joint[c].Flags; f.JointMagnet() != want[0] || f.MotorMagnet() != want[1] || f&(wire.JointSetUp|wire.JointArmed) != 0 {
			t.Errorf("channel %d: %s and %s, want %s", c, f.JointMagnet(), f.MotorMagnet(), want)
		}
	}
}
