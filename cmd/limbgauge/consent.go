package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"limbgauge/analyze/report"
	"limbgauge/rig"
	"limbgauge/rig/link/port"
	"limbgauge/rig/session"
)

// consentWord is what a person types to arm; a plain Enter or a "y" from habit is not enough.
const consentWord = "arm"

type consentOptions struct {
	yes        bool
	handsClear bool
}

// errNotArmed says that nobody agreed, so nothing moved.
var errNotArmed = errors.New("not armed, nothing moved")

// cautions shows the usual cautions, before anything may move. They and all that is said until the answer
// go to standard error: whoever sends the answer elsewhere still sees them, and what is asked.
func (a *app) cautions() {
	fmt.Fprintln(a.err, "Before anything moves:")
	for _, c := range report.Cautions() {
		say(a.err, "  ", "- "+c)
	}
	fmt.Fprintln(a.err)
}

// armedWords say what is about to be armed, below the cautions, of which a small screen shows the last ones
// only.
func armedWords(s rig.Stand) string {
	if s.Port == rig.PortVirtual {
		return "The stand is virtual: nothing real moves."
	}
	at := "at " + s.Port
	if s.Port == rig.PortAuto {
		at = "at the only port of a board"
	}
	return fmt.Sprintf("The stand is %s. No software stops it for certain: have the switch in the servos' supply in reach, and nobody's fingers or hair near the leg.", at)
}

// consent shows the cautions and what is going to move, and asks. --yes answers for the virtual
// stand; for a real one it also needs --hands-clear.
func (a *app) consent(ctx context.Context, what string, b *rig.Bench, o consentOptions) (session.Consent, error) {
	virtual := b.Stand.Port == rig.PortVirtual
	if o.yes && !virtual && !o.handsClear {
		return session.Consent{}, usageError{errors.New("--yes arms only the virtual stand; a real one also needs --hands-clear, which says that nobody can reach into it")}
	}
	if !virtual { // so that nobody arms what is not there
		if err := port.There(b.Stand.Port); err != nil {
			a.device = b.Stand.Port
			return session.Consent{}, err
		}
	}
	a.cautions()
	say(a.err, "", what)
	say(a.err, "", armedWords(b.Stand))
	if o.yes {
		fmt.Fprintln(a.err, "Armed without asking (--yes).")
		return session.Agreed(), nil
	}
	fmt.Fprintf(a.err, "Type %q and Enter to arm, anything else to leave: ", consentWord)
	line, err := a.readLine(ctx)
	if err != nil {
		return session.Consent{}, err
	}
	if strings.TrimSpace(line) != consentWord {
		fmt.Fprintln(a.err)
		return session.Consent{}, kindError{err: errNotArmed, code: exitStopped}
	}
	return session.Agreed(), nil
}

// readLine waits for a line or for Ctrl-C, which answers like anything but the word: nothing moves.
// After Ctrl-C the reader is left behind; the program ends with it.
func (a *app) readLine(ctx context.Context) (string, error) {
	type answer struct {
		line string
		err  error
	}
	c := make(chan answer, 1)
	if a.lines == nil {
		a.lines = bufio.NewReader(a.in) // one for all questions: it may have read ahead
	}
	lines := a.lines
	go func() {
		line, err := lines.ReadString('\n')
		c <- answer{line, err}
	}()
	select {
	case <-ctx.Done():
		return "", nil
	case r := <-c:
		if r.err != nil && !errors.Is(r.err, io.EOF) {
			return "", fmt.Errorf("read the answer: %w", r.err)
		}
		return r.line, nil
	}
}
