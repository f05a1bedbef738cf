package find

import (
	"fmt"
	"strings"
	"time"

	"limbgauge/rig"
)

// BaudError says that the stand speaks at another baud rate.
type BaudError struct {
	Asked, Speaks int
	Form          string // rig.FormFrames or rig.FormText
}

func (e *BaudError) Error() string {
	s := fmt.Sprintf("wrong baud rate: at %d the stand is understood, at %d it is not", e.Speaks, e.Asked)
	if e.Form == rig.FormText {
		s += "; it prints lines of the text form there"
	}
	return s
}

// NoiseError says that bytes came that mean nothing at any usual baud rate.
type NoiseError struct{ Tried []int }

func (e *NoiseError) Error() string {
	return fmt.Sprintf("bytes came, but they mean nothing at any of the baud rates %s", rates(e.Tried))
}

// SilenceError says that nothing came back at any usual baud rate.
type SilenceError struct {
	Waited time.Duration // at the first rate
	Tried  []int
}

func (e *SilenceError) Error() string {
	return fmt.Sprintf("silence: not one byte came back in %s, nor at the baud rates %s", e.Waited, rates(e.Tried))
}

// BootLoaderError says that the board's boot loader answers, and no firmware of a stand after it.
type BootLoaderError struct{ Baud int }

func (e *BootLoaderError) Error() string {
	return fmt.Sprintf("the board's boot loader answers (at %d baud), but no stand's firmware after it", e.Baud)
}

func rates(r []int) string { return strings.Trim(strings.ReplaceAll(fmt.Sprint(r), " ", ", "), "[]") }
