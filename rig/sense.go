package rig

import "math"

// Thresholds of Ways [common practice].
const (
	waysEveryS   = 0.25 // between readings that are compared: longer than a servo lags
	waysLeastDeg = 2.0  // of command between them
	waysStraight = 0.9  // of the command's way, turns taken off
	waysFollowed = 0.5  // of the command's way, for an angle that goes along or against it
)

// Ways compares the ways of an angle with those of its command, in pieces of a quarter of a second. A piece
// says something when the command went one way through it and through the one before: where it swings
// faster than that, an angle that merely lags goes the other way too. The zero value is the beginning.
type Ways struct {
	begun        bool
	readS, angle float64    // at the reading before
	command      float64    // at the sample before
	net, gone    [2]float64 // ways of the command since the reading before, and between that and its own
}

// Way is what one piece says: how far the command went, deg, and whether the angle went at least half as far
// along or against it. All zero where the piece says nothing.
type Way struct {
	Deg            float64
	Along, Against bool
}

// Take looks at a sample: time in s, command and angle in deg, the angle NaN where it is missing.
func (w *Ways) Take(timeS, command, angle float64) (out Way) {
	if w.begun {
		d := command - w.command
		w.net[0], w.gone[0] = w.net[0]+d, w.gone[0]+math.Abs(d)
	}
	w.command = command
	if math.IsNaN(angle) || w.begun && timeS-w.readS < waysEveryS {
		return out
	}
	asked := w.net[0]
	if math.Abs(asked) >= waysLeastDeg && math.Abs(w.net[1]) >= waysLeastDeg && math.Abs(asked+w.net[1]) >= waysStraight*(w.gone[0]+w.gone[1]) {
		followed := (angle - w.angle) / asked
		out = Way{math.Abs(asked), followed >= waysFollowed, followed <= -waysFollowed}
	}
	w.net, w.gone = [2]float64{0, w.net[0]}, [2]float64{0, w.gone[0]}
	w.begun, w.readS, w.angle = true, timeS, angle
	return out
}
