package link

import (
	"context"
	"fmt"
	"time"

	wire "limbgauge/firmware-protocol"
)

// request is a question whose answer is not there yet.
type request struct {
	of    wire.Type
	joint uint8 // channel of a move
	sent  time.Time
	reply chan reply // nil for a question about the time, which nobody waits for
}

type reply struct {
	refused *wire.Refusal
	token   uint16
}

// ask sends the message that build makes with a fresh tag, again when no answer comes, and waits
// for the answer. The stand bears a repeat: SPEC.md, section 4.
func (c *Conn) ask(ctx context.Context, build func(tag uint8) wire.Message) (reply, error) {
	r := &request{reply: make(chan reply, 1), sent: time.Now()}
	tag := c.register(r)
	defer c.forget(tag)
	m := build(tag)
	c.mu.Lock()
	r.of = m.Type()
	if mv, ok := m.(*wire.Move); ok {
		r.joint = mv.Joint
	}
	c.mu.Unlock()
	for range requestTries {
		if err := c.send(m); err != nil {
			return reply{}, fmt.Errorf("ask the stand (%s): %w", r.of, err)
		}
		select {
		case a := <-r.reply:
			if a.refused != nil {
				return a, c.refused(a.refused)
			}
			return a, nil
		case <-time.After(requestEvery):
		case <-c.over:
			return reply{}, fmt.Errorf("ask the stand (%s): %w", r.of, c.reason())
		case <-ctx.Done():
			return reply{}, fmt.Errorf("ask the stand (%s): %w", r.of, ctx.Err())
		}
	}
	return reply{}, &NoReplyError{r.of}
}

// AskTime sends a question about the time; the reader keeps the answer. One goes out each second anyway.
func (c *Conn) AskTime() {
	tag := c.register(&request{of: wire.TypeClockAsk, sent: time.Now()})
	_ = c.send(&wire.ClockAsk{Tag: tag}) // a lost question is asked again in a second
}

// register gives a request a tag that no open request has. There are 255, far more than ever wait.
func (c *Conn) register(r *request) uint8 {
	c.mu.Lock()
	defer c.mu.Unlock()
	for {
		if c.tag++; c.tag == 0 {
			c.tag = 1
		}
		old, taken := c.pending[c.tag]
		if !taken || old.reply == nil { // a question about the time may be given up
			c.pending[c.tag] = r
			return c.tag
		}
	}
}

func (c *Conn) forget(tag uint8) {
	c.mu.Lock()
	delete(c.pending, tag)
	c.mu.Unlock()
}

// answer passes an answer to whoever asked. Called with c.mu held.
func (c *Conn) answer(tag uint8, of wire.Type, a reply) {
	r := c.pending[tag]
	if r == nil || r.of != of || r.reply == nil {
		return
	}
	delete(c.pending, tag) // the answer to a repeat finds nobody
	// These are counted here, in the order of the line, and not where the asker wakes up.
	switch {
	case a.refused != nil:
	case of == wire.TypeMove && int(r.joint) < len(c.queued):
		c.queued[r.joint]++
		c.announce()
	case of == wire.TypeDisarm:
		c.trip = nil
		c.announce()
	}
	r.reply <- a
}

// refused makes an error of a refusal.
func (c *Conn) refused(r *wire.Refusal) error {
	return &RefusedError{Of: r.Of, Code: r.Code, Joint: c.jointName(r.Joint)}
}

// jointName returns the bench's name of a channel, "" for none.
func (c *Conn) jointName(channel uint8) string {
	if i := c.jointIndex(channel); i >= 0 {
		return c.joints[i].Name
	}
	return ""
}

// jointIndex returns the bench's index of a channel, -1 for none.
func (c *Conn) jointIndex(channel uint8) int {
	if int(channel) >= len(c.index) {
		return -1
	}
	return c.index[channel]
}

// announce wakes all who wait for credit or a change of state. Called with c.mu held.
func (c *Conn) announce() {
	close(c.changed)
	c.changed = make(chan struct{})
}
