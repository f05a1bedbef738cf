package session

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"sync"
	"time"

	"limbgauge/rig"
	"limbgauge/rig/link"
)

// Still reads a stand whose servos stay limp: it never arms. It serves to average readings while a
// person holds a joint in a jig or looks at a meter. It is not safe for concurrent use.
type Still struct {
	feed   link.Feed
	stand  link.Stand
	joints int
	over   chan struct{} // closed when the feed has ended

	mu    sync.Mutex
	want  int // joint that is read, -1 for none
	batch rig.Batch
	came  chan struct{} // has word when samples came
	err   error
}

// OpenStill begins to read a stand that speaks frames at a rate per joint, or one of the text form
// with hz 0. It owns the line from then on.
func OpenStill(ctx context.Context, line io.ReadWriteCloser, joints []rig.Joint, hz float64) (*Still, error) {
	s := &Still{joints: len(joints), want: -1, over: make(chan struct{}), came: make(chan struct{}, 1)}
	if hz == 0 {
		s.feed = link.Listen(line, joints)
	} else {
		conn, err := link.Open(ctx, line, link.Options{Joints: joints, Limp: true})
		if err != nil {
			return nil, fmt.Errorf("open the stand: %w", err)
		}
		if err := conn.Setup(ctx, hz); err != nil {
			return nil, errors.Join(fmt.Errorf("set the stand up: %w", err), conn.Close())
		}
		s.feed, s.stand = conn, conn.Stand()
	}
	go s.pump()
	return s, nil
}

// Stand returns what the stand said of itself; empty for the text form.
func (s *Still) Stand() link.Stand { return s.stand }

// pump takes samples off the feed all the time, so that none is old when a reading begins.
func (s *Still) pump() {
	defer close(s.over)
	for {
		e, err := s.feed.Next(context.Background()) // Close ends it
		if err != nil {
			s.mu.Lock()
			s.err = err
			s.mu.Unlock()
			return
		}
		samples, ok := e.(*link.Samples)
		if !ok {
			continue
		}
		s.mu.Lock()
		for _, b := range samples.Batches {
			if b.Joint == s.want {
				for i := range b.Len() {
					s.batch.Append(b.Row(i))
				}
			}
		}
		s.mu.Unlock()
		select {
		case s.came <- struct{}{}:
		default:
		}
	}
}

// Average is the mean of one column over a reading.
type Average struct {
	Mean, SD float64 // SD is that of one sample
	N        int     // 0: not measured
}

// Reading is what one joint showed over a while, in the units of the analysis.
type Reading struct {
	Angle, Motor, Current, Supply Average
	SpanS                         float64
}

const (
	// settleFor of the host's time and settleUS of the stand's are left out at the beginning of a
	// reading: samples that were on their way when it was asked for.
	settleFor = 60 * time.Millisecond
	settleUS  = 100_000
	// readingSlow is how many times its span a reading may take before the stand counts as silent.
	readingSlow = 10 * time.Second
	// leastSamples of a reading, below which its scatter says nothing.
	leastSamples = 10
)

// ErrSilent says that a stand sent too few samples for a reading.
var ErrSilent = errors.New("the stand sends no samples of the joint")

// Read averages a joint (its place in the joints of OpenStill) over a span of device time, from now on.
func (s *Still) Read(ctx context.Context, joint int, span time.Duration) (Reading, error) {
	if joint < 0 || joint >= s.joints {
		return Reading{}, fmt.Errorf("joint %d: there are %d", joint, s.joints)
	}
	select {
	case <-time.After(settleFor):
	case <-ctx.Done():
		return Reading{}, ctx.Err()
	}
	s.mu.Lock()
	s.want = joint
	s.batch.Reset()
	s.mu.Unlock()
	defer func() {
		s.mu.Lock()
		s.want = -1
		s.mu.Unlock()
	}()
	ctx, cancel := context.WithTimeoutCause(ctx, 2*span+readingSlow, ErrSilent)
	defer cancel()
	for {
		s.mu.Lock()
		n, err := s.batch.Len(), s.err
		whole := n > leastSamples && s.batch.TimeUS[n-1]-s.batch.TimeUS[0] >= settleUS+span.Microseconds()
		var r Reading
		if whole {
			r = readingOf(&s.batch, s.batch.TimeUS[0]+settleUS)
		}
		s.mu.Unlock()
		if whole {
			return r, nil
		}
		if err != nil {
			return Reading{}, fmt.Errorf("read the stand: %w", err)
		}
		select {
		case <-s.came:
		case <-s.over:
		case <-ctx.Done():
			return Reading{}, fmt.Errorf("read the stand: %w", context.Cause(ctx))
		}
	}
}

// readingOf averages the samples from a time on.
func readingOf(b *rig.Batch, fromUS int64) Reading {
	i := 0
	for i < b.Len() && b.TimeUS[i] < fromUS {
		i++
	}
	r := Reading{SpanS: float64(b.TimeUS[b.Len()-1]-b.TimeUS[i]) / 1e6}
	r.Angle, r.Motor = average(b.Angle[i:], 1e-3), average(b.Motor[i:], 1e-3)
	r.Current, r.Supply = average(b.Current[i:], 1e-3), average(b.Supply[i:], 1e-3)
	return r
}

func average(col []int32, unit float64) Average {
	var a Average
	sum := 0.0
	for _, v := range col {
		if v != rig.Missing {
			sum += float64(v)
			a.N++
		}
	}
	if a.N == 0 {
		return Average{Mean: math.NaN(), SD: math.NaN()}
	}
	mean, squares := sum/float64(a.N), 0.0
	for _, v := range col {
		if v != rig.Missing {
			squares += (float64(v) - mean) * (float64(v) - mean)
		}
	}
	a.Mean = mean * unit
	if a.N > 1 {
		a.SD = math.Sqrt(squares/float64(a.N-1)) * unit
	}
	return a
}

// Close ends the conversation and waits for what it started.
func (s *Still) Close() error {
	err := s.feed.Close()
	<-s.over
	if errors.Is(err, link.ErrClosed) {
		return nil
	}
	return err
}
