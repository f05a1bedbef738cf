package find_test

import (
	"context"
	"errors"
	"io"
	"net"
	"os"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
	"limbgauge/rig/link"
	"limbgauge/rig/link/find"
	"limbgauge/rig/link/linktest"
	"limbgauge/rig/link/port"
)

// board is what sits at the other end of a port: life is its life from a reset on, over a line whose bytes
// have crossed from its baud rate to the host's already.
type board struct {
	baud func(since time.Duration) int // at which it speaks; 0: bytes pass at any rate
	life func(io.ReadWriteCloser)
}

// at returns a rate that stays.
func at(baud int) func(time.Duration) int { return func(time.Duration) int { return baud } }

// ports opens the port of a board again and again, each time with a reset, and counts how often.
func (b board) ports(t *testing.T, opened *int) func(int) (port.Line, error) {
	var all sync.WaitGroup
	t.Cleanup(all.Wait)
	return func(baud int) (port.Line, error) {
		*opened++
		host, far := net.Pipe()
		l := &simLine{Conn: host}
		l.baud.Store(int64(baud))
		all.Go(func() {
			b.life(&simBoard{Conn: far, line: l, board: b, since: time.Now()})
			// Whoever is dead still lets bytes go by.
			_, _ = io.Copy(io.Discard, far)
			_ = far.Close()
		})
		return l, nil
	}
}

// simLine is the host's end, with the manners of a serial port.
type simLine struct {
	net.Conn
	baud   atomic.Int64
	closed atomic.Bool
}

func (l *simLine) Read(p []byte) (int, error) {
	_ = l.SetReadDeadline(time.Now().Add(100 * time.Millisecond)) // can not fail on a pipe
	n, err := l.Conn.Read(p)
	if errors.Is(err, os.ErrDeadlineExceeded) {
		err = nil
	}
	return n, err
}

func (l *simLine) Retune(baud int) error {
	if baud == 57600 { // a port that can not do all of them
		return &port.Error{Path: "sim", Err: port.ErrBaud}
	}
	l.baud.Store(int64(baud))
	return nil
}

func (l *simLine) Close() error { l.closed.Store(true); return l.Conn.Close() }

// simBoard is the board's end.
type simBoard struct {
	net.Conn
	line  *simLine
	board board
	since time.Time
	rest  []byte
}

func (s *simBoard) cross(p []byte, toHost bool) []byte {
	own, host := s.board.baud(time.Since(s.since)), int(s.line.baud.Load())
	if own == 0 {
		return p
	}
	if toHost {
		return linktest.Resample(p, own, host)
	}
	return linktest.Resample(p, host, own)
}

func (s *simBoard) Read(p []byte) (int, error) {
	for len(s.rest) == 0 {
		buf := make([]byte, 512)
		n, err := s.Conn.Read(buf)
		if err != nil {
			return 0, err
		}
		s.rest = s.cross(buf[:n], false)
	}
	n := copy(p, s.rest)
	s.rest = s.rest[n:]
	return n, nil
}

func (s *simBoard) Write(p []byte) (int, error) {
	if _, err := s.Conn.Write(s.cross(p, true)); err != nil {
		return 0, err
	}
	return len(p), nil
}

func stand(cfg linktest.Config) func(io.ReadWriteCloser) {
	return func(rw io.ReadWriteCloser) { linktest.NewStand(cfg).Serve(rw) }
}

// ignore reads and forgets for a while.
func ignore(rw io.Reader, span time.Duration) {
	end := time.Now().Add(span)
	if c, ok := rw.(net.Conn); ok {
		_ = c.SetReadDeadline(end)
		_, _ = io.Copy(io.Discard, c)
		_ = c.SetReadDeadline(time.Time{})
	}
}

// loader answers the greeting of a boot loader for its first second, and then goes on as something else.
func loader(after func(io.ReadWriteCloser)) func(io.ReadWriteCloser) {
	return func(rw io.ReadWriteCloser) {
		s := rw.(*simBoard)
		_ = s.SetReadDeadline(time.Now().Add(time.Second))
		buf := make([]byte, 64)
		for {
			n, err := s.Read(buf)
			if strings.Contains(string(buf[:n]), "0 ") {
				_, _ = s.Write([]byte{0x14, 0x10})
			}
			if err != nil {
				break
			}
		}
		_ = s.SetReadDeadline(time.Time{})
		after(rw)
	}
}

// printing prints lines of the text form for as long as somebody listens.
func printing(rw io.ReadWriteCloser) {
	go func() { _, _ = io.Copy(io.Discard, rw) }()
	for {
		if _, err := io.WriteString(rw, "sample,joint=knee command_deg=1.5,joint_deg=1.25,seq=7u 81234567\n"); err != nil {
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
}

func silent(io.ReadWriteCloser) {}

func TestMeet(t *testing.T) {
	for _, c := range []struct {
		name  string
		board board
		asked int
		want  string // of the error; "" when it is met
		check func(*testing.T, *find.Met, error)
	}{
		{"a stand", board{at(500000), stand(linktest.Config{})}, 500000, "", func(t *testing.T, m *find.Met, _ error) {
			if m.Slow || m.Stand().Firmware != "ideal 1.0.0" || len(m.Joints()) != 3 || m.Joints()[2].Name != "channel 2" {
				t.Errorf("%+v, joints %v", m.Stand(), m.Joints())
			}
		}},
		{"behind a boot loader", board{at(500000), func(rw io.ReadWriteCloser) {
			ignore(rw, 1600*time.Millisecond)
			stand(linktest.Config{})(rw)
		}}, 500000, "", func(t *testing.T, m *find.Met, _ error) {
			if m.Slow || m.Stand().After < 1500*time.Millisecond || m.Stand().After > 2*time.Second {
				t.Errorf("met after %s", m.Stand().After)
			}
		}},
		{"behind a slow boot loader", board{at(0), func(rw io.ReadWriteCloser) {
			ignore(rw, 4200*time.Millisecond)
			stand(linktest.Config{})(rw)
		}}, 250000, "", func(t *testing.T, m *find.Met, _ error) {
			if !m.Slow {
				t.Error("it is not called slow")
			}
		}},
		{"half the rate", board{at(250000), stand(linktest.Config{})}, 500000, "at 250000 the stand is understood, at 500000 it is not", isBaud(250000, rig.FormFrames)},
		{"twice the rate", board{at(1000000), stand(linktest.Config{})}, 500000, "at 1000000", isBaud(1000000, rig.FormFrames)},
		{"the rate of adapters", board{at(115200), stand(linktest.Config{})}, 500000, "at 115200", isBaud(115200, rig.FormFrames)},
		{"asked for an odd rate", board{at(500000), stand(linktest.Config{})}, 74880, "at 500000 the stand is understood, at 74880", isBaud(500000, rig.FormFrames)},
		{"another version at another rate", board{at(250000), stand(linktest.Config{Major: wire.Major + 1})}, 500000, "at 250000", isBaud(250000, rig.FormFrames)},
		{"lines at another rate", board{at(115200), printing}, 500000, "prints lines of the text form there", isBaud(115200, rig.FormText)},
		{"lines", board{at(115200), printing}, 115200, "prints lines of the text form", nil},
		{"another version", board{at(500000), stand(linktest.Config{Major: wire.Major + 1})}, 500000, "use the limbgauge that belongs", nil},
		{"silence", board{at(500000), silent}, 500000, "silence: not one byte came back in 4s, nor at the baud rates 500000, 250000, 1000000, 115200, 230400, 9600", nil},
		{"a boot loader alone", board{at(115200), loader(silent)}, 500000, "boot loader answers (at 115200 baud)", func(t *testing.T, _ *find.Met, err error) {
			if e := (*find.BootLoaderError)(nil); !errors.As(err, &e) || e.Baud != 115200 {
				t.Errorf("%#v", err)
			}
		}},
		{"a boot loader before lines at its rate", board{at(115200), loader(printing)}, 500000, "prints lines of the text form there", isBaud(115200, rig.FormText)},
		{"an old boot loader", board{at(57600), loader(silent)}, 500000, "at 57600 baud", nil},
		{"a loop", board{at(0), func(rw io.ReadWriteCloser) { _, _ = io.Copy(rw, rw) }}, 500000, "our own bytes came back", nil},
		{"a device of another kind", board{at(4800), func(rw io.ReadWriteCloser) {
			go func() { _, _ = io.Copy(io.Discard, rw) }()
			for {
				if _, err := io.WriteString(rw, "\x02ST,+00012.5 g\x03\x81\xA7"); err != nil {
					return
				}
				time.Sleep(50 * time.Millisecond)
			}
		}}, 500000, "bytes came, but they mean nothing", nil},
		{"a brown-out loop", board{at(500000), func(rw io.ReadWriteCloser) {
			go func() { _, _ = io.Copy(io.Discard, rw) }()
			var enc wire.Encoder
			for {
				f, err := enc.Append([]byte{0}, &wire.Hello{Major: wire.Major, Reset: wire.ReasonSupply, Queue: 4, Joints: 1})
				if err != nil {
					panic(err)
				}
				if _, err := rw.Write(f); err != nil {
					return
				}
				time.Sleep(700 * time.Millisecond)
			}
		}}, 500000, "it restarts again and again (brown-out: its supply sank)", nil},
		{"unplugged while it is looked for", board{at(0), func(rw io.ReadWriteCloser) {
			ignore(rw, 2*time.Second)
			_ = rw.Close()
		}}, 500000, "the stand went away", nil},
		{"unplugged during the search", board{at(0), func(rw io.ReadWriteCloser) {
			ignore(rw, 5*time.Second)
			_ = rw.Close()
		}}, 500000, "the stand went away", nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				opened := 0
				met, err := find.Meet(t.Context(), find.Options{Open: c.board.ports(t, &opened), Baud: c.asked, Link: link.Options{Rest: true}})
				if met != nil {
					defer func() {
						if err := met.Close(); err != nil {
							t.Errorf("close: %v", err)
						}
					}()
				}
				if (c.want == "") != (err == nil) || err != nil && !strings.Contains(err.Error(), c.want) {
					t.Fatalf("%v; want %q", err, c.want)
				}
				if c.check != nil {
					c.check(t, met, err)
				}
				if opened > 3 {
					t.Errorf("the port was opened %d times: each is a reset", opened)
				}
			})
		})
	}
}

func isBaud(speaks int, form string) func(*testing.T, *find.Met, error) {
	return func(t *testing.T, _ *find.Met, err error) {
		if e := (*find.BaudError)(nil); !errors.As(err, &e) || e.Speaks != speaks || e.Form != form {
			t.Errorf("%v; want %d and %s", err, speaks, form)
		}
	}
}

func TestMeetGivesUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		opened := 0
		open := board{at(0), silent}.ports(t, &opened)
		for _, after := range []time.Duration{time.Second, 5 * time.Second, 9 * time.Second} {
			ctx, cancel := context.WithTimeout(t.Context(), after)
			if _, err := find.Meet(ctx, find.Options{Open: open, Baud: 500000}); !errors.Is(err, context.DeadlineExceeded) {
				t.Errorf("after %s: %v, want the context's error", after, err)
			}
			cancel()
		}
	})
	want := &port.Error{Path: "x", Err: port.ErrBusy}
	if _, err := find.Meet(t.Context(), find.Options{Open: func(int) (port.Line, error) { return nil, want }, Baud: 1}); !errors.Is(err, port.ErrBusy) {
		t.Errorf("%v, want the port's error", err)
	}
}

// TestWatchEnds: a stand that goes away while it is watched, and a user who has seen enough.
func TestWatchEnds(t *testing.T) {
	for _, c := range []struct {
		name  string
		after time.Duration
		life  func(io.ReadWriteCloser)
		want  error
	}{
		{"unplugged", 0, func(rw io.ReadWriteCloser) {
			time.AfterFunc(3*time.Second, func() { _ = rw.Close() })
			stand(linktest.Config{})(rw)
		}, link.ErrGone},
		{"enough", 3 * time.Second, stand(linktest.Config{}), nil},
	} {
		synctest.Test(t, func(t *testing.T) {
			opened := 0
			met, err := find.Meet(t.Context(), find.Options{Open: board{at(0), c.life}.ports(t, &opened), Baud: 500000, Link: link.Options{Rest: true}})
			if err != nil {
				t.Fatal(err)
			}
			if err := met.Sample(t.Context(), 100); err != nil {
				t.Fatal(err)
			}
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			if c.after > 0 {
				time.AfterFunc(c.after, cancel)
			}
			seen := find.Watch(ctx, met, 3, 10*time.Second, met.AskTime)
			if !errors.Is(seen.Err, c.want) || slices.ContainsFunc(seen.Batches, func(b rig.Batch) bool { return b.Len() < 250 }) {
				t.Errorf("%s: %v after %d samples", c.name, seen.Err, seen.Batches[0].Len())
			}
			_ = met.Close() // of a line that is gone
		})
	}
}
