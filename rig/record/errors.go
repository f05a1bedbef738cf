package record

import (
	"errors"
	"fmt"
)

// Kinds of damage, for errors.Is.
var (
	// ErrTorn: the file ends within a frame, or in zeros that a power loss left behind.
	ErrTorn = errors.New("torn last frame")
	// ErrDamaged: bytes that are no frame, or a frame whose content does not fit its check sum.
	ErrDamaged = errors.New("damaged frame")
	// ErrMissing: a whole frame is gone from between two good ones.
	ErrMissing = errors.New("missing frame")
	// ErrEmpty: the recording ended before a single frame was written.
	ErrEmpty = errors.New("empty journal")
	// ErrNoSamples: there is neither a journal nor a sealed file.
	ErrNoSamples = errors.New("no samples file")
	// ErrInUse: the run is being recorded or sealed right now.
	ErrInUse = errors.New("run is in use")
	// ErrMismatch: what was read back is not what was written.
	ErrMismatch = errors.New("sealed file differs from the journal")
)

// CorruptError is one damaged stretch of a journal. Everything outside of such stretches was read.
type CorruptError struct {
	Path   string
	Frame  int   // number of the first frame that could not be read; 0 is the header
	Offset int64 // of the damage, in bytes
	Length int64 // bytes that could not be read
	// WholeToUS is the device time of the last sample before the damage, in µs; WholeTo is false
	// when there is none.
	WholeToUS int64
	WholeTo   bool
	Err       error // wraps ErrTorn, ErrDamaged, ErrMissing or ErrEmpty
}

// Error names file, frame, byte and how much of the run comes before.
func (e *CorruptError) Error() string {
	s := fmt.Sprintf("%s: frame %d at byte %d: %v", e.Path, e.Frame, e.Offset, e.Err)
	if e.WholeTo {
		return s + fmt.Sprintf("; the run is whole up to %.3f s", float64(e.WholeToUS)/1e6)
	}
	return s + "; no sample lies before it"
}

// Unwrap returns the kind of damage and its cause.
func (e *CorruptError) Unwrap() error { return e.Err }

// InputError is one thing wrong with a log that was read: where it stands, what is wrong with it
// and what to do.
type InputError struct {
	Path    string
	Line    int    // from 1; 0 where the trouble is with the file as a whole
	Column  string // name of the column; empty where none is to blame
	Problem string
	Hint    string
}

// Error returns everything on one line.
func (e *InputError) Error() string {
	s := e.Path
	if e.Line > 0 {
		s += fmt.Sprintf(":%d", e.Line)
	}
	if e.Column != "" {
		s += ": column " + e.Column
	}
	s += ": " + e.Problem
	if e.Hint != "" {
		s += "; " + e.Hint
	}
	return s
}
