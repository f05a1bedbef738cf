//go:build unix

package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
	"unicode"

	"github.com/creack/pty"

	"limbgauge/rig"
)

// onTerminal runs limbgauge on a terminal of its own, in a bench of its own.
type onTerminal struct {
	*exec.Cmd
	tty  *os.File
	mu   sync.Mutex
	got  bytes.Buffer
	read chan struct{}
}

func startOnTerminal(t *testing.T, cols uint16, env []string, args ...string) *onTerminal {
	t.Helper()
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, benchFile), []byte(rig.ExampleBench()), 0o644); err != nil {
		t.Fatal(err)
	}
	o := &onTerminal{Cmd: exec.Command("limbgauge", args...), read: make(chan struct{})}
	o.Dir = dir
	o.Env = append(os.Environ(), append([]string{"TERM=xterm", "NO_COLOR=", "LC_ALL=C.UTF-8"}, env...)...)
	tty, err := pty.StartWithSize(o.Cmd, &pty.Winsize{Rows: 40, Cols: cols})
	if err != nil {
		if os.Getenv("LIMBGAUGE_REQUIRE_ALL") != "" {
			t.Fatalf("no pseudo-terminal here: %v", err)
		}
		t.Skipf("no pseudo-terminal here: %v", err)
	}
	o.tty = tty
	go func() {
		defer close(o.read)
		buf := make([]byte, 4096)
		for {
			n, err := tty.Read(buf)
			o.mu.Lock()
			o.got.Write(buf[:n])
			o.mu.Unlock()
			if err != nil { // EIO is how Linux ends it
				return
			}
		}
	}()
	t.Cleanup(func() { o.Process.Kill(); tty.Close() })
	return o
}

func (o *onTerminal) text() string {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.got.String()
}

// until waits until the terminal was sent a text behind a place, and returns the place behind it.
func (o *onTerminal) until(t *testing.T, from int, want string) int {
	t.Helper()
	for range 600 {
		if i := strings.Index(o.text()[from:], want); i >= 0 {
			return from + i + len(want)
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Fatalf("%q did not come within 30 s:\n%q", want, o.text()[from:])
	return 0
}

func (o *onTerminal) end(t *testing.T) (code int) {
	t.Helper()
	err := o.Wait()
	<-o.read
	if e, ok := err.(*exec.ExitError); ok {
		return e.ExitCode()
	} else if err != nil {
		t.Fatal(err)
	}
	return 0
}

// screen plays what a terminal was sent: the few control functions of ECMA-48 that are used, and a
// complaint about any other.
func screen(t *testing.T, sent string) []string {
	t.Helper()
	lines, x, y := [][]rune{nil}, 0, 0
	for rest := []rune(sent); len(rest) > 0; {
		r := rest[0]
		rest = rest[1:]
		switch {
		case r == '\r':
			x = 0
		case r == '\n':
			if y++; y == len(lines) {
				lines = append(lines, nil)
			}
		case r == 0x1b:
			var n int
			var final rune
			end := strings.IndexFunc(string(rest), func(r rune) bool { return r >= '@' && r <= '~' && r != '[' })
			sequence := string(rest[:end+1])
			rest = rest[end+1:]
			final = rune(sequence[len(sequence)-1])
			fmt.Sscanf(sequence, "[%d", &n)
			switch final {
			case 'A':
				if y -= max(n, 1); y < 0 {
					t.Fatal("the cursor left the screen")
				}
			case 'J':
				lines = lines[:y+1]
				lines[y] = lines[y][:min(x, len(lines[y]))]
			case 'm':
			default:
				t.Fatalf("an unknown sequence %q", sequence)
			}
		default:
			for len(lines[y]) <= x {
				lines[y] = append(lines[y], ' ')
			}
			lines[y][x] = r
			x++
		}
	}
	var out []string
	for _, l := range lines {
		out = append(out, strings.TrimRight(string(l), " "))
	}
	return out
}

func braille(s string) bool {
	return strings.ContainsFunc(s, func(r rune) bool { return r > 0x2800 && r < 0x2900 })
}

// On a terminal the plot runs above the line and is gone at the end; verdicts have colour and columns
// stay; every line fits.
func TestLivePlot(t *testing.T) {
	o := startOnTerminal(t, 80, nil, "sweep", "knee", "--yes", "--routine", "quick", "--speed", "20")
	from := o.until(t, 0, "asked")
	o.until(t, from, "last 20 s")
	if code := o.end(t); code != 0 {
		t.Fatalf("exit code %d:\n%s", code, o.text())
	}
	sent := o.text()
	drawing := 0
	for frame := range strings.SplitSeq(sent, "\x1b[J") {
		if lines := strings.Split(frame, "\r\n"); braille(frame) && len(lines) >= plotRows+1 {
			drawing++
			for _, l := range lines[:plotRows] {
				if n := cells(strings.TrimSuffix(l, "\r")); n >= 80 {
					t.Fatalf("%d cells: %q", n, l)
				}
			}
		}
	}
	if drawing < 5 {
		t.Errorf("the plot was drawn %d times", drawing)
	}
	progress := 0
	for _, l := range screen(t, sent) {
		if braille(l) {
			t.Errorf("a line of the plot stayed: %q", l)
		}
		if strings.Contains(l, "left 0:") {
			progress++
		}
		if n := cells(l); n > 80 {
			t.Errorf("%d cells: %s", n, l)
		}
	}
	if progress != 1 {
		t.Errorf("%d lines of progress stayed, want 1:\n%s", progress, strings.Join(screen(t, sent), "\n"))
	}
	if !strings.Contains(sent, "\x1b[32mpass\x1b[0m") {
		t.Error("a verdict has no colour")
	}
	if strings.Contains(sent, "?25") {
		t.Error("the cursor was hidden")
	}
}

// A narrow terminal, one that is made narrow while the plot runs, and one that knows no control sequences.
func TestLivePlotElsewhere(t *testing.T) {
	sweep := []string{"sweep", "knee", "--yes", "--routine", "quick", "--speed", "10"}
	t.Run("narrow", func(t *testing.T) {
		o := startOnTerminal(t, 59, []string{"NO_COLOR=1"}, append(sweep, "--speed", "40")...)
		if code := o.end(t); code != 0 {
			t.Fatalf("exit code %d", code)
		}
		if braille(o.text()) {
			t.Error("a plot without room")
		}
		if strings.Contains(o.text(), "\x1b[3") || strings.Contains(o.text(), "\x1b[1;3") {
			t.Error("colour in spite of NO_COLOR")
		}
	})
	t.Run("dumb", func(t *testing.T) {
		o := startOnTerminal(t, 80, []string{"TERM=dumb"}, append(sweep, "--speed", "40")...)
		if code := o.end(t); code != 0 {
			t.Fatalf("exit code %d", code)
		}
		if strings.Contains(o.text(), "\x1b") {
			t.Error("a control sequence for a terminal that knows none")
		}
	})
	t.Run("resized", func(t *testing.T) {
		o := startOnTerminal(t, 100, nil, append(sweep, "--routine", "assembly")...) // long enough for all of it
		o.until(t, 0, "last 20 s")
		if err := pty.Setsize(o.tty, &pty.Winsize{Rows: 40, Cols: 50}); err != nil {
			t.Fatal(err)
		}
		time.Sleep(1500 * time.Millisecond) // longer than resizePause: it would be back
		at := len(o.text())
		o.until(t, at, "left")
		if narrow := o.text()[at:]; braille(narrow) {
			t.Errorf("a plot in 50 columns: %q", narrow)
		}
		for frame := range strings.SplitSeq(o.text()[at:], "\x1b[J") {
			if n := cells(strings.TrimRight(frame, "\r\n")); strings.Contains(frame, "left") && n > 50 {
				t.Errorf("%d cells in 50 columns: %q", n, frame)
			}
		}
		if err := pty.Setsize(o.tty, &pty.Winsize{Rows: 40, Cols: 90}); err != nil {
			t.Fatal(err)
		}
		o.until(t, len(o.text()), "last 20 s")
		o.Process.Signal(syscall.SIGTERM)
		o.end(t)
	})
}

// What stands on a screen of 24 lines when a sweep of three joints is over: every verdict, and the part.
func TestVerdictIsOnTheScreen(t *testing.T) {
	o := startOnTerminal(t, 80, nil, "sweep", "yaw", "hip", "knee", "--yes", "--speed", "0", "--routine", "quick", "--fault", "knee:belt_slack=0.8")
	if err := pty.Setsize(o.tty, &pty.Winsize{Rows: 24, Cols: 80}); err != nil {
		t.Fatal(err)
	}
	o.end(t)
	lines := screen(t, o.text())
	last := strings.Join(lines[max(0, len(lines)-24):], "\n")
	for _, want := range []string{`yaw +no fault found`, `hip +no fault found`, `knee +fault, belt slack \(confidence \d+ %\) +belt`} {
		if !regexp.MustCompile(want).MatchString(last) {
			t.Errorf("%q is not on the last screen:\n%s", want, last)
		}
	}
}

// A terminal of 60 columns gets no line that it would have to break, and tables keep their columns.
func TestNarrowTerminal(t *testing.T) {
	for _, line := range []string{"help sweep", "sweep knee --yes --speed 0 --routine quick", "help exit-codes", "sweep kne"} {
		o := startOnTerminal(t, 60, nil, strings.Fields(line)...)
		o.end(t)
		for _, l := range screen(t, o.text()) {
			if n := cells(l); n > 60 {
				t.Errorf("limbgauge %s: %d cells: %s", line, n, l)
			}
		}
	}
}

// Where the locale has no Unicode nothing is sent but ASCII, also by the plot.
func TestTerminalWithoutUnicode(t *testing.T) {
	o := startOnTerminal(t, 80, []string{"LC_ALL=C"}, "sweep", "knee", "--yes", "--speed", "20", "--routine", "quick")
	if code := o.end(t); code != 0 {
		t.Fatalf("exit code %d:\n%s", code, o.text())
	}
	for i, r := range o.text() {
		if r > unicode.MaxASCII {
			t.Fatalf("%q at %d: %q", r, i, o.text()[max(0, i-40):i])
		}
	}
	for _, want := range []string{"+ + asked", "+-", ">="} {
		if !strings.Contains(o.text(), want) {
			t.Errorf("%q is missing:\n%s", want, o.text())
		}
	}
}

// Ctrl-C at the terminal itself: what is left is a whole screen, with the cursor shown and at the
// beginning of a line, and no mode of the terminal changed.
func TestCtrlCLeavesTheTerminal(t *testing.T) {
	o := startOnTerminal(t, 80, nil, "sweep", "knee", "--yes", "--speed", "5")
	o.until(t, 0, "last 20 s")
	if _, err := io.WriteString(o.tty, "\x03"); err != nil {
		t.Fatal(err)
	}
	if code := o.end(t); code != exitStopped {
		t.Errorf("exit code %d, want %d:\n%s", code, exitStopped, o.text())
	}
	sent := o.text()
	if strings.Contains(sent, "\x1b[?") {
		t.Error("a mode of the terminal was changed")
	}
	lines := screen(t, sent)
	for _, l := range lines {
		if braille(l) {
			t.Errorf("a line of the plot stayed: %q", l)
		}
	}
	if lines[len(lines)-1] != "" {
		t.Errorf("the last line is not ended: %q", lines[len(lines)-1])
	}
	if !strings.Contains(sent, "\x1b[1;31mlimbgauge:\x1b[0m") {
		t.Errorf("the error has no colour:\n%s", sent)
	}
}
