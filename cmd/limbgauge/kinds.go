package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"syscall"

	"limbgauge/analyze/book"
	wire "limbgauge/firmware-protocol"
	"limbgauge/rig/link"
	"limbgauge/rig/link/port"
	"limbgauge/rig/record"
	"limbgauge/rig/session"
)

func isPortError(err error) bool {
	var e *port.Error
	return errors.As(err, &e)
}

func isHistoryError(err error) bool {
	var e *book.HistoryError
	return errors.As(err, &e)
}

// hintOf returns what to do about an error, for those that do not say it themselves.
func hintOf(err error) string {
	var k kindError
	if errors.As(err, &k) && k.hint != "" {
		return k.hint
	}
	if isPortError(err) { // says it itself
		return ""
	}
	var trip *link.TrippedError
	var stray *session.StrayError
	switch {
	case errors.Is(err, session.ErrStopped):
		return "motion was stopped first; what was recorded until then is kept"
	case errors.As(err, &stray) && stray.Ahead:
		return tripAhead
	case errors.As(err, &trip):
		return tripNext[trip.Trip.Reason]
	case errors.Is(err, errNotArmed):
		return fmt.Sprintf("type %q and Enter when asked; --yes does so for the virtual stand", consentWord)
	case errors.Is(err, record.ErrInUse):
		return "another limbgauge is recording or sealing this run; wait for it, or end it"
	}
	_, hint := fileTrouble(err)
	return hint
}

// tripAhead is what to do after a trip for the range in which the joint had gone on beyond its command: an
// angle that runs against the command ends on the other side of it.
const tripAhead = "it went further than it was told: a tooth of the belt or the horn slipped, a load pulled it on, or the sensor's zero is off: look at belt and horn with the power off before you arm again"

// tripNext is what to do after a trip, as firmware-protocol/STAND.md has it.
var tripNext = map[wire.Reason]string{
	wire.ReasonHeartbeat: "the computer was busy or asleep, or the cable went: look at the plug, close what else runs, and start again",
	wire.ReasonCurrent:   "look for a joint against its stop, a binding bearing, too much load; turn the joint by hand with the power off before you arm again",
	wire.ReasonRange:     "the angle may run against the command, or the sensor's zero be off; belt and horn may have slipped: find out which before you arm again",
	wire.ReasonBus:       "look at the bus of the sensors: plugs that move with the joint",
	wire.ReasonSupply:    "look at the supply: current limit too low, thin wires, a capacitor that is missing, or the switch was hit",
	wire.ReasonReset:     "the stand restarted: give board and servos supplies of their own with one common ground",
	wire.ReasonWatchdog:  "the firmware lost its rhythm: lower sample_hz in bench.toml",
	wire.ReasonCommand:   "stand and bench.toml do not fit together: \"limbgauge link\" says what the stand has",
	wire.ReasonButton:    "somebody pressed the stop on the stand: find out why before you arm again",
}

// fileTrouble tells an error of files and folders that the user can mend, and how.
func fileTrouble(err error) (is bool, hint string) {
	if !errors.As(err, new(*fs.PathError)) && !errors.As(err, new(*os.LinkError)) && !errors.As(err, new(syscall.Errno)) {
		return false, ""
	}
	for _, k := range []struct {
		kind error
		hint string
	}{
		{fs.ErrNotExist, "a folder or file of that path is missing: make it first, or give another path"},
		{fs.ErrPermission, "its rights forbid it: change them, or give another path"},
		{fs.ErrExist, "something of that name is there already: give another name"},
		{syscall.ENOTDIR, "a file is in the place of a folder: give another path"},
		{syscall.EISDIR, "a folder is in the place of a file: give another name"},
		{syscall.ENOSPC, "the disk is full: make room and try again"},
	} {
		if errors.Is(err, k.kind) {
			return true, k.hint
		}
	}
	return false, ""
}
