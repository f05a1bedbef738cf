package book

import (
	"time"

	"limbgauge/analyze/alike"
	"limbgauge/analyze/health"
)

// Event is one of RunEvent, RevisionEvent, ServiceEvent, NoteEvent.
type Event interface{ at() time.Time }

// RunEvent is a judged run.
type RunEvent struct {
	When     time.Time
	Run      string
	Revision string
	Routine  string
	Whole    bool // the routine ran to its end
	Joints   []health.Joint
	// Conditions are what each joint's figures were got under; a joint that is not in it compares by its
	// routine alone.
	Conditions map[string]alike.Conditions
}

// RevisionEvent is a new state of the design.
type RevisionEvent struct {
	When    time.Time
	Name    string
	Parent  string
	Answers []Ref // empty: all that is open; a Ref without a joint names none
}

// ServiceEvent is something done to the leg.
type ServiceEvent struct {
	When    time.Time
	ID      int
	What    string
	Joint   string // empty: all joints
	Answers []Ref  // empty: all that is open at the joint
}

// NoteEvent is what a person says of a problem.
type NoteEvent struct {
	When  time.Time
	Ref   Ref
	State State // empty: a remark only
	Text  string
	Part  string
	Path  health.Path
	// Run shows the problem, though it does not name it. Of is that run; empty where it is lost.
	Run string
	Of  RunEvent
}

// Ref names a problem.
type Ref struct {
	Joint string
	Cause health.Cause
}

func (e RunEvent) at() time.Time      { return e.When }
func (e RevisionEvent) at() time.Time { return e.When }
func (e ServiceEvent) at() time.Time  { return e.When }
func (e NoteEvent) at() time.Time     { return e.When }
