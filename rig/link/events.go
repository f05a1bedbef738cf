package link

import (
	"context"

	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
)

// Feed is what comes from a stand, in the order it came.
type Feed interface {
	// Next waits for the next event. When the conversation is over it returns the events that are
	// left and then, again and again, the error that ended it: ErrClosed after Close.
	Next(ctx context.Context) (Event, error)
	// Losses returns the counts so far, one per joint of the bench.
	Losses() []Loss
	// Close ends the conversation and waits for its goroutines.
	Close() error
}

// Loss is what one joint lost. Known is false when the stand does not number its samples: then
// Lost is 0 because nothing can be seen, not because nothing was lost.
type Loss struct {
	rig.Losses
	Known bool
}

// Event is one of the types below.
type Event interface{ event() }

// Samples holds samples gathered over a short while: one batch per joint that had any. The
// receiver owns the batches.
type Samples struct{ Batches []*rig.Batch }

// Tripped says that the stand stopped its pulses by itself and stays so until disarmed.
type Tripped struct {
	Reason wire.Reason
	Joint  int // index into Bench.Joints, -1 for none in particular
	TimeUS int64
	// Value and Limit are in the unit the Reason has in SPEC.md; both 0 when they are not known.
	Value, Limit int
}

// MoveGone says that a move left a joint's queue.
type MoveGone struct {
	Joint    int
	Segment  uint16
	Finished bool // false: discarded by a stop, a disarm or a trip
	TimeUS   int64
}

// Log is a line of text for people, printable ASCII.
type Log struct{ Text string }

// BadLine is a line of the text form that was skipped.
type BadLine struct {
	Number int    // of the line since opening, from 1
	Text   string // printable, cut to 120 bytes
	Reason LineFault
	Detail string
}

func (*Samples) event()  {}
func (*Tripped) event()  {}
func (*MoveGone) event() {}
func (*Log) event()      {}
func (*BadLine) event()  {}
