package link

import (
	"context"
	"sync"
	"time"

	"limbgauge/rig"
)

// Bounds of what waits in a mailbox.
const (
	gatherFor  = 20 * time.Millisecond // samples wait this long for company, so that batches are worth handing over
	gatherMost = 1024                  // or until a joint has so many
	holdMost   = 1 << 20               // samples of all joints that may wait for a slow receiver; further ones are lost and counted
)

// mailbox keeps events in order between the reader, which must never wait, and whoever calls Next.
type mailbox struct {
	mu     sync.Mutex
	events []Event
	tail   *gathering    // samples at the end of events that may still grow
	held   int           // samples in events
	err    error         // what ended the conversation; set once
	gather time.Duration // how long samples wait for company
	wake   chan struct{}
}

// gathering is a Samples event while it grows.
type gathering struct {
	samples *Samples
	of      []*rig.Batch // by joint, nil while it has none
	since   time.Time
	n       int
}

func newMailbox() *mailbox { return &mailbox{gather: gatherFor, wake: make(chan struct{}, 1)} }

func (m *mailbox) signal() {
	select {
	case m.wake <- struct{}{}:
	default:
	}
}

// put appends an event.
func (m *mailbox) put(e Event) {
	m.mu.Lock()
	m.tail = nil
	m.events = append(m.events, e)
	m.mu.Unlock()
	m.signal()
}

// add appends samples of one of n joints by calling fill with the batch to append to. It reports
// false, and does not call fill, when too many samples wait already.
func (m *mailbox) add(n, joint, count int, fill func(*rig.Batch)) bool {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.held+count > holdMost {
		return false
	}
	g := m.tail
	if g == nil {
		g = &gathering{samples: new(Samples), of: make([]*rig.Batch, n), since: time.Now()}
		m.tail = g
		m.events = append(m.events, g.samples)
		defer m.signal() // the receiver must start its timer
	}
	b := g.of[joint]
	if b == nil {
		b = &rig.Batch{Joint: joint}
		g.of[joint] = b
		g.samples.Batches = append(g.samples.Batches, b)
	}
	fill(b)
	m.held += count
	if g.n = max(g.n, b.Len()); g.n >= gatherMost {
		m.tail = nil
		m.signal()
	}
	return true
}

// fail ends the mailbox; the first error stays.
func (m *mailbox) fail(err error) {
	m.mu.Lock()
	if m.err == nil {
		m.err = err
	}
	m.tail = nil
	m.mu.Unlock()
	m.signal()
}

// take returns the first event when it is ripe, else how long to wait for it (0: for a signal).
func (m *mailbox) take() (e Event, wait time.Duration, err error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if len(m.events) == 0 {
		return nil, 0, m.err
	}
	e = m.events[0]
	if g := m.tail; g != nil && len(m.events) == 1 {
		if wait := m.gather - time.Since(g.since); wait > 0 {
			return nil, wait, nil
		}
		m.tail = nil
	}
	m.events[0] = nil
	m.events = m.events[1:]
	if s, ok := e.(*Samples); ok {
		for _, b := range s.Batches {
			m.held -= b.Len()
		}
	}
	return e, 0, nil
}

// next waits for an event.
func (m *mailbox) next(ctx context.Context) (Event, error) {
	for {
		e, wait, err := m.take()
		if e != nil || err != nil {
			if e != nil {
				m.signal() // there may be more for another caller
			}
			return e, err
		}
		var ripe <-chan time.Time
		if wait > 0 {
			ripe = time.After(wait)
		}
		select {
		case <-m.wake:
		case <-ripe:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
}
