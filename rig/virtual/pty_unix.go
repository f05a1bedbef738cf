//go:build unix

package virtual

import (
	"errors"
	"io"
	"sync"
	"sync/atomic"
	"time"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"
	"golang.org/x/term"
)

// ptyLine is the stand's end of a pseudo-terminal. It polls: closing a file under a blocked read is
// no safe way to end it, and poll alone tells whether the other end is open.
type ptyLine struct {
	fd     int
	closed atomic.Bool
	// inUse is held for reading by whoever uses fd, and for writing to close it.
	inUse sync.RWMutex
	// up says that a program has the other end open and that the stand was told. It and the line's
	// buffer change under writing.
	writing sync.Mutex
	up      bool
	seen    bool // the reader saw it open; changed under writing by the reader alone
}

const (
	pollEvery = 50 * time.Millisecond // how soon a close is seen
	lookEvery = 5 * time.Millisecond  // how soon an opening is seen
)

// openPTY makes a pseudo-terminal and returns our end and the path of the other.
func openPTY() (io.ReadWriteCloser, string, error) {
	master, slave, err := pty.Open()
	if err != nil {
		return nil, "", err
	}
	path := slave.Name()
	fd, err := -1, error(nil)
	// Raw, or the line would echo and edit. The setting outlives our hold on the slave, which must end:
	// only then does poll tell when nobody has it open.
	if _, err = term.MakeRaw(int(slave.Fd())); err == nil {
		// A copy, as the file's own number belongs to its finalizer.
		fd, err = unix.FcntlInt(master.Fd(), unix.F_DUPFD_CLOEXEC, 0)
	}
	if err == nil {
		err = unix.SetNonblock(fd, true)
	}
	if err = errors.Join(err, slave.Close(), master.Close()); err != nil {
		if fd >= 0 {
			err = errors.Join(err, unix.Close(fd))
		}
		return nil, "", err
	}
	return &ptyLine{fd: fd}, path, nil
}

// poll waits for events and returns what came; closed is true when the line was closed.
func (l *ptyLine) poll(events int16, wait time.Duration) (got int16, closed bool, err error) {
	l.inUse.RLock()
	defer l.inUse.RUnlock()
	if l.closed.Load() {
		return 0, true, nil
	}
	p := []unix.PollFd{{Fd: int32(l.fd), Events: events}}
	if _, err := unix.Poll(p, int(wait/time.Millisecond)); err != nil && !errors.Is(err, unix.EINTR) {
		return 0, false, err
	}
	return p[0].Revents, false, nil
}

// Read implements io.Reader.
func (l *ptyLine) Read(p []byte) (int, error) {
	for {
		if n, _, err := l.ReadOpen(p); n > 0 || err != nil {
			return n, err
		}
	}
}

// ReadOpen implements opener.
func (l *ptyLine) ReadOpen(p []byte) (n int, opened bool, err error) {
	for {
		wait := pollEvery
		if !l.seen {
			wait = lookEvery
		}
		got, closed, err := l.poll(unix.POLLIN, wait)
		if err != nil {
			return 0, false, err
		}
		if closed {
			return 0, false, io.EOF
		}
		hung := got&unix.POLLHUP != 0
		if !hung && !l.seen {
			l.writing.Lock()
			l.seen = true
			l.writing.Unlock()
			return 0, true, nil
		}
		if got&unix.POLLIN != 0 {
			// Also of a program that has closed its end: its last words count.
			if n, err := l.read(p); n > 0 || err != nil {
				return n, false, err
			}
		}
		if hung {
			if l.seen {
				l.hangUp()
			}
			time.Sleep(lookEvery) // poll returns at once while nobody is there
		}
	}
}

func (l *ptyLine) read(p []byte) (int, error) {
	l.inUse.RLock()
	defer l.inUse.RUnlock()
	if l.closed.Load() {
		return 0, io.EOF
	}
	n, err := unix.Read(l.fd, p)
	if quiet(err) || errors.Is(err, unix.EIO) { // EIO: nobody has the other end open
		return 0, nil
	}
	return max(n, 0), err
}

// Accept implements opener.
func (l *ptyLine) Accept() {
	l.writing.Lock()
	defer l.writing.Unlock()
	l.up = l.seen // it may have been closed again
}

// hangUp notes that the other end was closed and throws away what was not read, or the next program
// would find it.
func (l *ptyLine) hangUp() {
	l.writing.Lock()
	defer l.writing.Unlock()
	l.up, l.seen = false, false
	l.inUse.RLock()
	defer l.inUse.RUnlock()
	if !l.closed.Load() {
		_ = flushPTY(l.fd) // at worst the next program finds some old bytes, as on a real line
	}
}

// Write implements io.Writer. It waits while the other end's buffer is full, and takes everything for
// written while nobody has it open.
func (l *ptyLine) Write(p []byte) (int, error) {
	rest := p
	for len(rest) > 0 {
		n, err := l.write(rest)
		if err != nil {
			return len(p) - len(rest), err
		}
		rest = rest[n:]
		if n == 0 {
			// A failure of poll, and a closed line, come back with the next write.
			_, _, _ = l.poll(unix.POLLOUT, pollEvery)
		}
	}
	return len(p), nil
}

func (l *ptyLine) write(p []byte) (int, error) {
	l.writing.Lock()
	defer l.writing.Unlock()
	l.inUse.RLock()
	defer l.inUse.RUnlock()
	if l.closed.Load() {
		return 0, io.ErrClosedPipe
	}
	if !l.up {
		return len(p), nil
	}
	n, err := unix.Write(l.fd, p)
	if quiet(err) {
		return max(n, 0), nil
	}
	return max(n, 0), err
}

// quiet says whether an error only means "not now".
func quiet(err error) bool { return errors.Is(err, unix.EAGAIN) || errors.Is(err, unix.EINTR) }

// Close implements io.Closer. A second call does nothing.
func (l *ptyLine) Close() error {
	if l.closed.Swap(true) {
		return nil
	}
	l.inUse.Lock()
	defer l.inUse.Unlock()
	return unix.Close(l.fd)
}
