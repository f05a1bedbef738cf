package link

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"maps"
	"sync"
	"sync/atomic"
	"time"

	"limbgauge/rig"
)

const (
	textQuiet   = 5 * time.Second // a text stand prints its first sample within this time
	badLinesMax = 100             // bad lines that become events; all are counted
)

// QuietError says that a stand of the text form printed no sample.
type QuietError struct {
	Waited     time.Duration
	Lines, Bad int
}

func (e *QuietError) Error() string {
	if e.Lines == 0 {
		return fmt.Sprintf("not one line within %s: is it powered, is this the right port and baud rate?", e.Waited)
	}
	return fmt.Sprintf("no good sample within %s: %d lines came, %d of them bad; compare them with section 10 of SPEC.md",
		e.Waited, e.Lines, e.Bad)
}

// Text listens to a stand that prints its samples as lines. Make one with Listen.
type Text struct {
	rw      io.ReadWriteCloser
	arrived func(Arrival) // may be nil
	joints  []rig.Joint
	box     *mailbox
	closing atomic.Bool
	close   sync.Once
	closed  error
	owned   sync.WaitGroup

	mu     sync.Mutex // guards all below
	tally  []tally
	lines  int
	bad    map[LineFault]int
	total  int // of bad
	broken int // bad lines not yet blamed on a joint
	quiet  *time.Timer
	clock  textClock
}

// Listen begins to listen to a stand of the text form. It owns rw from then on. When no sample
// comes for 5 s the conversation ends with a *QuietError.
func Listen(rw io.ReadWriteCloser, joints []rig.Joint) *Text {
	return ListenTo(rw, Options{Joints: joints})
}

// ListenTo is Listen with what else Options says; HelloFor and Rest mean nothing here.
func ListenTo(rw io.ReadWriteCloser, opt Options) *Text {
	joints := opt.Joints
	t := &Text{rw: rw, arrived: opt.Arrived, joints: joints, box: newMailbox(), tally: make([]tally, len(joints)), bad: map[LineFault]int{}}
	t.quiet = time.AfterFunc(textQuiet, func() {
		t.mu.Lock()
		defer t.mu.Unlock()
		t.box.fail(&QuietError{textQuiet, t.lines, t.total})
	})
	t.owned.Go(t.read)
	return t
}

// Next implements Feed.
func (t *Text) Next(ctx context.Context) (Event, error) { return t.box.next(ctx) }

// Losses implements Feed. They are known for joints whose lines carry seq.
func (t *Text) Losses() []Loss {
	t.mu.Lock()
	defer t.mu.Unlock()
	out := make([]Loss, len(t.tally))
	for i := range out {
		out[i] = Loss{t.tally[i].loss, t.tally[i].known}
	}
	return out
}

// Bad returns how many lines were skipped, by reason.
func (t *Text) Bad() map[LineFault]int {
	t.mu.Lock()
	defer t.mu.Unlock()
	return maps.Clone(t.bad)
}

// Close implements Feed.
func (t *Text) Close() error {
	t.close.Do(func() {
		t.closing.Store(true)
		t.box.fail(ErrClosed)
		t.quiet.Stop()
		t.closed = t.rw.Close()
		t.owned.Wait()
	})
	return t.closed
}

// read is the reader's goroutine.
func (t *Text) read() {
	buf := make([]byte, 4096)
	line := make([]byte, 0, lineMost+1)
	begun := false // the first line is joined somewhere in its middle
	for {
		n, err := t.rw.Read(buf)
		for chunk := buf[:n]; len(chunk) > 0; {
			end := bytes.IndexByte(chunk, '\n')
			piece := chunk
			if end >= 0 {
				piece = chunk[:end]
			}
			line = append(line, piece[:min(len(piece), cap(line)-len(line))]...) // what is too long is cut, and then found too long
			if end < 0 {
				break
			}
			chunk = chunk[end+1:]
			if begun {
				if err := t.take(line); err != nil {
					t.box.fail(err)
					return
				}
			}
			begun, line = true, line[:0]
		}
		if err != nil {
			if t.closing.Load() {
				err = ErrClosed
			} else {
				err = fmt.Errorf("%w (read: %w)", ErrGone, err)
			}
			t.box.fail(err)
			return
		}
	}
}

// take acts on one line. An error ends the conversation.
func (t *Text) take(line []byte) error {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.lines++
	l, fault := parseLine(line, t.joints)
	if fault == nil && l.joint >= 0 {
		var err error
		if fault, err = t.sample(l); err != nil {
			return err
		}
	}
	if fault != nil {
		t.blame(line, fault)
		return nil
	}
	if l.log != "" {
		t.box.put(&Log{l.log})
	}
	return nil
}

func (t *Text) blame(line []byte, f *lineError) {
	t.bad[f.fault]++
	if t.total++; t.total <= badLinesMax {
		t.box.put(&BadLine{Number: t.lines, Text: printableASCII(string(line), 120), Reason: f.fault, Detail: f.detail})
	}
	if f.joint >= 0 {
		t.tally[f.joint].loss.Damaged++
	} else {
		t.broken++
	}
}

func (t *Text) sample(l textLine) (*lineError, error) {
	c := &t.tally[l.joint]
	us, verdict := t.clock.at(l.row.TimeUS)
	if verdict == timeRestart {
		return nil, ErrRestarted
	}
	if verdict == timeDoubtful || c.any && us <= c.lastUS {
		return &lineError{LineOrder, l.joint, fmt.Sprintf("time %d does not follow", l.row.TimeUS)}, nil
	}
	t.quiet.Stop()
	if l.seq >= 0 {
		if !c.known { // what came before the first number can not be known
			c.known, c.next = true, uint16(l.seq)
		}
		lost := c.loss.Lost
		c.take(uint16(l.seq), 1, us, us, 0)
		if c.loss.Lost > lost && t.broken > 0 {
			c.loss.Damaged++
			t.broken--
		}
	}
	c.any, c.lastUS = true, us
	l.row.TimeUS = us
	if t.arrived != nil {
		t.arrived(Arrival{ArrivedSamples, l.joint, us, time.Now()})
	}
	if !t.box.add(len(t.joints), l.joint, 1, func(b *rig.Batch) { b.Append(l.row) }) {
		c.loss.Lost++
	}
	return nil, nil
}

// textClock unwraps times as written and decides which to believe: the text form has no check
// sum, and one damaged digit must not end a recording.
type textClock struct {
	raw, last int64 // of the newest time believed: as written, and unwrapped
	any       bool
	odd       int64 // a time that did not follow, waiting to be borne out by the next; -1 for none
}

type timeVerdict int

const (
	timeGood     timeVerdict = iota
	timeDoubtful             // does not follow; believed only if the next one bears it out
	timeRestart              // two in a row say that the stand began anew
)

const (
	wrap32   = int64(1) << 32
	textBack = 1_000_000  // us that lines of different joints may lie out of order
	textJump = 10_000_000 // us that may pass without a line
)

func (c *textClock) at(raw int64) (int64, timeVerdict) {
	if !c.any {
		c.any, c.raw, c.last, c.odd = true, raw, raw, -1
		return raw, timeGood
	}
	step := raw - c.raw
	if raw < wrap32 && c.raw < wrap32 && (step < -wrap32/2 || step > wrap32/2 && c.last >= wrap32) {
		step = int64(int32(uint32(raw) - uint32(c.raw))) // a wrap, or a line from just before one
	}
	borneOut := c.odd >= 0 && raw >= c.odd && raw-c.odd < textJump
	switch {
	case step >= -textBack && step <= textJump, step > 0 && borneOut:
		us := c.last + step
		if step > 0 {
			c.raw, c.last = raw, us
		}
		c.odd = -1
		return us, timeGood
	case borneOut:
		return 0, timeRestart
	}
	c.odd = raw
	return 0, timeDoubtful
}
