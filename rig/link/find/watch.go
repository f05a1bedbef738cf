package find

import (
	"context"
	"errors"
	"math/rand/v2"
	"slices"
	"sync"
	"time"

	"limbgauge/rig"
	"limbgauge/rig/link"
)

// Recorder keeps when messages arrived. Its Arrived goes into link.Options.
type Recorder struct {
	mu   sync.Mutex
	list []link.Arrival
}

// Arrived keeps one.
func (r *Recorder) Arrived(a link.Arrival) {
	r.mu.Lock()
	r.list = append(r.list, a)
	r.mu.Unlock()
}

// Since returns those that came at a moment or later.
func (r *Recorder) Since(t time.Time) []link.Arrival {
	r.mu.Lock()
	defer r.mu.Unlock()
	return slices.Collect(func(yield func(link.Arrival) bool) {
		for _, a := range r.list {
			if !a.At.Before(t) && !yield(a) {
				return
			}
		}
	})
}

// Seen is what came while a stand was watched.
type Seen struct {
	Began    time.Time
	Batches  []rig.Batch // of each joint
	Trip     *link.Tripped
	Logs     []string
	BadLines []*link.BadLine
	// Err is what ended it before its time; nil when nothing did.
	Err error
}

// Questions about the time go out at random moments this far apart, so that they do not keep step with
// anything the stand or the carrier does.
const (
	askLeast = 30 * time.Millisecond
	askMost  = 90 * time.Millisecond
)

// Watch takes what comes for a while, n joints' samples kept apart; it ends early with the feed, and
// without an error when ctx ends. ask, where given, sends a question about the time.
func Watch(ctx context.Context, feed link.Feed, n int, span time.Duration, ask func()) Seen {
	s := Seen{Began: time.Now(), Batches: make([]rig.Batch, n)}
	ctx, cancel := context.WithTimeout(ctx, span)
	defer cancel()
	var asking sync.WaitGroup
	defer asking.Wait()
	if ask != nil {
		asking.Go(func() {
			for ctx.Err() == nil {
				ask()
				select {
				case <-time.After(askLeast + rand.N(askMost-askLeast)):
				case <-ctx.Done():
				}
			}
		})
	}
	for {
		e, err := feed.Next(ctx)
		if err != nil {
			if ctx.Err() == nil || !errors.Is(err, ctx.Err()) {
				s.Err = err
			}
			cancel()
			return s
		}
		switch e := e.(type) {
		case *link.Samples:
			for _, b := range e.Batches {
				for i := range b.Len() {
					s.Batches[b.Joint].Append(b.Row(i))
				}
			}
		case *link.Tripped:
			if s.Trip == nil {
				s.Trip = e
			}
		case *link.Log:
			s.Logs = append(s.Logs, e.Text)
		case *link.BadLine:
			s.BadLines = append(s.BadLines, e)
		}
	}
}
