package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strings"

	"limbgauge/analyze/report"
	"limbgauge/rig"
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

// consent shows the cautions and what is going to move, and asks. --yes answers for the virtual
// stand; for a real one it also needs --hands-clear.
func (a *app) consent(what string, b *rig.Bench, o consentOptions) (session.Consent, error) {
	fmt.Fprintln(a.out, "Before anything moves:")
	for _, c := range report.Cautions() {
		fmt.Fprint(a.out, wrap("- "+c, "  ", pageWidth))
	}
	fmt.Fprintln(a.out)
	fmt.Fprint(a.out, wrap(what, "", pageWidth))
	virtual := b.Stand.Port == rig.PortVirtual
	if o.yes {
		if virtual || o.handsClear {
			fmt.Fprintln(a.out, "Armed without asking (--yes).")
			return session.Agreed(), nil
		}
		return session.Consent{}, usageError{errors.New("--yes arms only the virtual stand; a real one also needs --hands-clear, which says that nobody can reach into it")}
	}
	fmt.Fprintf(a.out, "Type %q and Enter to arm, anything else to leave: ", consentWord)
	line, err := bufio.NewReader(a.in).ReadString('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return session.Consent{}, fmt.Errorf("read the answer: %w", err)
	}
	if strings.TrimSpace(line) != consentWord {
		fmt.Fprintln(a.out)
		return session.Consent{}, kindError{err: errNotArmed, code: exitStopped}
	}
	return session.Agreed(), nil
}
