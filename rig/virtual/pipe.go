package virtual

import (
	"context"
	"errors"
	"io"
	"net"
	"os"
	"sync/atomic"
	"time"
)

// Pipe starts a stand of its own and returns the host's end of its line. Closing it ends the stand,
// and returns when its goroutines are done. Its method Restart resets the stand; a host that calls Handled
// after the samples it has dealt with gets a stand of Speed 0 that waits for it. It fails when options do
// not fit together.
func Pipe(opt Options) (io.ReadWriteCloser, error) {
	s, err := New(opt)
	if err != nil {
		return nil, err
	}
	host, far := net.Pipe()
	p := &pipe{Conn: host, step: s.step, far: &farEnd{Conn: far}, done: make(chan struct{})}
	go func() {
		defer close(p.done)
		p.err = s.Serve(context.Background(), p.far)
	}()
	return p, nil
}

type pipe struct {
	net.Conn
	far  *farEnd
	step *step
	done chan struct{}
	err  error // of the stand; read after done
}

// farEnd is the stand's end of the line.
type farEnd struct {
	net.Conn
	restart atomic.Bool
}

// ReadOpen implements opener: a restart looks like a port that was opened anew.
func (f *farEnd) ReadOpen(p []byte) (n int, opened bool, err error) {
	n, err = f.Conn.Read(p)
	if errors.Is(err, os.ErrDeadlineExceeded) && f.restart.Swap(false) {
		return n, true, f.Conn.SetReadDeadline(time.Time{})
	}
	return n, false, err
}

// Accept implements opener.
func (f *farEnd) Accept() {}

// Restart resets the stand, as its reset line would.
func (p *pipe) Restart() error {
	p.far.restart.Store(true)
	return p.far.SetReadDeadline(time.Unix(1, 0)) // wakes the read that waits
}

// Handled says that the host has dealt with so many samples more, 0 at first. Without it a stand of Speed 0
// runs on as fast as the line takes what it sends.
func (p *pipe) Handled(samples int) { p.step.say(samples) }

// Close implements io.Closer.
func (p *pipe) Close() error {
	err := p.Conn.Close()
	<-p.done
	if err == nil {
		err = p.err
	}
	return err
}
