package linktest

import (
	"math"
	"testing"
	"time"

	wire "limbgauge/firmware-protocol"
	"limbgauge/firmware-protocol/avr/emulated"
	"limbgauge/rig/link"
)

// TestEmulatedBoardFrames: the servos get as many pulses a second as the host asked for, at each rate to half a
// microsecond; a rate of another joint is refused; and without a heartbeat none begins after 250 ms at any rate.
func TestEmulatedBoardFrames(t *testing.T) {
	b := &board{emulated.Need(t, "JOINTS=3").Run(t)}
	bench := b.bench(t, 100)
	bench.opt.Joints = nil
	for ch := range 3 {
		j := joints()[0]
		j.Channel = ch
		bench.opt.Joints = append(bench.opt.Joints, j)
	}
	for _, hz := range []int{250, 50, 333, 0} { // one after the other: each must leave nothing behind
		for i := range bench.opt.Joints {
			bench.opt.Joints[i].Servo.FrameHz = hz
		}
		bench.mute()
		bench.ready()
		frame := math.Floor(2e6/float64(max(hz, 50))) / 2 // us; 0: the stand's own
		token := bench.token()
		bench.want(0, func(tag uint8) wire.Message { return &wire.Arm{Tag: tag, Token: token, Mask: 7} })
		time.Sleep(100 * time.Millisecond)
		b.do(t, "watch")
		from := b.figures(t).SimUS
		for b.figures(t).SimUS < from+500_000 {
			time.Sleep(5 * time.Millisecond)
		}
		f := b.figures(t)
		for ch, s := range f.Servos[:3] {
			t.Logf("%d Hz, servo %d: %d pulses of %.1f us, frames of %.3f to %.3f us", hz, ch, s.Watched, s.MaxWidthUS, s.MinFrameUS, s.MaxFrameUS)
			if math.Abs(s.MinFrameUS-frame) > 0.01 || math.Abs(s.MaxFrameUS-frame) > 0.01 || s.MinWidthUS != s.MaxWidthUS {
				t.Errorf("%d Hz, servo %d: frames of %.3f to %.3f us, want %.1f", hz, ch, s.MinFrameUS, s.MaxFrameUS, frame)
			}
			if pulses := (f.SimUS - from) / frame; math.Abs(float64(s.Watched)-pulses) > 3+pulses/20 {
				t.Errorf("%d Hz, servo %d: %d pulses, want about %.0f", hz, ch, s.Watched, pulses)
			}
		}
		bench.mute()
		if trip := wait[*wire.Trip](bench.client, "a trip without heartbeat", nil); trip.Reason != wire.ReasonHeartbeat {
			t.Errorf("%d Hz: tripped by %s", hz, trip.Reason)
		}
		time.Sleep(50 * time.Millisecond)
		f = b.figures(t)
		for ch, s := range f.Servos[:3] {
			t.Logf("%d Hz, servo %d: last pulse %.1f ms after the last heartbeat", hz, ch, (s.LastRiseUS-f.LastBeatUS)/1e3)
			if since := (s.LastRiseUS - f.LastBeatUS) / 1e3; since > 251 || since < 225 {
				t.Errorf("%d Hz, servo %d: its last pulse began %.1f ms after the last heartbeat, want at most 250 and a frame less", hz, ch, since)
			}
		}
	}
	bench.opt.Joints = bench.opt.Joints[:1]
	bench.ready()
	s, err := link.SetupOf(bench.opt.Joints[0])
	if err != nil {
		t.Fatal(err)
	}
	s.Joint, s.FrameHz = 1, 250
	bench.want(wire.CodeFrame, func(tag uint8) wire.Message { s.Tag = tag; return &s })
	s.FrameHz = 334
	bench.want(wire.CodeFrame, func(tag uint8) wire.Message { s.Tag = tag; return &s })
	s.FrameHz = 50
	bench.want(0, func(tag uint8) wire.Message { s.Tag = tag; return &s })
}
