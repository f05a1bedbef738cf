package virtual

import (
	"sync/atomic"
	"time"
)

// step keeps a stand that runs as fast as it can in step with a host that says how far it is. What comes of
// a run is then the same on every computer, busy or not: no time passes while the host is still dealing
// with what it got, as when a rule of its own is about to stop the motion.
type step struct {
	paced   atomic.Bool // the host has said so once
	handled atomic.Int64
	news    chan struct{} // a word of the host came
	// Only the stand's loop uses these.
	sent  int64 // samples that left whole
	since wallTime
	held  bool
}

const (
	// stepMost is how long a stand waits for a word of its host's that does not come.
	stepMost = time.Second
	// idleMost is how long no time passes while nothing moves, well below what makes a stand seem gone.
	idleMost = time.Second
)

func newStep() *step { return &step{news: make(chan struct{}, 1)} }

// say tells that the host has dealt with so many samples more.
func (s *step) say(samples int) {
	s.handled.Add(int64(samples))
	s.paced.Store(true)
	select {
	case s.news <- struct{}{}:
	default:
	}
}

// holds says whether the world must stand still: the host owes a word, and not for too long.
func (s *step) holds(wall wallTime) bool {
	if !s.paced.Load() || s.handled.Load() >= s.sent {
		s.held = false
		return false
	}
	if !s.held {
		s.held, s.since = true, wall
	}
	if wall-s.since > stepMost { // lost on the way, or the host has other things to do
		s.sent, s.held = s.handled.Load(), false
	}
	return s.held
}
