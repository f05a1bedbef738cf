package link

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
)

// CurrentOver is how long the current may stay above a joint's limit before the stand trips: a
// servo's start peak is shorter, a stalled motor does not burn in this time (common practice).
const CurrentOver = 300 * time.Millisecond

// SetupOf turns a bench's joint into what the stand is told of it. The servo's pulse range spans
// its travel with the middle at joint angle 0.
func SetupOf(j rig.Joint) (wire.SetupJoint, error) {
	p, travel := j.Servo.PulseUS, j.Servo.TravelDeg
	if p[0] <= 0 || p[1] > math.MaxUint16 || p[0] >= p[1] {
		return wire.SetupJoint{}, fmt.Errorf("joint %q: pulse_us %v must rise and be positive", j.Name, p)
	}
	if !(travel > 0) {
		return wire.SetupJoint{}, fmt.Errorf("joint %q: travel_deg %g must be positive", j.Name, travel)
	}
	if !(j.CurrentMaxA >= 0 && j.CurrentMaxA <= 65.535) {
		return wire.SetupJoint{}, fmt.Errorf("joint %q: current_max_a %g must be within 0..65.535", j.Name, j.CurrentMaxA)
	}
	half := mdeg(travel / 2 / j.Ratio())
	return wire.SetupJoint{
		Joint: uint8(j.Channel), RangeMin: mdeg(j.RangeDeg[0]), RangeMax: mdeg(j.RangeDeg[1]),
		PulseMinUS: uint16(p[0]), PulseMaxUS: uint16(p[1]), CommandMin: -half, CommandMax: half,
		CurrentMax: uint16(math.Round(j.CurrentMaxA * 1000)), OverMS: uint16(CurrentOver / time.Millisecond),
		FrameHz: uint16(j.Servo.FrameHz),
		Flags:   setupFlags(j.Sensors), JointZero: mdeg(j.Sensors.JointZeroDeg), MotorZero: mdeg(j.Sensors.MotorZeroDeg),
	}, nil
}

func setupFlags(s rig.Sensors) (f wire.SetupFlags) {
	if s.JointReversed {
		f |= wire.JointReversed
	}
	if s.MotorReversed {
		f |= wire.MotorReversed
	}
	return f
}

// mdeg rounds to mdeg; what has no room on the wire is left for the encoder to refuse.
func mdeg(deg float64) int32 {
	return int32(math.Round(max(math.MinInt32, min(math.MaxInt32, deg*1000))))
}

// Setup tells the stand about every joint of the bench and starts sampling all of them at hz. The
// stand must not be armed.
func (c *Conn) Setup(ctx context.Context, hz float64) error {
	if err := c.canSample(hz); err != nil {
		return err
	}
	for _, j := range c.joints[:len(c.opt.Joints)] {
		s, err := SetupOf(j)
		if err != nil {
			return err
		}
		if c.opt.Limp {
			s.FrameHz = 0
		} else if err := c.stand.FrameError(j); err != nil {
			return err
		}
		if _, err := c.ask(ctx, func(tag uint8) wire.Message { s.Tag = tag; return &s }); err != nil {
			return fmt.Errorf("set up joint %q: %w", j.Name, err)
		}
	}
	return c.Sample(ctx, hz)
}

// Sample starts sampling all joints at hz without setting them up: angles are then those of the bare
// sensors, and no joint can be armed that was not set up before.
func (c *Conn) Sample(ctx context.Context, hz float64) error {
	if err := c.canSample(hz); err != nil {
		return err
	}
	mask, err := c.mask(nil)
	if err != nil {
		return err
	}
	c.setHz(hz) // before the ack: samples may overtake the goroutine that waits for it
	if err := c.sampling(ctx, hz, mask); err != nil {
		c.setHz(0)
		return fmt.Errorf("start sampling: %w", err)
	}
	return nil
}

func (c *Conn) canSample(hz float64) error {
	if !(hz >= 1 && hz <= float64(c.stand.MaxHz)) || hz != math.Trunc(hz) {
		return fmt.Errorf("sample rate %g Hz: the stand can do whole numbers from 1 to %d", hz, c.stand.MaxHz)
	}
	return nil
}

// StopSampling ends the stream of samples and waits until all that the stand took have come, so
// that the losses are final afterwards.
func (c *Conn) StopSampling(ctx context.Context) error {
	if err := c.sampling(ctx, 0, 0); err != nil {
		return fmt.Errorf("stop sampling: %w", err)
	}
	c.setHz(0)
	return c.AskStatus(ctx)
}

func (c *Conn) sampling(ctx context.Context, hz float64, mask uint8) error {
	_, err := c.ask(ctx, func(tag uint8) wire.Message { return &wire.Setup{Tag: tag, Hz: uint16(hz), Mask: mask} })
	return err
}

func (c *Conn) setHz(hz float64) {
	c.mu.Lock()
	c.hz = hz
	c.mu.Unlock()
}

// AskStatus waits for a fresh status; see Status.
func (c *Conn) AskStatus(ctx context.Context) error {
	_, err := c.ask(ctx, func(tag uint8) wire.Message { return &wire.StatusAsk{Tag: tag} })
	return err
}

// mask returns the channels of some joints of the bench, of all when none is named.
func (c *Conn) mask(joints []int) (uint8, error) {
	var m uint8
	if len(joints) == 0 {
		for _, j := range c.joints {
			m |= 1 << j.Channel
		}
	}
	for _, i := range joints {
		if i < 0 || i >= len(c.joints) {
			return 0, fmt.Errorf("joint %d: the bench has %d", i, len(c.joints))
		}
		m |= 1 << c.joints[i].Channel
	}
	if m == 0 {
		return 0, errors.New("no joint is named")
	}
	return m, nil
}

// Arm switches the pulses of some joints (indexes into the bench's; none named: all) on. Motion
// may start from here on: the caller has shown the usual cautions.
func (c *Conn) Arm(ctx context.Context, joints ...int) error {
	mask, err := c.mask(joints)
	if err != nil {
		return err
	}
	if c.opt.Limp {
		return errors.New("arm: the joints were set up to stay limp")
	}
	if err := c.tripError(); err != nil {
		return err
	}
	got, err := c.ask(ctx, func(tag uint8) wire.Message { return &wire.ArmAsk{Tag: tag} })
	if err == nil {
		_, err = c.ask(ctx, func(tag uint8) wire.Message { return &wire.Arm{Tag: tag, Token: got.token, Mask: mask} })
	}
	if err != nil {
		return fmt.Errorf("arm: %w", err)
	}
	return nil
}

// Disarm switches all pulses off, discards all moves and acknowledges a trip.
func (c *Conn) Disarm(ctx context.Context) error {
	if _, err := c.ask(ctx, func(tag uint8) wire.Message { return &wire.Disarm{Tag: tag} }); err != nil {
		return fmt.Errorf("disarm: %w", err)
	}
	return nil
}

// Stop ends all moves where they are and discards the queues; the joints hold.
func (c *Conn) Stop(ctx context.Context) error {
	if _, err := c.ask(ctx, func(tag uint8) wire.Message { return &wire.Stop{Tag: tag, Mask: wire.AllJoints} }); err != nil {
		return fmt.Errorf("stop: %w", err)
	}
	return nil
}

// Queue hands the stand one move of a joint (index into the bench's) under a segment number from
// 1 on, each one other than the last. It waits while the stand's queue is full. It fails with a
// *TrippedError when the stand trips and with a *RefusedError when the stand will not do it.
func (c *Conn) Queue(ctx context.Context, joint int, segment uint16, m rig.Move) error {
	if joint < 0 || joint >= len(c.joints) {
		return fmt.Errorf("joint %d: the bench has %d", joint, len(c.joints))
	}
	j := c.joints[joint]
	rate, dwell := math.Round(m.RateDegPerS*1000), m.Dwell.Milliseconds()
	if m.RateDegPerS > 0 && rate < 1 {
		rate = 1 // 0 would mean at once
	}
	if !(rate >= 0 && rate < 1<<24) || dwell < 0 || dwell > math.MaxUint32 {
		return fmt.Errorf("joint %q, move %d: rate %g deg/s or dwell %s can not be sent", j.Name, segment, m.RateDegPerS, m.Dwell)
	}
	for {
		if err := c.waitCredit(ctx, j.Channel); err != nil {
			return fmt.Errorf("joint %q, move %d: %w", j.Name, segment, err)
		}
		_, err := c.ask(ctx, func(tag uint8) wire.Message {
			return &wire.Move{Tag: tag, Joint: uint8(j.Channel), Kind: uint8(m.Kind), Segment: segment,
				Target: mdeg(m.TargetDeg), Rate: uint32(rate), DwellMS: uint32(dwell)}
		})
		var refused *RefusedError
		if errors.As(err, &refused) && refused.Code == wire.CodeQueueFull {
			// The stand knows better: wait for its next word. A status comes each 100 ms.
			if err = c.waitChange(ctx); err == nil {
				continue
			}
		}
		if trip := c.tripError(); err != nil && trip != nil {
			err = trip // what the refusal really means
		}
		if err != nil {
			return fmt.Errorf("joint %q, move %d: %w", j.Name, segment, err)
		}
		return nil
	}
}

// Idle waits until every move that was queued has left the stand's queues, finished or discarded
// by a Stop. It fails with a *TrippedError when a trip discarded them.
func (c *Conn) Idle(ctx context.Context) error {
	for {
		c.mu.Lock()
		idle, changed := true, c.changed
		for ch := range c.queued {
			idle = idle && int16(c.queued[ch]-c.gone[ch]) <= 0
		}
		c.mu.Unlock()
		if err := c.tripError(); err != nil {
			return err
		}
		if idle {
			// The last moves may have been discarded by a trip whose news is still on its way.
			if err := c.AskStatus(ctx); err != nil {
				return err
			}
			return c.tripError()
		}
		if err := c.await(ctx, changed); err != nil {
			return err
		}
	}
}

// waitCredit waits until the stand's queue of a channel has room.
func (c *Conn) waitCredit(ctx context.Context, channel int) error {
	for {
		c.mu.Lock()
		inside, changed := int(int16(c.queued[channel]-c.gone[channel])), c.changed
		c.mu.Unlock()
		if err := c.tripError(); err != nil {
			return err
		}
		if inside < c.stand.Queue {
			return nil
		}
		if err := c.await(ctx, changed); err != nil {
			return err
		}
	}
}

func (c *Conn) waitChange(ctx context.Context) error {
	c.mu.Lock()
	changed := c.changed
	c.mu.Unlock()
	return c.await(ctx, changed)
}

// await waits for a channel that announce closes.
func (c *Conn) await(ctx context.Context, changed <-chan struct{}) error {
	select {
	case <-changed:
		return nil
	case <-c.over:
		return c.reason()
	case <-ctx.Done():
		return ctx.Err()
	}
}

// tripError returns the trip that holds, nil for none.
func (c *Conn) tripError() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.trip == nil {
		return nil
	}
	e := &TrippedError{Trip: *c.trip}
	if c.trip.Joint >= 0 {
		e.Joint = c.joints[c.trip.Joint].Name
	}
	return e
}
