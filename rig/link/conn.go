package link

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"sync"
	"sync/atomic"
	"time"

	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
)

// Times of a conversation.
const (
	helloFor     = 4 * time.Second // a board may sit in its boot loader for two
	helloEvery   = 250 * time.Millisecond
	requestEvery = 250 * time.Millisecond
	requestTries = 3
	silentFor    = 2 * time.Second        // a stand sends a status each 100 ms; after this long it is gone
	byeFor       = 300 * time.Millisecond // Close waits this long for a stand to take the bye
	stuckFor     = time.Second            // and this long for goroutines
	clockEvery   = 10                     // heartbeats
)

// Options is what a conversation needs to know.
type Options struct {
	// Joints are the bench's joints in its order; Joint.Channel is the stand's number for it.
	Joints []rig.Joint
	// HelloFor is how long to wait for the stand's hello; 0 means 4 s.
	HelloFor time.Duration
}

// Stand is what a stand said of itself.
type Stand struct {
	Firmware string // name and version
	Protocol string
	Reset    wire.Reason // why it last restarted
	Queue    int         // moves a joint's queue holds
	MaxHz    int         // greatest sample rate per joint
	Channels []wire.JointCaps
}

// Status is what the stand last told of itself.
type Status struct {
	State   wire.State
	TimeUS  int64
	Bad     int   // broken frames the stand received
	Dropped []int // samples it numbered and could not send, per joint of the bench
	At      time.Time
}

// Counts is what arrived.
type Counts struct {
	Frames    int
	Samples   int
	Drops     wire.Drops // broken frames
	Unknown   int        // whole frames of a type this version does not know
	Malformed int        // whole frames whose content breaks the protocol
	Overflow  int        // samples dropped because nobody took them
}

// Conn is a conversation in frames. Make one with Open.
type Conn struct {
	rw     io.ReadWriteCloser
	joints []rig.Joint
	index  [wire.MaxJoints]int // of the joint a channel belongs to, -1 for none
	stand  Stand

	box     *mailbox
	out     chan []byte
	closing atomic.Bool
	close   sync.Once
	closed  error
	over    chan struct{} // closed when the conversation is over, for whatever reason
	end     sync.Once
	owned   sync.WaitGroup

	mu      sync.Mutex // guards all below
	nonce   uint16     // of our hello until it was answered
	hello   chan wire.Hello
	heard   hearing
	tag     uint8
	pending map[uint8]*request
	changed chan struct{} // closed and made anew when credit, trip or state change
	queued  [wire.MaxJoints]uint16
	gone    [wire.MaxJoints]uint16
	trip    *Tripped
	status  Status
	wrapped [wire.MaxJoints]uint16 // Status.Dropped as last told
	tally   []tally
	broken  int // broken frames not yet blamed on a joint
	hz      float64
	counts  Counts
	device  unwrapper
	clock   clock
	lastIn  time.Time
	enc     wire.Encoder

	in wire.Samples // reader's own
}

// Open begins a conversation: it says hello until the stand answers. On success Conn owns rw; on
// an error rw is closed. The error is a *NoHelloError or a *VersionError when the other end is no
// stand we can talk to. ctx covers the opening only.
func Open(ctx context.Context, rw io.ReadWriteCloser, opt Options) (*Conn, error) {
	c := &Conn{
		rw: rw, joints: opt.Joints, box: newMailbox(), out: make(chan []byte, 64), over: make(chan struct{}),
		nonce: uint16(1 + rand.IntN(0xFFFF)), hello: make(chan wire.Hello, 1), pending: map[uint8]*request{},
		changed: make(chan struct{}), tally: make([]tally, len(opt.Joints)), lastIn: time.Now(),
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
	c.owned.Go(c.read)
	c.owned.Go(c.write)
	h, err := c.sayHello(ctx, opt.HelloFor)
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
			return wire.Hello{}, &NoHelloError{Heard: c.heard.verdict(c.counts), Waited: patience}
		}
	}
}

var errHelloLate = errors.New("no hello in time")

// meet keeps what the stand said of itself and compares it with the bench.
func (c *Conn) meet(h wire.Hello) error {
	c.stand = Stand{
		Firmware: fmt.Sprintf("%s %d.%d.%d", h.Name, h.Firmware[0], h.Firmware[1], h.Firmware[2]),
		Protocol: fmt.Sprintf("%d.%d", h.Major, h.Minor), Reset: h.Reset, Queue: int(h.Queue), MaxHz: int(h.MaxHz),
		Channels: append([]wire.JointCaps(nil), h.Joint[:h.Joints]...),
	}
	for _, j := range c.joints {
		if j.Channel >= h.Joints {
			return fmt.Errorf("joint %q is on channel %d, the stand has %d (0 to %d): correct channel in bench.toml",
				j.Name, j.Channel, h.Joints, h.Joints-1)
		}
	}
	return nil
}

// Stand returns what the stand said of itself.
func (c *Conn) Stand() Stand { return c.stand }

// Next implements Feed.
func (c *Conn) Next(ctx context.Context) (Event, error) { return c.box.next(ctx) }

// Losses implements Feed.
func (c *Conn) Losses() []Loss {
	c.mu.Lock()
	defer c.mu.Unlock()
	out := make([]Loss, len(c.tally))
	for i := range out {
		out[i] = Loss{c.tally[i].loss, true}
	}
	return out
}

// Counts returns what arrived so far.
func (c *Conn) Counts() Counts {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.counts
}

// Clock places the stand's time on the host's clock; N is 0 until the first exchange.
func (c *Conn) Clock() ClockFit {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.clock.fit()
}

// Status returns what the stand last told of itself; At is zero when it has not yet.
func (c *Conn) Status() Status {
	c.mu.Lock()
	defer c.mu.Unlock()
	s := c.status
	s.Dropped = append([]int(nil), s.Dropped...)
	return s
}

// Close says bye, which disarms the stand, closes the line and waits for the goroutines. When the
// line is dead the bye is lost: a stand that still lives then trips by its heartbeat rule. The
// error tells of a write that is stuck in a dead line and could not be ended; there is nothing to
// do about it but to unplug. A second Close returns the same.
func (c *Conn) Close() error {
	c.close.Do(func() {
		ctx, cancel := context.WithTimeout(context.Background(), byeFor)
		// Whether the bye arrives or not, the line is closed next.
		_, _ = c.ask(ctx, func(tag uint8) wire.Message { return &wire.Bye{Tag: tag} })
		cancel()
		c.closed = c.shut()
	})
	return c.closed
}

// shut closes the line and waits for the goroutines.
func (c *Conn) shut() error {
	c.closing.Store(true)
	c.fail(ErrClosed)
	err := c.rw.Close()
	done := make(chan struct{})
	go func() { c.owned.Wait(); close(done) }()
	select {
	case <-done:
	case <-time.After(stuckFor):
		return errors.Join(err, errors.New("close the line to the stand: a write is stuck in it; unplug the stand"))
	}
	if err != nil && !c.goneBefore() {
		return fmt.Errorf("close the line to the stand: %w", err)
	}
	return nil
}

// goneBefore says that the line had failed before we closed it: closing it then may fail too.
func (c *Conn) goneBefore() bool { return errors.Is(c.reason(), ErrGone) }

// fail ends the conversation with its first error.
func (c *Conn) fail(err error) {
	c.end.Do(func() {
		c.box.fail(err)
		close(c.over)
	})
}

// reason returns the error that ended the conversation, nil while it goes on.
func (c *Conn) reason() error {
	c.box.mu.Lock()
	defer c.box.mu.Unlock()
	return c.box.err
}

// lineError is what a failing read or write means. After its other end vanished a port reports
// the same as after our own Close, hence the flag.
func (c *Conn) lineError(doing string, err error) error {
	if c.closing.Load() {
		return ErrClosed
	}
	return fmt.Errorf("%w (%s: %w)", ErrGone, doing, err)
}

// read is the reader's goroutine.
func (c *Conn) read() {
	var dec wire.Decoder
	dec.Join() // the line may be joined in the middle of a frame
	buf := make([]byte, 4096)
	for {
		n, err := c.rw.Read(buf)
		c.receive(&dec, buf[:n])
		if err != nil {
			c.fail(c.lineError("read", err))
			return
		}
		select {
		case <-c.over: // a reader of a silent line must not outlive its conversation
			return
		default:
		}
	}
}

// write is the writer's goroutine, the only one that may be stuck in a dead line.
func (c *Conn) write() {
	for {
		select {
		case frame := <-c.out:
			if _, err := c.rw.Write(frame); err != nil {
				c.fail(c.lineError("write", err))
				return
			}
		case <-c.over:
			return
		}
	}
}

// beat is the heartbeat's goroutine. It also asks for the time now and then, and notices a stand
// that fell silent.
func (c *Conn) beat() {
	tick := time.NewTicker(wire.HeartbeatEveryMS * time.Millisecond)
	defer tick.Stop()
	for count := uint8(0); ; count++ {
		_ = c.send(&wire.Heartbeat{Count: count}) // a full queue: the writer is stuck, and the stand right to trip
		if count%clockEvery == 0 {
			c.askTime()
		}
		select {
		case <-tick.C:
		case <-c.over:
			return
		}
		c.mu.Lock()
		silent := time.Since(c.lastIn)
		c.mu.Unlock()
		if silent > silentFor {
			c.fail(fmt.Errorf("%w (it said nothing for %s)", ErrGone, silent.Round(100*time.Millisecond)))
			return
		}
	}
}

// send hands a frame to the writer. It never waits. The zero in front costs a byte and ends
// whatever noise or half a frame the stand may have received before.
func (c *Conn) send(m wire.Message) error {
	c.mu.Lock()
	frame, err := c.enc.Append(append(make([]byte, 0, wire.MaxHostBody+8), 0), m)
	c.mu.Unlock()
	if err != nil {
		return err
	}
	select {
	case <-c.over:
		return c.reason()
	default:
	}
	select {
	case c.out <- frame:
		return nil
	default:
		return fmt.Errorf("%w (the line takes nothing any more)", ErrGone)
	}
}
