package link

import (
	"context"
	"io"
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
	// Rest adds a joint for every channel of the stand that Joints does not name.
	Rest bool
	// Limp says that no joint will be armed, so that a stand need not know how often servos get pulses.
	Limp bool
	// AtOnce hands samples over as they come, not gathered: for a stand that waits for its host.
	AtOnce bool
	// Arrived, where given, is told of each message that carries a time of the stand, as it comes. The
	// reader calls it: it must not wait, and must not call Conn.
	Arrived func(Arrival)
}

// Arrival is a message with a time of the stand, and when the host had it.
type Arrival struct {
	What     Arriving
	Joint    int   // index, of samples; else -1
	DeviceUS int64 // of samples: that of the newest in the message
	At       time.Time
}

// Arriving says what arrived.
type Arriving int

// What can arrive.
const (
	ArrivedSamples Arriving = iota
	ArrivedStatus
	ArrivedTime // the answer to a question about the time
)

// Stand is what a stand said of itself.
type Stand struct {
	Firmware string // name and version
	Protocol string
	Reset    wire.Reason // why it last restarted
	Queue    int         // moves a joint's queue holds
	MaxHz    int         // greatest sample rate per joint
	Channels []wire.JointCaps
	minor    uint8         // of the protocol
	Newer    bool          // it speaks a newer minor version than we do
	After    time.Duration // from the first question to its hello
}

// frameMinor is the minor version that can be told how often a servo gets a pulse.
const frameMinor = 1

// FrameError returns a *FrameError when the stand can not be told the rate that a joint's servo wants, else nil.
func (s Stand) FrameError(j rig.Joint) error {
	if j.Servo.FrameHz == 0 || s.minor >= frameMinor {
		return nil
	}
	return &FrameError{Joint: j.Name, Hz: j.Servo.FrameHz, Protocol: s.Protocol}
}

// TellsMagnets says whether the stand's version knows how to tell of its sensors' magnets.
func (s Stand) TellsMagnets() bool { return s.minor >= 1 }

// Status is what the stand last told of itself.
type Status struct {
	State   wire.State
	TimeUS  int64
	Bad     int       // broken frames the stand received
	Dropped []int     // samples it numbered and could not send, per joint of the bench
	Magnets []Magnets // per joint of the bench
	At      time.Time
}

// Magnets are those that a joint's angle sensors look at, as the stand tells.
type Magnets struct{ Joint, Motor wire.Magnet }

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
	opt    Options
	joints []rig.Joint
	index  [wire.MaxJoints]int // of the joint a channel belongs to, -1 for none
	stand  Stand

	box     *mailbox
	out     chan []byte
	parting atomic.Bool // the bye is under way: a stand that has it knows us no more
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

// Stand returns what the stand said of itself.
func (c *Conn) Stand() Stand { return c.stand }

// Joints returns the joints of the conversation: those of the bench, then what Options.Rest added.
func (c *Conn) Joints() []rig.Joint { return c.joints }

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
	s.Magnets = append([]Magnets(nil), s.Magnets...)
	return s
}

// Close says bye, which disarms the stand, closes the line and waits for the goroutines. When the
// line is dead the bye is lost: a stand that still lives then trips by its heartbeat rule. The
// error tells of a write that is stuck in a dead line and could not be ended; there is nothing to
// do about it but to unplug. A second Close returns the same.
func (c *Conn) Close() error {
	c.close.Do(func() {
		ctx, cancel := context.WithTimeout(context.Background(), byeFor)
		c.parting.Store(true)
		// Whether the bye arrives or not, the line is closed next.
		_, _ = c.ask(ctx, func(tag uint8) wire.Message { return &wire.Bye{Tag: tag} })
		cancel()
		c.closed = c.shut()
	})
	return c.closed
}
