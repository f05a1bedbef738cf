package virtual

import (
	"io"
	"sync"
)

// outbox carries frames to a line from a goroutine of its own, so that a host which does not read
// stops the line and not the world.
type outbox struct {
	mu     sync.Mutex
	room   sync.Cond // signalled when bytes were taken or the box was closed
	full   sync.Cond // signalled when bytes came or the box was closed
	buf    []byte
	spare  []byte
	most   int
	wait   bool // a full box makes put wait instead of refusing
	closed bool
	busy   bool // a write is under way
}

func newOutbox(most int, wait bool) *outbox {
	o := &outbox{most: most, wait: wait}
	o.room.L, o.full.L = &o.mu, &o.mu
	return o
}

// put takes a frame, copying it; it is false when there is no room.
func (o *outbox) put(frame []byte) bool {
	o.mu.Lock()
	defer o.mu.Unlock()
	for o.wait && !o.closed && len(o.buf)+len(frame) > o.most {
		o.room.Wait()
	}
	if o.closed || len(o.buf)+len(frame) > o.most {
		return false
	}
	o.buf = append(o.buf, frame...)
	o.full.Signal()
	return true
}

// close ends the box; what is in it is still written.
func (o *outbox) close() {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.closed = true
	o.full.Broadcast()
	o.room.Broadcast()
}

// clear throws away what waits, and waits for the write under way to end.
func (o *outbox) clear() {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.buf = o.buf[:0]
	for o.busy && !o.closed {
		o.room.Wait()
	}
	o.buf = o.buf[:0]
}

// run writes what comes until the box is closed or the line fails.
func (o *outbox) run(w io.Writer) error {
	for {
		o.mu.Lock()
		for len(o.buf) == 0 && !o.closed {
			o.full.Wait()
		}
		if len(o.buf) == 0 {
			o.mu.Unlock()
			return nil
		}
		p := o.buf
		o.buf, o.busy = o.spare[:0], true
		o.room.Broadcast()
		o.mu.Unlock()
		_, err := w.Write(p)
		o.mu.Lock()
		o.spare, o.busy = p, false
		o.room.Broadcast()
		o.mu.Unlock()
		if err != nil {
			o.close()
			return err
		}
	}
}
