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
	switch {
	case errors.Is(err, session.ErrStopped):
		return "motion was stopped first; what was recorded until then is kept"
	case errors.As(err, &trip):
		return tripHints[trip.Trip.Reason]
	case errors.Is(err, errNotArmed):
		return fmt.Sprintf("type %q and Enter when asked; --yes does so for the virtual stand", consentWord)
	case errors.Is(err, record.ErrInUse):
		return "another limbgauge is recording or sealing this run; wait for it, or end it"
	}
	_, hint := fileTrouble(err)
	return hint
}

// tripHints say what to do about a trip, by its reason.
var tripHints = map[wire.Reason]string{
	wire.ReasonHeartbeat: "the joint has nothing to do with it: this computer was too busy, asleep, or the cable stalled; close what loads it and start again",
	wire.ReasonCurrent:   "see what jams or loads the joint before it is armed again; current_max_a in bench.toml is what it may take",
	wire.ReasonRange:     "see what pushes the joint there, or whether its sensor turned; range_deg in bench.toml is its range",
	wire.ReasonBus:       "look at the plugs and wires of the angle sensors, and keep them away from the servos' leads",
	wire.ReasonSupply:    "a stronger supply, shorter and thicker leads, or a capacitor at the servos; a servo that jams pulls it down as well",
	wire.ReasonWatchdog:  "lower sample_hz in bench.toml; a board that is late again wants its firmware flashed anew",
	wire.ReasonCommand:   "stand and bench.toml do not fit together: compare range_deg and channels; \"limbgauge link\" says what the stand has",
	wire.ReasonButton:    "the stop switch of the stand was pressed; see that all is safe before it is released",
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
