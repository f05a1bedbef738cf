package virtual

import (
	"fmt"
	"math"
	"time"

	"limbgauge/rig"
)

// Play lets each joint of a world play a routine, all at once, and returns what a stand would have
// sent: the shortest way to samples, without a wire. The routines and joints are by number; a
// routine without moves leaves its joint limp. Sampling ends with the longest routine.
func Play(w *World, joints []rig.Joint, routines []rig.Routine, sampleHz float64) ([]*rig.Batch, error) {
	if len(joints) != w.Joints() || len(routines) != w.Joints() {
		return nil, fmt.Errorf("play on a world of %d joints: got %d joints and %d routines", w.Joints(), len(joints), len(routines))
	}
	if !(sampleHz > 0) {
		return nil, fmt.Errorf("play: sample rate %g Hz is not above 0", sampleHz)
	}
	d := newDeck(w)
	out := make([]*rig.Batch, w.Joints())
	d.frame(joints[0].Servo.FrameHz)
	for i, j := range joints {
		if j.Servo.FrameHz != joints[0].Servo.FrameHz {
			return nil, fmt.Errorf("play: joints %s and %s want different servo frame rates", joints[0].Name, j.Name)
		}
		if err := routines[i].Check(j); err != nil {
			return nil, err
		}
		out[i] = &rig.Batch{Joint: i}
		if len(routines[i].Moves) > 0 {
			d.play(i, j, routines[i])
		}
	}
	tick := newSampleClock(w.plants[0].truth.Seed)
	for tick.start(w.TimeUS(), sampleHz); ; tick.step() {
		d.advance(tick.next)
		busy := false
		for i := range d.channels {
			out[i].Append(d.row(i, joints[i].Sensors))
			busy = busy || len(d.channels[i].queue) > 0
		}
		if !busy {
			return out, nil
		}
	}
}

// play makes a joint live and queues a routine.
func (d *deck) play(i int, j rig.Joint, r rig.Routine) {
	c := &d.channels[i]
	c.pulses = pulsesOf(j, d.w.plants[i].truth)
	d.arm(i, startCommand(d.w.Read(i).in(j.Sensors), j.RangeDeg[0]*1000, j.RangeDeg[1]*1000))
	for k, m := range r.Moves {
		c.add(moveOf(m, uint16(k+1)), d.w.TimeUS())
	}
}

// row takes one sample of a joint, in the joint's own sense.
func (d *deck) row(i int, s rig.Sensors) rig.Row {
	r, c := d.w.Read(i).in(s), &d.channels[i]
	kind, segment := c.mark()
	row := rig.Row{TimeUS: d.w.TimeUS(), Move: rig.MoveKind(kind), Segment: segment, Command: int32(math.Round(c.command)), Angle: r.Angle,
		Motor: rig.Missing, Current: r.Current, Supply: r.Supply, Torque: rig.Missing, Temp: rig.Missing}
	if !r.HasAngle {
		row.Angle = rig.Missing
	}
	if r.HasMotor {
		row.Motor = r.Motor
	}
	if r.HasTemp {
		row.Temp = r.Temp
	}
	return row
}

func moveOf(m rig.Move, segment uint16) move {
	return move{kind: uint8(m.Kind), segment: segment, target: int32(math.Round(m.TargetDeg * 1000)),
		rate: uint32(math.Round(m.RateDegPerS * 1000)), dwellMS: uint32(m.Dwell / time.Millisecond)}
}

// pulsesOf returns the pulses that fit a joint: the shaft's travel, seen at the joint.
func pulsesOf(j rig.Joint, t Truth) pulses {
	half := t.Servo.TravelDeg / 2 * 1000 / j.Ratio()
	return pulses{minUS: float64(t.Servo.PulseUS[0]), maxUS: float64(t.Servo.PulseUS[1]), minCmd: -half, maxCmd: half}
}

// startCommand returns the command that holds a joint where its sensor shows it, within a range; mdeg.
func startCommand(r Reading, lo, hi float64) float64 {
	if !r.HasAngle {
		return (lo + hi) / 2
	}
	return clamp(float64(r.Angle), lo, hi)
}
