package main

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"
)

// The exit codes. A code that is not in this table is a failure.
const (
	exitDone    = 0
	exitFailed  = 1
	exitUsage   = 2
	exitInput   = 3
	exitStand   = 4
	exitStopped = 5
	exitFault   = 6
)

func exitCodesTopic() *cobra.Command {
	return &cobra.Command{Use: "exit-codes", Short: "what the exit codes mean", Long: `Exit codes

  0  done; also when a joint has a fault, unless --gate is given
  1  something unexpected failed
  2  the command line is wrong, or names what is not there: a joint, a routine,
     a revision, a part, a measure
  3  an input file is wrong or missing: bench.toml, a log, a run, history.toml;
     or a path can not be read from or written to
  4  the stand can not be reached or speaks another version of the protocol
  5  motion was not armed, was stopped or tripped; what was recorded is kept
  6  --gate was given and a joint has a fault, the leg does not hold its
     body, or a trend warning stands;
     an endurance test was ended by one of its rules

With --json, where nothing else is answered, an error is one JSON object on
standard output: "error" with "exit_code" and "what", a list of "text" and "hint".
` + linkCodes()}
}

// usageError marks a wrong command line.
type usageError struct{ error }

func (e usageError) Unwrap() error { return e.error }

// kindError gives an error its exit code and, where there is one, a hint.
type kindError struct {
	err  error
	code int
	hint string
}

func (e kindError) Error() string { return e.err.Error() }
func (e kindError) Unwrap() error { return e.err }

// inputError says that a file is wrong and what to do about it.
func inputError(err error, hint string) error {
	if err == nil {
		return nil
	}
	return kindError{err: err, code: exitInput, hint: hint}
}

func isUsage(err error) bool {
	var u usageError
	return errors.As(err, &u) || strings.HasPrefix(err.Error(), "unknown command")
}

func exitCode(err error) int {
	if err == nil {
		return exitDone
	}
	var k kindError
	if errors.As(err, &k) {
		return k.code
	}
	if isUsage(err) {
		return exitUsage
	}
	for _, c := range codes() {
		if c.is(err) {
			return c.code
		}
	}
	if is, _ := fileTrouble(err); is {
		return exitInput
	}
	return exitFailed
}

// printError writes each of the joined errors with its hint.
func printError(w io.Writer, err error) { printTrouble(w, troubleOf(err, "", "")) }

// trouble is an error as it is told: its code, then what went wrong, each with what to do about it.
type trouble struct {
	Code int       `json:"exit_code"`
	What []message `json:"what"`
}

// message is one of several errors with what to do about it, or a hint alone.
type message struct {
	Text string `json:"text,omitempty"`
	Hint string `json:"hint,omitempty"`
}

// troubleOf takes an error of a command apart: each of the joined errors with its hint, none said twice; the
// command's help explains a wrong command line, and more is another hint.
func troubleOf(err error, command, more string) trouble {
	t := trouble{Code: exitCode(err), What: []message{}}
	if err == nil {
		return t
	}
	hinted := map[string]bool{"": true}
	hint := func(h string) string {
		if hinted[h] {
			return ""
		}
		hinted[h] = true
		return h
	}
	for _, e := range flatten(err) {
		t.What = append(t.What, message{e.Error(), hint(hintOf(e))})
	}
	if isUsage(err) && !isUnknown(err) {
		help := fmt.Sprintf(`"limbgauge help %s" explains the command`, command)
		if command == "" || command == "help" {
			help = `"limbgauge help" lists the commands, "limbgauge help COMMAND" explains one`
		}
		t.hint(hint(help))
	}
	t.hint(hint(more))
	return t
}

// hint puts a hint beside the last error, below it where that has one of its own.
func (t *trouble) hint(h string) {
	last := &t.What[len(t.What)-1]
	switch {
	case h == "":
	case last.Hint == "":
		last.Hint = h
	default:
		t.What = append(t.What, message{Hint: h})
	}
}

// printTrouble writes errors and hints, each on a line of its own.
func printTrouble(w io.Writer, t trouble) {
	st := styleOf(w)
	line := func(mark, text string) {
		if text == "" {
			return
		}
		if _, ok := terminalOf(w); ok { // a person reads: lines break at words; what goes to a file keeps a line per error
			say(w, "", mark+" "+text)
			return
		}
		fmt.Fprintln(w, mark+" "+text)
	}
	for _, m := range t.What {
		line(st.bad("limbgauge:"), m.Text)
		line(st.quiet("limbgauge: hint:"), m.Hint)
	}
}

// withoutTerminal hides that a writer is a terminal.
type withoutTerminal struct{ io.Writer }

// flatten takes joined errors apart; one that wraps stays whole, even where it wraps two, since its own
// text says more than theirs.
func flatten(err error) []error {
	j, ok := err.(interface{ Unwrap() []error })
	if !ok || err.Error() != errors.Join(j.Unwrap()...).Error() {
		return []error{err}
	}
	var out []error
	for _, e := range j.Unwrap() {
		out = append(out, flatten(e)...)
	}
	return out
}
