package rig

import (
	"fmt"
	"math"
	"time"
)

const pi = math.Pi

// MoveKind says what a move is for. The zero value marks samples outside any move.
type MoveKind uint8

// The kinds of moves. Their numbers are those of the wire protocol.
const (
	MoveNone   MoveKind = iota
	MoveSettle          // come to rest before or between the parts of a routine
	MoveStair           // go to a stop and dwell
	MoveRamp            // travel at constant speed
	MoveStep            // jump to a stop at once
	MoveHold            // stay under load
	MoveRock            // command still while the load is changed
	MoveTurn            // pass beyond the last stop so that the next is approached from one side
)

var moveNames = [...]string{"", "settle", "stair", "ramp", "step", "hold", "rock", "turn"}

// String returns the move's name, "" for MoveNone.
func (k MoveKind) String() string {
	if int(k) < len(moveNames) {
		return moveNames[k]
	}
	return fmt.Sprintf("move(%d)", uint8(k))
}

// ParseMoveKind is the inverse of String.
func ParseMoveKind(s string) (MoveKind, error) {
	for i, n := range moveNames {
		if n == s {
			return MoveKind(i), nil
		}
	}
	return MoveNone, fmt.Errorf("unknown move %q; known are %v", s, moveNames[1:])
}

// Move is one piece of a routine: go to a target at a rate, then dwell there.
// The stand itself carries it out, so its timing does not depend on the host.
type Move struct {
	Kind        MoveKind
	TargetDeg   float64
	RateDegPerS float64 // 0: at once
	Dwell       time.Duration
}

// Routine is a named list of moves a stand makes with one joint.
type Routine struct {
	Name  string `json:"name"`
	Moves []Move `json:"moves"`
}

// Duration returns how long the routine takes when it starts at fromDeg and every move
// keeps its rate.
func (r Routine) Duration(fromDeg float64) time.Duration {
	var d time.Duration
	at := fromDeg
	for _, m := range r.Moves {
		if m.RateDegPerS > 0 {
			d += time.Duration(math.Abs(m.TargetDeg-at) / m.RateDegPerS * float64(time.Second))
		}
		d += m.Dwell
		at = m.TargetDeg
	}
	return d
}

// Check returns an error naming the first move that leaves the joint's range.
func (r Routine) Check(j Joint) error {
	for i, m := range r.Moves {
		if m.TargetDeg < j.RangeDeg[0] || m.TargetDeg > j.RangeDeg[1] {
			return fmt.Errorf("routine %q, move %d (%s): target %.1f deg is outside the range %.1f..%.1f deg of joint %q",
				r.Name, i+1, m.Kind, m.TargetDeg, j.RangeDeg[0], j.RangeDeg[1], j.Name)
		}
	}
	return nil
}
