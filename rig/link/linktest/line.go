package linktest

import (
	"io"
	"sync"
)

// Line passes bytes through to RW and lets a test break them on the way. Break may change, cut or
// drop what was read; it is called by one reader at a time.
type Line struct {
	RW    io.ReadWriteCloser
	Break func(p []byte) []byte

	mu   sync.Mutex
	rest []byte
}

// Read implements io.Reader.
func (l *Line) Read(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for {
		if len(l.rest) > 0 {
			n := copy(p, l.rest)
			l.rest = l.rest[n:]
			return n, nil
		}
		buf := make([]byte, len(p))
		n, err := l.RW.Read(buf)
		l.rest = buf[:n]
		if l.Break != nil && n > 0 {
			l.rest = l.Break(l.rest)
		}
		if err != nil {
			n := copy(p, l.rest)
			l.rest = nil
			return n, err
		}
	}
}

// Write implements io.Writer.
func (l *Line) Write(p []byte) (int, error) { return l.RW.Write(p) }

// Close implements io.Closer.
func (l *Line) Close() error { return l.RW.Close() }
