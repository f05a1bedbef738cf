package linktest

import (
	"io"
	"math/rand/v2"
	"sync"
	"time"

	wire "limbgauge/firmware-protocol"
)

// Config shapes an ideal stand. The zero value is a stand of three joints.
type Config struct {
	Joints  int     // 0: 3
	Queue   int     // moves; 0: 4
	MaxHz   int     // 0: 1000
	StartUS uint32  // its clock at power-up
	PPM     float64 // how much faster than ours its clock runs
	Major   uint8   // protocol version it claims; 0: ours
	Name    string
	// Angle, when set, replaces the angle a joint shows, so that trips can be provoked.
	Angle func(joint int, command int32) int32
	// CurrentMA, when set, replaces the current a joint draws.
	CurrentMA func(joint int) int32
}

// Stand is the ideal stand. Its fields belong to the goroutine of Serve.
type Stand struct {
	cfg   Config
	start time.Time
	out   chan []byte
	again chan struct{} // Restart was called
	enc   wire.Encoder
	drops func() int // broken frames received

	met       bool // hello was said
	state     wire.State
	trip      wire.Reason
	tripJoint uint8
	token     uint16
	tokenAt   time.Time
	lastToken uint16
	beat      time.Time
	status    time.Time
	badAt     int // broken frames before hello
	period    time.Duration
	joint     []joint
}

// joint is one joint of the ideal stand.
type joint struct {
	set     *wire.SetupJoint
	armed   bool
	first   bool // no move since arming yet
	last    uint16
	command int32
	queue   []wire.Move
	moveAt  time.Duration // when the running move began
	from    int32         // where it began
	gone    uint16
	sampled bool
	seq     uint16
	nextAt  time.Duration
	dropped uint16
	over    time.Duration // since when the current is over its limit; -1: it is not
	out     wire.Samples
	outAt   time.Duration
}

// NewStand makes an ideal stand that was just switched on.
func NewStand(cfg Config) *Stand {
	def := func(v *int, d int) {
		if *v == 0 {
			*v = d
		}
	}
	def(&cfg.Joints, 3)
	def(&cfg.Queue, 4)
	def(&cfg.MaxHz, 1000)
	if cfg.Major == 0 {
		cfg.Major = wire.Major
	}
	if cfg.Name == "" {
		cfg.Name = "ideal"
	}
	s := &Stand{cfg: cfg, start: time.Now(), joint: make([]joint, cfg.Joints), again: make(chan struct{}, 1)}
	s.reset()
	return s
}

// Serve lets the stand talk over rw until rw fails or is closed. It returns when its goroutines are done.
func (s *Stand) Serve(rw io.ReadWriteCloser) {
	var wg sync.WaitGroup
	in := make(chan []byte)
	over := make(chan struct{})
	s.out = make(chan []byte, 256)
	var mu sync.Mutex
	var dec wire.Decoder
	s.drops = func() int { mu.Lock(); defer mu.Unlock(); return dec.Drops().Total() }
	wg.Go(func() {
		defer close(over)
		buf := make([]byte, 512)
		for {
			n, err := rw.Read(buf)
			for chunk := buf[:n]; len(chunk) > 0; {
				mu.Lock()
				var body []byte
				body, chunk = dec.Next(chunk)
				body = append([]byte(nil), body...)
				mu.Unlock()
				if len(body) > 0 {
					in <- body
				}
			}
			if err != nil {
				return
			}
		}
	})
	wg.Go(func() {
		for frame := range s.out {
			if _, err := rw.Write(frame); err != nil {
				for range s.out { // the line is dead: let the stand run on until it is told
				}
			}
		}
	})
	tick := time.NewTicker(time.Millisecond)
	defer tick.Stop()
	for {
		select {
		case body := <-in:
			s.handle(body)
		case <-tick.C:
			s.turn()
		case <-s.again:
			s.reset()
			s.met = false
			h := s.ownHello(0)
			h.Reset = wire.ReasonReset
			s.send(&h)
		case <-over:
			close(s.out)
			wg.Wait()
			return
		}
	}
}

// Restart resets the stand, as its reset line would.
func (s *Stand) Restart() { s.again <- struct{}{} }

func (s *Stand) now() time.Duration { return time.Since(s.start) }

func (s *Stand) deviceUS(d time.Duration) uint32 {
	return s.cfg.StartUS + uint32(d.Microseconds()+int64(float64(d.Microseconds())*s.cfg.PPM*1e-6))
}

// reset brings the stand into the state after power-up and after hello.
func (s *Stand) reset() {
	s.state, s.trip, s.tripJoint, s.token, s.period = wire.StateDisarmed, 0, wire.NoJoint, 0, 0
	for j := range s.joint {
		s.joint[j] = joint{command: bare(s.joint[j].set, s.joint[j].command), over: -1}
	}
	if s.drops != nil {
		s.badAt = s.drops()
	}
}

func (s *Stand) send(m wire.Message) {
	frame, err := s.enc.Append(nil, m)
	if err != nil {
		panic(err) // the ideal stand makes no message that does not fit
	}
	s.out <- frame
}

// handle answers one message of the host.
func (s *Stand) handle(body []byte) {
	typ := wire.Type(body[0])
	tag := uint8(0)
	if len(body) > 1 {
		tag = body[1]
	}
	refuse := func(code wire.Code, joint uint8) {
		if code != 0 {
			s.send(&wire.Refusal{Tag: tag, Of: typ, Code: code, Joint: joint})
		} else {
			s.send(&wire.Ack{Tag: tag, Of: typ})
		}
	}
	m, err := wire.Parse(body)
	switch {
	case typ == wire.TypeHelloAsk && err == nil:
		s.hello(m.(*wire.HelloAsk))
		return
	case !s.met:
		refuse(wire.CodeNoHello, wire.NoJoint)
		return
	case !typ.FromHost() || wire.New(typ) == nil:
		refuse(wire.CodeUnknown, wire.NoJoint)
		return
	case err != nil:
		refuse(wire.CodeMalformed, wire.NoJoint)
		return
	}
	switch m := m.(type) {
	case *wire.Heartbeat:
		s.beat = time.Now()
	case *wire.ClockAsk:
		s.send(&wire.Clock{Tag: tag, TimeUS: s.deviceUS(s.now())})
	case *wire.StatusAsk:
		s.tellStatus(tag)
	case *wire.SetupJoint:
		refuse(s.setUp(m), m.Joint)
	case *wire.Setup:
		refuse(s.sample(m), wire.NoJoint)
	case *wire.ArmAsk:
		for s.token = s.lastToken; s.token == s.lastToken || s.token == 0; {
			s.token = uint16(rand.IntN(1 << 16))
		}
		s.lastToken, s.tokenAt = s.token, time.Now()
		s.send(&wire.ArmToken{Tag: tag, Token: s.token})
	case *wire.Arm:
		was := s.state
		code, joint := s.arm(m)
		refuse(code, joint)
		s.tellChange(was)
	case *wire.Disarm:
		was := s.state
		s.disarm(wire.StateDisarmed)
		s.trip, s.tripJoint = 0, wire.NoJoint
		refuse(0, 0)
		s.tellChange(was)
	case *wire.Move:
		refuse(s.queue(m), m.Joint)
	case *wire.Stop:
		for j := range s.joint {
			if m.Mask>>j&1 != 0 {
				s.discard(j)
			}
		}
		refuse(0, 0)
	case *wire.Bye:
		s.disarm(wire.StateDisarmed)
		refuse(0, 0)
		s.reset()
		s.met = false
	}
}

func (s *Stand) hello(m *wire.HelloAsk) {
	s.reset()
	h := s.ownHello(m.Nonce)
	s.send(&h)
	s.met = m.Major == s.cfg.Major
	s.status, s.beat = time.Now(), time.Now()
}

func (s *Stand) ownHello(nonce uint16) wire.Hello {
	h := wire.Hello{Major: s.cfg.Major, Minor: 0, Nonce: nonce, Firmware: [3]uint8{1, 0, 0}, Reset: wire.ReasonPowerUp,
		Queue: uint8(s.cfg.Queue), MaxHz: uint16(s.cfg.MaxHz), Joints: len(s.joint), Name: s.cfg.Name}
	for j := range s.joint {
		h.Joint[j] = wire.JointCaps{Has: fields | wire.HasServo, JointCounts: 4096}
	}
	return h
}

// fields is what every joint of the ideal stand measures.
const fields = wire.HasAngle | wire.HasCurrent | wire.HasSupply
