//go:build unix

package port

import (
	"errors"
	"io"
	"os"
	"syscall"
)

// lockPort takes a lock on the port's file. The library's exclusive mode does not hold against
// root, and two hosts at one stand would both believe to be in command.
func lockPort(path string) (io.Closer, error) {
	// Not blocking: a port may wait for a carrier that never comes.
	f, err := os.OpenFile(path, os.O_RDWR|syscall.O_NOCTTY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return nil, err
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		if errors.Is(err, syscall.EWOULDBLOCK) {
			err = syscall.EBUSY
		}
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}
