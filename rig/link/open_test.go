package link_test

import (
	"context"
	"errors"
	"io"
	"net"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
	"limbgauge/rig/link"
	"limbgauge/rig/link/linktest"
)

func TestOpenAndClose(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := open(t, ideal(t, linktest.Config{}))
		st := c.Stand()
		if st.Firmware != "ideal 1.0.0" || st.Protocol != "1.0" || st.Queue != 4 || st.MaxHz != 1000 || len(st.Channels) != 3 {
			t.Errorf("stand %+v", st)
		}
		must(t, c.Close(), c.Close())
		if _, err := c.Next(t.Context()); !errors.Is(err, link.ErrClosed) {
			t.Errorf("next after close: %v", err)
		}
		if err := c.Disarm(t.Context()); !errors.Is(err, link.ErrClosed) {
			t.Errorf("disarm after close: %v", err)
		}
	})
}

// TestNoHello puts several things that are no stand at the other end.
func TestNoHello(t *testing.T) {
	say := func(p string) func(io.ReadWriter) {
		return func(rw io.ReadWriter) {
			for {
				if _, err := io.WriteString(rw, p); err != nil {
					return
				}
				time.Sleep(50 * time.Millisecond)
			}
		}
	}
	frame := string(wire.AppendFrame(nil, []byte{byte(wire.TypeAck), 1, 2}))
	for _, test := range []struct {
		name  string
		peer  func(io.ReadWriter)
		want  link.Heard
		words string
	}{
		{"silence", nil, link.HeardNothing, "nothing came back"},
		{"wrong baud rate", say("\xf8\x80\x00\x78"), link.HeardNoise, "baud"},
		{"text form", say("sample,joint=knee command_deg=1,joint_deg=1 5\n"), link.HeardText, `form = "text"`},
		{"loop", func(rw io.ReadWriter) { _, _ = io.Copy(rw, rw) }, link.HeardEcho, "joined"},
		{"frames", say(frame), link.HeardFrames, "hello"},
	} {
		t.Run(test.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				host, peer := net.Pipe()
				var wg sync.WaitGroup
				wg.Go(func() { _, _ = io.Copy(io.Discard, peer) })
				if test.peer != nil {
					wg.Go(func() { test.peer(peer) })
				}
				begin := time.Now()
				_, err := link.Open(t.Context(), host, link.Options{Joints: joints()})
				var none *link.NoHelloError
				if !errors.As(err, &none) || none.Heard != test.want || !strings.Contains(err.Error(), test.words) {
					t.Errorf("%v; want heard %d and %q", err, test.want, test.words)
				}
				if waited := time.Since(begin); waited != 4*time.Second {
					t.Errorf("waited %s, want 4s", waited)
				}
				_ = peer.Close()
				wg.Wait()
			})
		})
	}
}

func TestOtherVersion(t *testing.T) {
	for major, hint := range map[uint8]string{wire.Major + 1: "use the limbgauge", wire.Major - 1: "flash the firmware"} {
		synctest.Test(t, func(t *testing.T) {
			s, host := newScript(t)
			s.wg.Go(func() {
				for m := range s.in {
					if ask, ok := m.(*wire.HelloAsk); ok {
						// What another version says behind the first seven bytes is not ours to know.
						body := []byte{byte(wire.TypeHello), 'L', 'G', major, 7, byte(ask.Nonce), byte(ask.Nonce >> 8), 1, 2, 3}
						if _, err := s.rw.Write(wire.AppendFrame(nil, body)); err != nil {
							t.Error(err)
						}
						return
					}
				}
			})
			_, err := link.Open(t.Context(), host, link.Options{Joints: joints()})
			var v *link.VersionError
			if !errors.As(err, &v) || v.StandMajor != major || v.StandMinor != 7 || !strings.Contains(err.Error(), hint) {
				t.Errorf("%v; want version %d.7 and %q", err, major, hint)
			}
		})
	}
}

// TestSlowStart: a board sits in its boot loader for two seconds and then starts up loudly.
func TestSlowStart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, host := newScript(t)
		s.wg.Go(func() {
			time.Sleep(2 * time.Second)
			for len(s.in) > 0 {
				<-s.in
			}
			_, _ = s.rw.Write([]byte("boot loader 1.2\r\n\x00"))
			s.send(&wire.Hello{Major: wire.Major, Nonce: 0, Joints: 3}) // of the restart: not the answer
			s.hello()
		})
		c := open(t, host)
		if c.Stand().Firmware != "script 0.0.0" {
			t.Errorf("stand %+v", c.Stand())
		}
		if c.Counts().Drops.Total() != 0 {
			t.Errorf("drops %+v: what comes before the first zero is nobody's fault", c.Counts().Drops)
		}
	})
}

func TestOpenGivesUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		_, host := newScript(t)
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if _, err := link.Open(ctx, host, link.Options{Joints: joints()}); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("%v, want the context's error", err)
		}
	})
	synctest.Test(t, func(t *testing.T) {
		host, peer := net.Pipe()
		_ = peer.Close()
		if _, err := link.Open(t.Context(), host, link.Options{Joints: joints()}); !errors.Is(err, link.ErrGone) {
			t.Errorf("%v, want gone", err)
		}
	})
}

func TestChannels(t *testing.T) {
	for _, test := range []struct {
		name     string
		channels [2]int
		words    string
	}{
		{"twice", [2]int{1, 1}, `joint "hip": channel 1`},
		{"too great", [2]int{0, 6}, `joint "hip": channel 6`},
		{"not on the stand", [2]int{5, 0}, `joint "knee" is on channel 5, the stand has 3`},
	} {
		synctest.Test(t, func(t *testing.T) {
			js := joints()
			js[0].Channel, js[1].Channel = test.channels[0], test.channels[1]
			_, err := link.Open(t.Context(), ideal(t, linktest.Config{}), link.Options{Joints: js})
			if err == nil || !strings.Contains(err.Error(), test.words) {
				t.Errorf("%s: %v; want %q", test.name, err, test.words)
			}
		})
	}
}

// TestHeartbeat counts what a silent host's stand hears: one heartbeat each 100 ms.
func TestHeartbeat(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, host := newScript(t)
		s.wg.Go(s.hello)
		c := open(t, host)
		time.Sleep(1050 * time.Millisecond)
		n, clocks := 0, 0
		for len(s.in) > 0 {
			switch m := (<-s.in).(type) {
			case *wire.Heartbeat:
				if int(m.Count) != n {
					t.Errorf("heartbeat %d, want %d", m.Count, n)
				}
				n++
			case *wire.ClockAsk:
				clocks++
			}
		}
		if n != 11 || clocks != 2 {
			t.Errorf("%d heartbeats and %d questions about the time in 1.05 s, want 11 and 2", n, clocks)
		}
		must(t, c.Close())
	})
}

func TestSilence(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, host := newScript(t)
		s.wg.Go(s.hello)
		c := open(t, host)
		begin := time.Now()
		_, err := c.Next(t.Context())
		if !errors.Is(err, link.ErrGone) || !strings.Contains(err.Error(), "said nothing") {
			t.Errorf("%v, want gone", err)
		}
		if d := time.Since(begin); d < 2*time.Second || d > 2200*time.Millisecond {
			t.Errorf("noticed after %s, want 2 s", d)
		}
	})
}

// TestVanish: the other end goes away while requests and moves wait.
func TestVanish(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, host := newScript(t)
		s.wg.Go(s.hello)
		c := open(t, host)
		s.wg.Go(func() { time.Sleep(100 * time.Millisecond); _ = s.rw.Close() })
		if err := c.Disarm(t.Context()); !errors.Is(err, link.ErrGone) {
			t.Errorf("a request that waits: %v, want gone", err)
		}
		if _, err := c.Next(t.Context()); !errors.Is(err, link.ErrGone) {
			t.Errorf("next: %v, want gone", err)
		}
		if err := c.Queue(t.Context(), 0, 1, rig.Move{}); !errors.Is(err, link.ErrGone) {
			t.Errorf("a new move: %v, want gone", err)
		}
	})
}

// stuck is a line whose Write blocks for ever once it is told to, like that of a dead pseudo terminal.
type stuck struct {
	io.ReadWriteCloser
	dead, free chan struct{}
}

func (s *stuck) Write(p []byte) (int, error) {
	select {
	case <-s.dead:
		<-s.free
		return 0, io.ErrClosedPipe
	default:
		return s.ReadWriteCloser.Write(p)
	}
}

func TestStuckWrite(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		line := &stuck{ideal(t, linktest.Config{}), make(chan struct{}), make(chan struct{})}
		c, err := link.Open(t.Context(), line, link.Options{Joints: joints()})
		must(t, err)
		close(line.dead)
		begin := time.Now()
		if err := c.Disarm(t.Context()); !errors.As(err, new(*link.NoReplyError)) {
			t.Errorf("disarm: %v, want no reply", err)
		}
		if err := c.Close(); err == nil || !strings.Contains(err.Error(), "stuck") {
			t.Errorf("close: %v, want the stuck write", err)
		}
		if d := time.Since(begin); d > 3*time.Second {
			t.Errorf("closing a dead line took %s", d)
		}
		close(line.free) // unplugged: now the writer ends too, or the bubble would tell
	})
}
