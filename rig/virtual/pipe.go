package virtual

import (
	"context"
	"io"
	"net"
)

// Pipe starts a stand of its own and returns the host's end of its line. Closing it ends the stand,
// and returns when its goroutines are done. It fails when options do not fit together.
func Pipe(opt Options) (io.ReadWriteCloser, error) {
	s, err := New(opt)
	if err != nil {
		return nil, err
	}
	host, far := net.Pipe()
	p := &pipe{Conn: host, done: make(chan struct{})}
	go func() {
		defer close(p.done)
		p.err = s.Serve(context.Background(), far)
	}()
	return p, nil
}

type pipe struct {
	net.Conn
	done chan struct{}
	err  error // of the stand; read after done
}

// Close implements io.Closer.
func (p *pipe) Close() error {
	err := p.Conn.Close()
	<-p.done
	if err == nil {
		err = p.err
	}
	return err
}
