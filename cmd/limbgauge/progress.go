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

// watcher shows a running session: one line rewritten in place on a terminal, a plain line now and
// then elsewhere. It only looks at the live feed and never holds the session up.
type watcher struct {
	out    io.Writer
	tty    bool
	width  int
	plain  time.Duration // between plain lines
	redraw time.Duration
	last   time.Time
	drawn  bool
}

func newWatcher(out io.Writer) *watcher {
	w := &watcher{out: out, width: pageWidth, plain: 5 * time.Second, redraw: 100 * time.Millisecond}
	if f, ok := out.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		w.tty = true
		if cols, _, err := term.GetSize(int(f.Fd())); err == nil && cols > 20 {
			w.width = cols
		}
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
	if w.tty && w.drawn {
		fmt.Fprintln(w.out)
	}
}

func (w *watcher) say(text string) {
	if w.tty && w.drawn {
		fmt.Fprint(w.out, "\r\x1b[K")
	}
	fmt.Fprintln(w.out, text)
}

func (w *watcher) show(s session.Snapshot, force bool) {
	pause := w.plain
	if w.tty {
		pause = w.redraw
	}
	now := time.Now()
	if !force && now.Sub(w.last) < pause {
		return
	}
	w.last = now
	if !w.tty {
		fmt.Fprintln(w.out, line(s))
		return
	}
	text := line(s)
	room := w.width - len([]rune(text)) - 4
	if room >= 10 {
		text = gauge(s.Share, min(room, 24)) + " " + text
	}
	if r := []rune(text); len(r) >= w.width {
		text = string(r[:w.width-1])
	}
	fmt.Fprint(w.out, "\r\x1b[K"+text)
	w.drawn = true
}

// gauge draws how far the session is, n runes wide.
func gauge(share float64, n int) string {
	full := int(math.Round(math.Max(0, math.Min(1, share)) * float64(n)))
	return strings.Repeat("=", full) + strings.Repeat(".", n-full)
}

// line says in a few words what is going on.
func line(s session.Snapshot) string {
	parts := []string{fmt.Sprintf("%s %s", s.Joint, s.Move), fmt.Sprintf("left %s", clock(s.Left))}
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
