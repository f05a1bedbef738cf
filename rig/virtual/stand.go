package virtual

import (
	"cmp"
	"errors"
	"fmt"
	"math"

	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
)

// Options shape a stand. Only Joints is needed.
type Options struct {
	// Joints are what bench.toml says; their channels name them on the wire.
	Joints []rig.Joint
	// Truths are what the joints really are, in the order of Joints; nil means all healthy, by their
	// typical values.
	Truths []Truth
	// Speed is how many seconds of the stand pass in one of the wall: 1 is real time. 0 lets it run
	// as fast as the host reads while a move is under way; without a move it then keeps to IdleSpeed,
	// so that a host which takes its time to queue the next move does not cost hours of the stand's. Of a
	// host that says how far it is (see Pipe) it waits for the word.
	// The heartbeat and all other guards against a dead host go by the wall's clock at any speed.
	Speed float64
	// Form is rig.FormFrames, also for "", or rig.FormText.
	Form string
	// Routines are what a stand of the text form plays by itself, one for each joint, once after it
	// was opened. A routine without moves leaves its joint limp.
	Routines []rig.Routine
	// SampleHz is the rate of a stand of the text form; 0 means 100.
	SampleHz float64
	Queue    int    // moves a joint's queue holds; 0 means 16
	MaxHz    int    // greatest sample rate; 0 means 1000
	Name     string // of the firmware; "" means "virtual"
	StartUS  uint32 // the clock at power-up, to try what wraps
	// Hand, where given, is what a person does at the stand meanwhile.
	Hand *Hand
	// MinSupplyV is the least supply an armed stand bears; 0 means 3.
	MinSupplyV float64
}

// IdleSpeed is the pace of a stand with Speed 0 while no move is under way.
const IdleSpeed = 20

// Stand is a stand made of physics, ready to be served. It serves one line, once.
type Stand struct {
	opt    Options
	dev    device
	step   *step
	opened func() // what to do when the port was opened
}

// device is the part of a stand that depends on its form.
type device interface {
	// sendTo says where frames or lines go; emit is false when there was no room.
	sendTo(emit func(frame []byte) bool)
	// advance lets the world run to a time and sends what falls due.
	advance(toUS int64)
	// receive takes what the host sent and when it arrived; opened hears that the port was opened.
	receive(chunk []byte, wall wallTime)
	opened()
	// judge applies the rules that guard against a dead host, when all that arrived was received.
	judge(wall wallTime)
	// busy says whether a move is under way.
	busy() bool
	nowWorldUS() int64
}

// New makes a stand. It fails when options do not fit together.
func New(opt Options) (*Stand, error) {
	if err := opt.complete(); err != nil {
		return nil, fmt.Errorf("virtual stand: %w", err)
	}
	w := NewWorld(opt.Truths)
	w.hand = opt.Hand
	s := &Stand{opt: opt, step: newStep()}
	if opt.Form == rig.FormText {
		s.dev = newPrinter(opt, w)
	} else {
		m := newMachine(opt, w)
		m.sent = &s.step.sent
		s.dev = m
	}
	return s, nil
}

// complete checks the options and fills in what is left out.
func (o *Options) complete() error {
	if len(o.Joints) == 0 {
		return errors.New("no joints")
	}
	if o.Truths == nil {
		for _, j := range o.Joints {
			o.Truths = append(o.Truths, Healthy(j, 0))
		}
	}
	if len(o.Truths) != len(o.Joints) {
		return fmt.Errorf("%d truths for %d joints", len(o.Truths), len(o.Joints))
	}
	seen := map[int]string{}
	for i, j := range o.Joints {
		if j.Channel < 0 || j.Channel >= wire.MaxJoints {
			return fmt.Errorf("joint %q: channel %d is outside 0..%d", j.Name, j.Channel, wire.MaxJoints-1)
		}
		if other, ok := seen[j.Channel]; ok {
			return fmt.Errorf("joints %q and %q are both on channel %d", other, j.Name, j.Channel)
		}
		seen[j.Channel] = j.Name
		if err := o.Truths[i].Check(); err != nil {
			return fmt.Errorf("joint %q: %w", j.Name, err)
		}
	}
	if !(o.Speed >= 0) || math.IsInf(o.Speed, 0) {
		return fmt.Errorf("speed %g is not 0 or more", o.Speed)
	}
	o.Form = cmp.Or(o.Form, rig.FormFrames)
	o.Queue, o.MaxHz = cmp.Or(o.Queue, 16), cmp.Or(o.MaxHz, 1000)
	o.Name, o.MinSupplyV = cmp.Or(o.Name, "virtual"), cmp.Or(o.MinSupplyV, 3)
	o.SampleHz = cmp.Or(o.SampleHz, 100)
	switch {
	case o.Queue < 2 || o.Queue > math.MaxUint8:
		return fmt.Errorf("queue of %d moves is outside 2..255", o.Queue)
	case o.MaxHz < 1 || o.MaxHz > 4000:
		return fmt.Errorf("greatest rate %d Hz is outside 1..4000", o.MaxHz)
	case len(o.Name) > wire.MaxName:
		return fmt.Errorf("name %q is longer than %d", o.Name, wire.MaxName)
	case o.Form != rig.FormFrames && o.Form != rig.FormText:
		return fmt.Errorf("form %q is neither %q nor %q", o.Form, rig.FormFrames, rig.FormText)
	case o.Form == rig.FormText && len(o.Routines) != len(o.Joints):
		return fmt.Errorf("%d routines for %d joints", len(o.Routines), len(o.Joints))
	case !(o.SampleHz > 0 && o.SampleHz <= 4000):
		return fmt.Errorf("sample rate %g Hz is outside 0..4000", o.SampleHz)
	}
	for i, r := range o.Routines {
		if o.Form == rig.FormText {
			if err := r.Check(o.Joints[i]); err != nil {
				return err
			}
		}
	}
	return nil
}

// Check returns an error for a truth that no plant can be made of.
func (t Truth) Check() error {
	for _, f := range []struct {
		name string
		v    float64
	}{
		{"Servo.RatedV", t.Servo.RatedV}, {"Servo.StallNm", t.Servo.StallNm}, {"Servo.NoLoadDegPerS", t.Servo.NoLoadDegPerS},
		{"Servo.StallA", t.Servo.StallA}, {"Servo.InertiaKgM2", t.Servo.InertiaKgM2}, {"Servo.TravelDeg", t.Servo.TravelDeg},
		{"Servo.FullDutyDeg", t.Servo.FullDutyDeg}, {"Servo pulse span", float64(t.Servo.PulseUS[1] - t.Servo.PulseUS[0])},
		{"Load.InertiaKgM2", t.Load.InertiaKgM2}, {"Supply.OpenV", t.Supply.OpenV},
	} {
		if !(f.v > 0) || math.IsInf(f.v, 0) {
			return fmt.Errorf("truth: %s is %g, wants more than 0", f.name, f.v)
		}
	}
	if b := t.Belt; b != nil && !(b.SpanNPerM > 0 && b.Teeth > 0 && b.PitchMM > 0 && b.Ratio > 0) {
		return fmt.Errorf("truth: belt of %d teeth, pitch %g mm, ratio %g, span stiffness %g N/m: all must be more than 0", b.Teeth, b.PitchMM, b.Ratio, b.SpanNPerM)
	}
	return nil
}
