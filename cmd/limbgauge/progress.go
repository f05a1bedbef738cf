package main

import (
	"fmt"
	"io"
	"math"
	"os"
	"strings"
	"time"

	"golang.org/x/term"

	"limbgauge/rig/session"
)

// watcher shows a running session: on a terminal a line rewritten in place, below a small plot where
// there is room for one; a plain line now and then on a terminal that can not rewrite; elsewhere only what
// the stand says, since nobody looks on. It only looks at the live feed and never
// holds the session up. The cursor is never hidden and the terminal's mode never changed, so that there
// is nothing to put back however the program ends.
type watcher struct {
	out    io.Writer
	size   func() (cols, rows int) // of the terminal now; nil where there is none
	plain  time.Duration           // between plain lines; 0 for none
	redraw time.Duration
	last   time.Time
	trace  trace
	drawn  int // lines of ours above and at the cursor
	cols   int // as they were drawn
	moved  time.Time
	pace   float64 // how many times as fast as real the stand's time goes; 0 where nobody knows
}

// resizePause is how long a terminal must have kept its size before the plot comes back: while it is
// dragged, lines that were drawn break anew and can not be found again.
const resizePause = time.Second

func newWatcher(out io.Writer) *watcher {
	w := &watcher{out: out, redraw: 100 * time.Millisecond}
	if f, ok := bottom(out).(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		w.plain = 5 * time.Second
	}
	if fd, ok := terminalOf(out); ok {
		w.size = func() (cols, rows int) {
			cols, rows, err := term.GetSize(fd)
			if err != nil || cols < 1 {
				return pageWidth, 0
			}
			return cols, rows
		}
		w.cols, _ = w.size()
	}
	return w
}

// follow shows snapshots until done is closed, then the newest once more.
func (w *watcher) follow(live *session.Live, done <-chan struct{}) {
	var newest session.Snapshot
	seen := false
	take := func(s session.Snapshot) {
		if s.Said != "" {
			w.say(s.Said)
			return
		}
		newest, seen = s, true
		if w.size != nil {
			w.trace.take(s)
		}
	}
	for running := true; running; {
		select {
		case s := <-live.C():
			take(s)
			if s.Said == "" {
				w.show(s, false)
			}
		case <-done:
			running = false
		}
	}
	for left := true; left; {
		select {
		case s := <-live.C():
			take(s)
		default:
			left = false
		}
	}
	if seen {
		w.show(newest, true)
	}
	if w.drawn > 0 {
		fmt.Fprintln(w.out)
	}
}

func (w *watcher) say(text string) {
	if w.drawn > 0 {
		fmt.Fprint(w.out, w.home()+"\x1b[J")
		w.drawn = 0
	}
	fmt.Fprintln(w.out, text)
}

// show writes a snapshot when it is time to; the last one always, and of it the line alone stays.
func (w *watcher) show(s session.Snapshot, last bool) {
	pause := w.plain
	if w.size != nil {
		pause = w.redraw
	}
	now := time.Now()
	if !last && now.Sub(w.last) < pause {
		return
	}
	w.last = now
	switch {
	case w.size == nil && w.plain == 0:
		return
	case w.size == nil:
		fmt.Fprintln(w.out, shorten(line(w.paced(s)), pageWidth))
		return
	}
	cols, rows := w.size()
	if cols != w.cols {
		w.moved = now
	}
	var lines []string
	if !last && cols >= plotLeastCols && rows >= plotLeastRows && now.Sub(w.moved) >= resizePause {
		lines = w.trace.lines(cols-1, pageOf(w.out).plain)
	}
	w.draw(append(lines, status(w.paced(s), cols-3)), cols) // 3: room for the ^C that a terminal shows
}

// paced is a snapshot whose times are those of the one who watches.
func (w *watcher) paced(s session.Snapshot) session.Snapshot {
	if w.pace > 0 {
		s.Done, s.Left = time.Duration(float64(s.Done)/w.pace), time.Duration(float64(s.Left)/w.pace)
	}
	return s
}

// draw puts lines in the place of those that were drawn last.
func (w *watcher) draw(lines []string, cols int) {
	begin := "\r"
	if cols == w.cols {
		begin = w.home()
	}
	w.cols, w.drawn = cols, len(lines)
	// One write, so that nothing is seen half drawn.
	fmt.Fprint(w.out, begin+"\x1b[J"+strings.Join(lines, "\r\n"))
}

// home moves the cursor to the first of the lines that were drawn.
func (w *watcher) home() string {
	if w.drawn > 1 {
		return fmt.Sprintf("\r\x1b[%dA", w.drawn-1)
	}
	return "\r"
}

// status is the line of a snapshot with a gauge before it where there is room.
func status(s session.Snapshot, width int) string {
	text := line(s)
	if room := width - cells(text) - 1; room >= 10 && !endless(s) {
		text = gauge(s.Share, min(room, 24)) + " " + text
	}
	return shorten(text, max(width, 1))
}

// gauge draws how far the session is, n runes wide.
func gauge(share float64, n int) string {
	full := int(math.Round(math.Max(0, math.Min(1, share)) * float64(n)))
	return strings.Repeat("=", full) + strings.Repeat(".", n-full)
}

// endless says of a session that nobody knows when it ends: one that listens until Ctrl-C.
func endless(s session.Snapshot) bool { return s.Left == 0 && s.Share == 0 && s.Done > 0 }

// line says in a few words what is going on.
func line(s session.Snapshot) string {
	parts := []string{fmt.Sprintf("%s %s", s.Joint, s.Move), fmt.Sprintf("left %s", clock(s.Left))}
	if endless(s) {
		parts[1] = fmt.Sprintf("%s so far", clock(s.Done))
	}
	if s.Move == 0 {
		parts[0] = s.Joint + " at rest"
	}
	parts = append(parts, fmt.Sprintf("asked %+.1f is %+.1f deg", s.CommandDeg, s.AngleDeg))
	if !math.IsNaN(s.CurrentA) {
		parts = append(parts, fmt.Sprintf("%.2f A", s.CurrentA))
	}
	if !math.IsNaN(s.SupplyV) {
		parts = append(parts, fmt.Sprintf("%.2f V", s.SupplyV))
	}
	parts = append(parts, fmt.Sprintf("lost %d", s.Losses.Lost))
	if s.Losses.Damaged > 0 {
		parts = append(parts, fmt.Sprintf("damaged %d", s.Losses.Damaged))
	}
	return strings.Join(parts, "  ")
}

func clock(d time.Duration) string {
	s := int(d.Round(time.Second).Seconds())
	return fmt.Sprintf("%d:%02d", s/60, s%60)
}
