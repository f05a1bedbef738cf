package session

import (
	"errors"
	"fmt"
	"math"

	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
	"limbgauge/rig/link"
)

// StrayError is a trip since a joint left its range, with where its command was then: it tells a joint
// that went on beyond its command from one that went the other way.
type StrayError struct {
	Err                  error // what the mover said; wraps a *link.TrippedError
	AngleDeg, CommandDeg float64
	// Ahead says that the joint was beyond its command on the side that the command was going to.
	Ahead bool
}

// Error implements error.
func (e *StrayError) Error() string { return e.Err.Error() + ": " + e.words() }
func (e *StrayError) Unwrap() error { return e.Err }

// words says where the joint was against its command.
func (e *StrayError) words() string {
	if e.Ahead {
		return fmt.Sprintf("%.1f deg ahead of its command at %.1f deg", math.Abs(e.AngleDeg-e.CommandDeg), e.CommandDeg)
	}
	return fmt.Sprintf("its command was at %.1f deg", e.CommandDeg)
}

// heading is where a joint's command was and which way it went last.
type heading struct {
	begun   bool
	command int32 // mdeg
	way     int   // of its last change, -1 or 1; 0: it never changed
}

// take looks at what came of a joint, of its moves only: a limp joint's command says nothing.
func (h *heading) take(b *rig.Batch) {
	for i, segment := range b.Segment {
		if segment == 0 || b.Command[i] == rig.Missing {
			continue
		}
		switch {
		case h.begun && b.Command[i] > h.command:
			h.way = 1
		case h.begun && b.Command[i] < h.command:
			h.way = -1
		}
		h.begun, h.command = true, b.Command[i]
	}
}

// strayed adds to a trip for the range what the stream says of the joint's command; other errors, and
// trips before any move, stay as they are.
func strayed(err error, headings []heading) error {
	var trip *link.TrippedError
	if !errors.As(err, &trip) || trip.Trip.Reason != wire.ReasonRange || trip.Trip.Joint < 0 || trip.Trip.Joint >= len(headings) {
		return err
	}
	h := headings[trip.Trip.Joint]
	if !h.begun {
		return err
	}
	off := trip.Trip.Value - int(h.command)
	return &StrayError{Err: err, AngleDeg: float64(trip.Trip.Value) / 1000, CommandDeg: float64(h.command) / 1000, Ahead: off*h.way > 0}
}
