//go:build linux

package virtual

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
	"limbgauge/rig/link"
	"limbgauge/rig/link/linktest"
	"limbgauge/rig/link/port"
)

// servePTY serves a stand on a pseudo-terminal until the test ends and returns the port's path.
func servePTY(t *testing.T, opt Options, link string) string {
	t.Helper()
	s, err := New(opt)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	ready, done := make(chan string, 1), make(chan error, 1)
	go func() { done <- s.ServePTY(ctx, PTY{Link: link, Ready: func(p string) { ready <- p }}) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; !errors.Is(err, context.Canceled) {
			t.Errorf("the stand ended with %v, want the context's error", err)
		}
	})
	select {
	case p := <-ready:
		return p
	case err := <-done:
		done <- err
		t.Fatalf("no port: %v", err)
	}
	return ""
}

func dialPTY(t *testing.T, path string) io.ReadWriteCloser {
	t.Helper()
	rw, err := port.Open(path, 500000)
	if err != nil {
		t.Fatal(err)
	}
	return rw
}

// The same stand again and again: each part of the suite opens the port anew, with the code that
// opens real ports.
func TestKeepsTheProtocolOnAPTY(t *testing.T) {
	path := servePTY(t, Options{Joints: leg(), Speed: 1}, "")
	linktest.Suite(t, linktest.Options{Joints: leg(), Dial: func(t *testing.T) io.ReadWriteCloser {
		// A closing with an opening at its heels may go unseen, as ServePTY says. A host would not care, as
		// it says hello; the suite's bare client does.
		time.Sleep(2 * pollEvery)
		return dialPTY(t, path)
	}})
}

// messages reads until one message satisfies last, and returns all. It does not ask for anything.
func messages(t *testing.T, r io.Reader, last func(wire.Message) bool) (all []wire.Message, drops wire.Drops) {
	t.Helper()
	var dec wire.Decoder
	late := time.Now().Add(5 * time.Second)
	buf := make([]byte, 4096)
	for time.Now().Before(late) {
		n, err := r.Read(buf)
		if err != nil {
			t.Fatal(err)
		}
		for chunk := buf[:n]; len(chunk) > 0; {
			var body []byte
			if body, chunk = dec.Next(chunk); body == nil {
				continue
			}
			m, err := wire.Parse(body)
			if err != nil {
				t.Fatal(err)
			}
			if all = append(all, m); last(m) {
				return all, dec.Drops()
			}
		}
	}
	t.Fatalf("what was waited for did not come; %d other messages did", len(all))
	return nil, wire.Drops{}
}

// A host that goes and one that comes: the stand restarts, says so first, and nothing is left over.
func TestPTYOpenedAgain(t *testing.T) {
	path := servePTY(t, Options{Joints: leg(), Speed: 1}, "")
	isHello := func(m wire.Message) bool { h, ok := m.(*wire.Hello); return ok && h.Nonce != 0 }
	for round := range 3 {
		rw := dialPTY(t, path)
		all, drops := messages(t, rw, func(m wire.Message) bool { _, ok := m.(*wire.Hello); return ok })
		first := all[0].(*wire.Hello)
		if len(all) != 1 || drops.Total() != 0 {
			t.Errorf("round %d: %d messages up to the hello, %+v dropped; want it first and nothing broken", round, len(all), drops)
		}
		if first.Nonce != 0 || first.Reset != wire.ReasonReset {
			t.Errorf("round %d: first hello has nonce %d, reset %s; want 0 and reset", round, first.Nonce, first.Reset)
		}
		// Leave it sampling at full speed, in the middle of everything.
		var out []byte
		var enc wire.Encoder
		for _, m := range []wire.Message{&wire.HelloAsk{Major: wire.Major, Nonce: 7}, &wire.Setup{Tag: 1, Hz: 1000, Mask: 0b110}} {
			var err error
			if out, err = enc.Append(out, m); err != nil {
				t.Fatal(err)
			}
		}
		if _, err := rw.Write(out); err != nil {
			t.Fatal(err)
		}
		messages(t, rw, isHello)
		messages(t, rw, func(m wire.Message) bool { _, ok := m.(*wire.Samples); return ok })
		if err := rw.Close(); err != nil {
			t.Fatal(err)
		}
		time.Sleep(100 * time.Millisecond) // let it talk to nobody
	}
}

func TestPTYLink(t *testing.T) {
	dir := t.TempDir()
	at := filepath.Join(dir, "stand")
	if err := os.Symlink("nowhere", at); err != nil {
		t.Fatal(err)
	}
	t.Run("served", func(t *testing.T) {
		if got := servePTY(t, Options{Joints: leg(), Speed: 1}, at); got != at {
			t.Errorf("the port is said to be %s, want the link %s", got, at)
		}
		if err := dialPTY(t, at).Close(); err != nil {
			t.Error(err)
		}
	})
	if _, err := os.Lstat(at); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the link is still there: %v", err)
	}
	if err := os.WriteFile(at, []byte("mine"), 0o644); err != nil {
		t.Fatal(err)
	}
	s, err := New(Options{Joints: leg()})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.ServePTY(t.Context(), PTY{Link: at}); err == nil || errors.Is(err, context.Canceled) {
		t.Errorf("a file in the link's place: %v, want a refusal", err)
	}
	if b, err := os.ReadFile(at); err != nil || !bytes.Equal(b, []byte("mine")) {
		t.Errorf("the file is now %q, %v", b, err)
	}
	if left, _ := os.ReadDir(dir); len(left) != 1 {
		t.Errorf("%d files in the folder, want the one", len(left))
	}
}

// The text form on a serial port: each opening begins the routine anew, from number 0.
func TestTextOnAPTY(t *testing.T) {
	k := knee()
	r := rig.Routine{Name: "short", Moves: []rig.Move{{Kind: rig.MoveStair, TargetDeg: 5, RateDegPerS: 30, Dwell: time.Minute}}}
	path := servePTY(t, Options{Joints: []rig.Joint{k}, Form: rig.FormText, Routines: []rig.Routine{r}, Speed: 4}, "")
	for round := range 2 {
		feed := link.Listen(dialPTY(t, path), []rig.Joint{k})
		idle, moved := 0, false
		for !moved {
			e, err := feed.Next(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			if bad, ok := e.(*link.BadLine); ok {
				t.Fatalf("round %d: %+v", round, bad)
			}
			if s, ok := e.(*link.Samples); ok {
				for _, kind := range s.Batches[0].Move {
					if kind == rig.MoveNone {
						idle++
					}
					moved = moved || kind == rig.MoveStair
				}
			}
		}
		// A second of rest at 100 Hz; the first line is only half trusted, and another may go while a
		// port settles.
		if idle < 90 || feed.Losses()[0].Lost != 0 {
			t.Errorf("round %d: %d samples before the routine, losses %+v; want about 100 and none", round, idle, feed.Losses()[0])
		}
		if err := feed.Close(); err != nil {
			t.Error(err)
		}
		time.Sleep(2 * pollEvery)
	}
}
