package link

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"slices"
	"time"

	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
)

// Open begins a conversation: it says hello until the stand answers. On success Conn owns rw; on
// an error rw is closed. The error is a *NoHelloError or a *VersionError when the other end is no
// stand we can talk to. ctx covers the opening only.
func Open(ctx context.Context, rw io.ReadWriteCloser, opt Options) (*Conn, error) {
	c := &Conn{
		rw: rw, opt: opt, joints: opt.Joints, box: newMailbox(), out: make(chan []byte, 64), over: make(chan struct{}),
		nonce: uint16(1 + rand.IntN(0xFFFF)), hello: make(chan wire.Hello, 1), pending: map[uint8]*request{},
		changed: make(chan struct{}), tally: make([]tally, len(opt.Joints)), lastIn: time.Now(),
	}
	if opt.AtOnce {
		c.box.gather = 0
	}
	for ch := range c.index {
		c.index[ch] = -1
	}
	for i, j := range opt.Joints {
		if j.Channel < 0 || j.Channel >= wire.MaxJoints || c.index[j.Channel] >= 0 {
			_ = rw.Close() // nothing was sent yet: the error below is the one to report
			return nil, fmt.Errorf("joint %q: channel %d is taken twice or not within 0..%d", j.Name, j.Channel, wire.MaxJoints-1)
		}
		c.index[j.Channel] = i
	}
	c.status.Dropped = make([]int, len(opt.Joints))
	c.status.Magnets = make([]Magnets, len(opt.Joints))
	c.owned.Go(c.read)
	c.owned.Go(c.write)
	asked := time.Now()
	h, err := c.sayHello(ctx, opt.HelloFor)
	c.stand.After = time.Since(asked)
	if err == nil && h.Major != wire.Major {
		err = &VersionError{h.Major, h.Minor}
	}
	if err == nil {
		err = c.meet(h)
	}
	if err != nil {
		return nil, errors.Join(err, c.shut())
	}
	c.owned.Go(c.beat)
	return c, nil
}

// sayHello repeats hello_ask until the stand answers it.
func (c *Conn) sayHello(ctx context.Context, patience time.Duration) (wire.Hello, error) {
	if patience == 0 {
		patience = helloFor
	}
	ctx, cancel := context.WithTimeoutCause(ctx, patience, errHelloLate)
	defer cancel()
	again := time.NewTicker(helloEvery)
	defer again.Stop()
	c.mu.Lock()
	ask := wire.HelloAsk{Major: wire.Major, Minor: wire.Minor, Nonce: c.nonce}
	c.mu.Unlock()
	for {
		if err := c.send(&ask); err != nil {
			return wire.Hello{}, err
		}
		select {
		case h := <-c.hello:
			return h, nil
		case <-again.C:
		case <-c.over:
			return wire.Hello{}, fmt.Errorf("say hello: %w", c.reason())
		case <-ctx.Done():
			if !errors.Is(context.Cause(ctx), errHelloLate) {
				return wire.Hello{}, ctx.Err()
			}
			c.mu.Lock()
			defer c.mu.Unlock()
			return wire.Hello{}, &NoHelloError{Heard: c.heard.verdict(c.counts), Waited: patience, Reset: c.heard.reset}
		}
	}
}

var errHelloLate = errors.New("no hello in time")

// meet keeps what the stand said of itself and compares it with the bench.
func (c *Conn) meet(h wire.Hello) error {
	c.stand = Stand{
		After: c.stand.After, minor: h.Minor, Newer: h.Minor > wire.Minor,
		Firmware: fmt.Sprintf("%s %d.%d.%d", h.Name, h.Firmware[0], h.Firmware[1], h.Firmware[2]),
		Protocol: fmt.Sprintf("%d.%d", h.Major, h.Minor), Reset: h.Reset, Queue: int(h.Queue), MaxHz: int(h.MaxHz),
		Channels: append([]wire.JointCaps(nil), h.Joint[:h.Joints]...),
	}
	for _, j := range c.joints {
		if j.Channel >= h.Joints {
			return &ChannelError{Joint: j.Name, Channel: j.Channel, Has: h.Joints}
		}
	}
	if c.opt.Rest {
		c.addRest(h.Joints)
	}
	return nil
}

// addRest adds joints for the channels that have none.
func (c *Conn) addRest(channels int) {
	c.mu.Lock() // the reader is at work already
	defer c.mu.Unlock()
	c.joints = slices.Clone(c.joints)
	for ch := range channels {
		if c.index[ch] >= 0 {
			continue
		}
		c.index[ch] = len(c.joints)
		c.joints = append(c.joints, rig.Joint{Name: fmt.Sprintf("channel %d", ch), Channel: ch})
		c.tally = append(c.tally, tally{})
		c.status.Dropped = append(c.status.Dropped, 0)
		c.status.Magnets = append(c.status.Magnets, Magnets{})
	}
}
