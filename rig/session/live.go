package session

import (
	"sync/atomic"
	"time"

	"limbgauge/rig"
)

// Snapshot is the newest that is known of a running session.
type Snapshot struct {
	Joint   string
	Move    rig.MoveKind
	Segment int // number of the move, from 1
	Moves   int // moves of the routine
	// Done and Left are device time; Share is 0..1 over all plans.
	Done, Left time.Duration
	Share      float64
	// The newest reading; NaN where not measured.
	CommandDeg, AngleDeg, MotorDeg, CurrentA, SupplyV float64
	// PeakA is the greatest current since the snapshot before.
	PeakA   float64
	Samples int
	Losses  rig.Losses
	// Said is a remark of the stand, empty most of the time.
	Said string
}

// Live hands snapshots to one watcher. It never waits: when the watcher is slow the oldest go, and
// are counted. A nil Live takes everything and does nothing.
type Live struct {
	c       chan Snapshot
	dropped atomic.Int64
}

// NewLive makes a feed that holds up to n snapshots, at least one.
func NewLive(n int) *Live { return &Live{c: make(chan Snapshot, max(n, 1))} }

// C returns the channel to read from. It is not closed; stop reading when the session has returned.
func (l *Live) C() <-chan Snapshot { return l.c }

// Dropped returns how many snapshots were dropped because nobody read them in time.
func (l *Live) Dropped() int { return int(l.dropped.Load()) }

// put hands over a snapshot; only the pump calls it, so after one drop there is room.
func (l *Live) put(s Snapshot) {
	if l == nil {
		return
	}
	for {
		select {
		case l.c <- s:
			return
		default:
		}
		select {
		case <-l.c:
			l.dropped.Add(1)
		default:
		}
	}
}

func (l *Live) say(text string) {
	if l != nil {
		l.put(Snapshot{Said: text})
	}
}
