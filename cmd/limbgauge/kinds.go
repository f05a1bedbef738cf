package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"syscall"

	"limbgauge/analyze/book"
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
	switch {
	case errors.Is(err, session.ErrStopped):
		return "motion was stopped first; what was recorded until then is kept"
	case errors.Is(err, errNotArmed):
		return fmt.Sprintf("type %q and Enter when asked; --yes does so for the virtual stand", consentWord)
	case errors.Is(err, record.ErrInUse):
		return "another limbgauge is recording or sealing this run; wait for it, or end it"
	}
	_, hint := fileTrouble(err)
	return hint
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
