package virtual

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"sync"
	"time"

	"limbgauge/rig"
)

// wallTime is the time of the wall's clock since the stand was switched on.
type wallTime = time.Duration

const (
	// turnUS is the most the world moves between two looks at what the host sent.
	turnUS = 20_000
	// turnBytes is the most of it that is handled in one turn, so that a flood cannot stop the world.
	turnBytes = 512
	// turnEvery is the pause between turns of a stand that keeps a pace.
	turnEvery = time.Millisecond
	// turnAtMost is how long a turn may take on a computer that is busy, well above what one needs. A
	// stand that was given no time for longer could not have heard the host either.
	turnAtMost = 20 * time.Millisecond
	// roomBytes is how much may wait for the line: a sixth of a second at 500,000 baud.
	roomBytes = 8192
)

// arrival is a piece of what the host sent, or word that it opened the port.
type arrival struct {
	bytes  []byte
	opened bool
}

// opener is a line that can see its other end being opened.
type opener interface {
	// ReadOpen reads like Read, and says whether the line was opened anew before these bytes. It may
	// return no bytes.
	ReadOpen(p []byte) (n int, opened bool, err error)
	// Accept lets through what is written from now on. Until then, and after the other end was closed,
	// a Write takes everything at once and throws it away.
	Accept()
}

// Serve lets the stand talk over rw until ctx ends or the line does, closes rw, and waits for what it
// started. The error is nil when the host ended the line, ctx's when that ended. A Stand is served
// once; rw's Close must end a Read and a Write that wait.
func (s *Stand) Serve(ctx context.Context, rw io.ReadWriteCloser) error {
	start := time.Now()
	since := func() wallTime { return time.Since(start) }
	in := make(chan arrival, 64)
	out := newOutbox(roomBytes, s.opt.Speed == 0)
	s.dev.sendTo(out.put)

	inner, cancel := context.WithCancel(ctx)
	defer cancel()
	var wg sync.WaitGroup
	var readErr, writeErr error
	wg.Go(func() {
		defer close(in)
		readErr = pump(inner, rw, in)
	})
	wg.Go(func() {
		writeErr = out.run(rw)
		cancel()
	})
	// A put that waits for room must not outlive the context.
	stop := context.AfterFunc(inner, out.close)
	defer stop()

	s.opened = func() {
		// Nothing of the time before the opening may reach the host.
		out.clear()
		rw.(opener).Accept()
		s.dev.opened()
	}
	s.loop(inner, in, since)
	cancel()
	out.close()
	closeErr := rw.Close()
	wg.Wait()
	if err := ctx.Err(); err != nil {
		return err
	}
	for _, e := range []struct {
		doing string
		err   error
	}{{"read from", readErr}, {"write to", writeErr}, {"close", closeErr}} {
		if e.err != nil && !ended(e.err) {
			return fmt.Errorf("virtual stand: %s the line: %w", e.doing, e.err)
		}
	}
	return nil
}

// ended says whether an error only means that the line was closed.
func ended(err error) bool {
	return errors.Is(err, io.EOF) || errors.Is(err, io.ErrClosedPipe) || errors.Is(err, net.ErrClosed) || errors.Is(err, os.ErrClosed)
}

// pump hands what arrives to the loop.
func pump(ctx context.Context, r io.Reader, in chan<- arrival) error {
	read := func(p []byte) (int, bool, error) {
		n, err := r.Read(p)
		return n, false, err
	}
	if o, ok := r.(opener); ok {
		read = o.ReadOpen
	}
	for {
		buf := make([]byte, turnBytes)
		n, opened, err := read(buf)
		if n > 0 || opened {
			select {
			case in <- arrival{bytes: buf[:n], opened: opened}:
			case <-ctx.Done():
				return nil
			}
		}
		if err != nil {
			return err
		}
	}
}

// loop is the stand's life: let the world run on, hear the host, apply the rules.
func (s *Stand) loop(ctx context.Context, in <-chan arrival, since func() wallTime) {
	p := pace{free: s.opt.Speed == 0, rate: s.opt.Speed}
	// Its time does not begin before somebody speaks to it; a stand of the text form speaks first.
	held, met := false, s.opt.Form == rig.FormText
	toward := func(world int64) int64 {
		if held = p.free && (!met || s.step.holds(since())); held {
			return world
		}
		p.still = p.free && s.step.paced.Load()
		return p.target(since(), world, s.dev.busy())
	}
	var up awake
	rest := time.NewTimer(turnEvery)
	defer rest.Stop()
	for ctx.Err() == nil {
		world := s.dev.nowWorldUS()
		target := toward(world)
		s.dev.advance(max(world, min(target, world+turnUS)))
		room := turnBytes
		for hear := true; hear && room > 0; {
			select {
			case a, ok := <-in:
				if !ok {
					return
				}
				met = true
				s.hear(a, up.at(since()))
				room -= len(a.bytes)
			default:
				hear = false
			}
		}
		s.dev.judge(up.at(since()))
		if !held && (room <= 0 || target > world+turnUS || p.running) {
			continue
		}
		rest.Reset(turnEvery)
		select {
		case a, ok := <-in:
			if !ok {
				return
			}
			met = true
			// The world catches up first, so that an answer tells the time it is.
			s.dev.advance(max(s.dev.nowWorldUS(), min(toward(world), world+turnUS)))
			s.hear(a, up.at(since()))
		case <-s.step.news:
		case <-rest.C:
		case <-ctx.Done():
		}
	}
}

func (s *Stand) hear(a arrival, at wallTime) {
	if a.opened {
		s.opened()
	}
	s.dev.receive(a.bytes, at)
}

// awake is the wall's clock less the time in which a busy computer let the stand do nothing: the host's
// silence is counted by a stand that listens, as a board of its own always does.
type awake struct{ wall, up wallTime }

// at returns the stand's own time at a time of the wall.
func (a *awake) at(wall wallTime) wallTime {
	a.up += min(max(0, wall-a.wall), turnAtMost)
	a.wall = wall
	return a.up
}

// pace says how far the world should be. It counts from where it last changed, by the wall's clock, so
// that nothing adds up to a drift.
type pace struct {
	free    bool    // as fast as the line takes it while a move is under way
	rate    float64 // seconds of the world in one of the wall
	running bool    // free, and a move is under way
	still   bool    // no time passes for a while when no move is
	from    wallTime
	fromUS  int64
	began   bool
}

func (p *pace) target(wall wallTime, worldUS int64, busy bool) int64 {
	if p.free {
		p.rate = IdleSpeed
		if p.running != busy || !p.began {
			p.running, p.from, p.fromUS = busy, wall, worldUS
		}
		if busy {
			p.began = true
			return worldUS + turnUS
		}
		if p.still {
			wall = max(p.from, wall-idleMost)
		}
	} else if !p.began {
		p.from, p.fromUS = wall, worldUS
	}
	p.began = true
	return p.fromUS + int64(float64(wall-p.from)/float64(time.Microsecond)*p.rate)
}
