package linktest

import (
	"io"
	"slices"
	"sync"
	"testing"
	"time"

	wire "limbgauge/firmware-protocol"
)

// patience is how long the suite waits for an answer. It is no measure of speed: a stand that
// works answers at once, and one that does not never does.
const patience = 5 * time.Second

// client is a bare host: it sends what a test tells it to and keeps what comes, without any of the
// care that package link takes.
type client struct {
	t       *testing.T
	rw      io.ReadWriteCloser
	tag     uint8
	in      chan wire.Message
	wg      sync.WaitGroup
	stop    chan struct{} // ends the heartbeats
	mu      sync.Mutex    // guards samples and writes
	enc     wire.Encoder
	samples []wire.Samples
}

func newClient(t *testing.T, rw io.ReadWriteCloser) *client {
	c := &client{t: t, rw: rw, in: make(chan wire.Message, 4096)}
	c.wg.Go(c.read)
	t.Cleanup(func() {
		c.mute()
		_ = rw.Close() // the stand may have gone already
		c.wg.Wait()
	})
	return c
}

func (c *client) read() {
	var dec wire.Decoder
	dec.Join()
	buf := make([]byte, 4096)
	for {
		n, err := c.rw.Read(buf)
		for chunk := buf[:n]; len(chunk) > 0; {
			var body []byte
			if body, chunk = dec.Next(chunk); body == nil {
				continue
			}
			m, err := wire.Parse(body)
			if err != nil {
				c.t.Errorf("the stand sent %X: %v", body, err)
				continue
			}
			if s, ok := m.(*wire.Samples); ok {
				c.mu.Lock()
				c.samples = append(c.samples, *s)
				c.mu.Unlock()
				continue
			}
			select {
			case c.in <- m:
			default: // nobody waits for so many; a test that does finds its message missing
			}
		}
		if err != nil {
			return
		}
	}
}

func (c *client) raw(p []byte) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if _, err := c.rw.Write(p); err != nil {
		c.t.Errorf("write to the stand: %v", err)
	}
}

func (c *client) send(m wire.Message) { c.sendTogether(m) }

// sendTogether sends messages with nothing between them.
func (c *client) sendTogether(all ...wire.Message) {
	frames := []byte{0}
	var err error
	c.mu.Lock()
	for _, m := range all {
		if err == nil {
			frames, err = c.enc.Append(frames, m)
		}
	}
	c.mu.Unlock()
	if err != nil {
		c.t.Fatal(err)
	}
	c.raw(frames)
}

// beat keeps a heartbeat going until mute.
func (c *client) beat() {
	stop := make(chan struct{})
	c.stop = stop
	c.send(&wire.Heartbeat{})
	c.wg.Go(func() {
		tick := time.NewTicker(wire.HeartbeatEveryMS * time.Millisecond)
		defer tick.Stop()
		for n := uint8(1); ; n++ {
			select {
			case <-tick.C:
				c.send(&wire.Heartbeat{Count: n})
			case <-stop:
				return
			}
		}
	})
}

func (c *client) mute() {
	if c.stop != nil {
		close(c.stop)
		c.stop = nil
	}
}

// nextTag returns a fresh tag.
func (c *client) nextTag() uint8 {
	if c.tag++; c.tag == 0 {
		c.tag = 1
	}
	return c.tag
}

// wait returns the first message to come that want takes, and drops those before it.
func wait[M wire.Message](c *client, what string, want func(M) bool) M {
	c.t.Helper()
	late := time.After(patience)
	for {
		select {
		case m := <-c.in:
			if got, ok := m.(M); ok && (want == nil || want(got)) {
				return got
			}
		case <-late:
			c.t.Fatalf("the stand did not send %s within %s", what, patience)
		}
	}
}

// ask sends a message with a tag and returns the refusal's code, 0 when it was acked.
func (c *client) ask(build func(tag uint8) wire.Message) wire.Code {
	c.t.Helper()
	tag := c.nextTag()
	m := build(tag)
	c.send(m)
	return c.answer(tag, m.Type())
}

// answer waits for the ack (0) or refusal of a tag.
func (c *client) answer(tag uint8, of wire.Type) wire.Code {
	c.t.Helper()
	late := time.After(patience)
	for {
		select {
		case m := <-c.in:
			switch m := m.(type) {
			case *wire.Ack:
				if m.Tag == tag && m.Of == of {
					return 0
				}
			case *wire.Refusal:
				if m.Tag == tag && m.Of == of {
					return m.Code
				}
			}
		case <-late:
			c.t.Fatalf("the stand did not answer %s within %s", of, patience)
		}
	}
}

// want asks and compares the answer.
func (c *client) want(code wire.Code, build func(tag uint8) wire.Message) {
	c.t.Helper()
	if got := c.ask(build); got != code {
		c.t.Errorf("%s: answered %s, want %s", build(0).Type(), got, code)
	}
}

// status asks for a status.
func (c *client) status() *wire.Status {
	c.t.Helper()
	tag := c.nextTag()
	c.send(&wire.StatusAsk{Tag: tag})
	return wait(c, "the status asked for", func(m *wire.Status) bool { return m.Tag == tag })
}

// hello says hello until it is answered: a stand may be starting up.
func (c *client) hello() *wire.Hello {
	c.t.Helper()
	const nonce = 0x5A17
	late := time.Now().Add(patience)
	for time.Now().Before(late) {
		c.send(&wire.HelloAsk{Major: wire.Major, Minor: wire.Minor, Nonce: nonce})
		again := time.After(250 * time.Millisecond)
		for waiting := true; waiting; {
			select {
			case m := <-c.in:
				if h, ok := m.(*wire.Hello); ok && h.Nonce == nonce {
					c.mu.Lock()
					c.samples = nil
					c.mu.Unlock()
					return h
				}
			case <-again:
				waiting = false
			}
		}
	}
	c.t.Fatalf("no hello within %s", patience)
	return nil
}

// token asks for an arming token.
func (c *client) token() uint16 {
	c.t.Helper()
	tag := c.nextTag()
	c.send(&wire.ArmAsk{Tag: tag})
	return wait(c, "an arming token", func(m *wire.ArmToken) bool { return m.Tag == tag }).Token
}

// got returns the samples of a channel so far.
func (c *client) got(channel uint8) []wire.Samples {
	c.mu.Lock()
	defer c.mu.Unlock()
	return slices.DeleteFunc(slices.Clone(c.samples), func(s wire.Samples) bool { return s.Joint != channel })
}
