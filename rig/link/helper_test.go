package link_test

import (
	"context"
	"errors"
	"io"
	"net"
	"sync"
	"testing"
	"time"

	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
	"limbgauge/rig/link"
	"limbgauge/rig/link/linktest"
)

func joints() []rig.Joint {
	servo := rig.Servo{TravelDeg: 180, PulseUS: [2]int{500, 2500}}
	return []rig.Joint{
		{Name: "knee", Channel: 2, RangeDeg: [2]float64{-75, 75}, CurrentMaxA: 2.5, Servo: servo},
		{Name: "hip", Channel: 0, RangeDeg: [2]float64{-40, 60}, CurrentMaxA: 2.5, Servo: servo},
	}
}

// ideal runs an ideal stand and returns the host's end of the line to it. Tests run it inside a
// bubble of testing/synctest, so that seconds cost nothing and every goroutine must end.
func ideal(t *testing.T, cfg linktest.Config) io.ReadWriteCloser {
	host, stand := net.Pipe()
	var wg sync.WaitGroup
	wg.Go(func() { linktest.NewStand(cfg).Serve(stand) })
	t.Cleanup(func() { _ = stand.Close(); wg.Wait() })
	return host
}

func open(t *testing.T, rw io.ReadWriteCloser) *link.Conn {
	t.Helper()
	c, err := link.Open(t.Context(), rw, link.Options{Joints: joints()})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := c.Close(); err != nil {
			t.Errorf("close: %v", err)
		}
	})
	return c
}

func must(t *testing.T, errs ...error) {
	t.Helper()
	if err := errors.Join(errs...); err != nil {
		t.Fatal(err)
	}
}

// feed is all that came from a conversation.
type feed struct {
	rows  map[int]*rig.Batch
	trips []*link.Tripped
	gone  []*link.MoveGone
	bad   []*link.BadLine
	logs  []string
	err   error
}

// drain reads a feed until it is silent for a while or over.
func drain(t *testing.T, f link.Feed) feed {
	t.Helper()
	out := feed{rows: map[int]*rig.Batch{}}
	for {
		ctx, cancel := context.WithTimeout(t.Context(), 500*time.Millisecond)
		e, err := f.Next(ctx)
		cancel()
		if err != nil {
			if !errors.Is(err, context.DeadlineExceeded) {
				out.err = err
			}
			return out
		}
		switch e := e.(type) {
		case *link.Samples:
			for _, b := range e.Batches {
				if out.rows[b.Joint] == nil {
					out.rows[b.Joint] = &rig.Batch{Joint: b.Joint}
				}
				for i := range b.Len() {
					out.rows[b.Joint].Append(b.Row(i))
				}
			}
		case *link.Tripped:
			out.trips = append(out.trips, e)
		case *link.MoveGone:
			out.gone = append(out.gone, e)
		case *link.BadLine:
			out.bad = append(out.bad, e)
		case *link.Log:
			out.logs = append(out.logs, e.Text)
		}
	}
}

// script is the stand's end of a line for tests that say every word themselves.
type script struct {
	t   *testing.T
	rw  net.Conn
	in  chan wire.Message
	enc wire.Encoder
	wg  sync.WaitGroup
}

func newScript(t *testing.T) (*script, io.ReadWriteCloser) {
	host, stand := net.Pipe()
	s := &script{t: t, rw: stand, in: make(chan wire.Message, 1000)}
	s.wg.Go(func() {
		var dec wire.Decoder
		buf := make([]byte, 512)
		for {
			n, err := stand.Read(buf)
			for chunk := buf[:n]; len(chunk) > 0; {
				var body []byte
				if body, chunk = dec.Next(chunk); body == nil {
					continue
				}
				m, err := wire.Parse(body)
				if err != nil {
					t.Errorf("the host sent %X: %v", body, err)
					continue
				}
				s.in <- m
			}
			if err != nil {
				return
			}
		}
	})
	t.Cleanup(func() { _ = stand.Close(); s.wg.Wait() })
	return s, host
}

func (s *script) send(ms ...wire.Message) {
	for _, m := range ms {
		frame, err := s.enc.Append(nil, m)
		if err != nil {
			s.t.Error(err)
		}
		if _, err := s.rw.Write(frame); err != nil {
			return // the host has closed
		}
	}
}

// hello answers the first hello and leaves the rest to the test.
func (s *script) hello() {
	for m := range s.in {
		if ask, ok := m.(*wire.HelloAsk); ok {
			s.send(&wire.Hello{Major: wire.Major, Nonce: ask.Nonce, Queue: 4, MaxHz: 1000, Joints: 3, Name: "script"})
			return
		}
	}
}
