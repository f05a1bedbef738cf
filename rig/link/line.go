package link

import (
	"errors"
	"fmt"
	"time"

	wire "limbgauge/firmware-protocol"
)

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
			c.AskTime()
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
