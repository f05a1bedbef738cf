package main

import (
	"errors"

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
	if errors.As(err, &k) {
		return k.hint
	}
	switch {
	case errors.Is(err, session.ErrStopped):
		return "motion was stopped first; what was recorded until then is kept"
	case errors.Is(err, record.ErrInUse):
		return "another limbgauge is recording or sealing this run; wait for it, or end it"
	}
	return ""
}
