//go:build darwin || dragonfly || freebsd || linux || netbsd || openbsd

package record

import (
	"errors"
	"fmt"
	"os"
	"syscall"
)

// lockFile locks an open file against other owners until it is closed. The lock goes with a crash.
func lockFile(f *os.File) error {
	switch err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err {
	case nil, syscall.ENOTSUP, syscall.ENOSYS: // some network file systems know no locks
		return nil
	case syscall.EWOULDBLOCK:
		return fmt.Errorf("%s: %w", f.Name(), ErrInUse)
	default:
		return fmt.Errorf("lock %s: %w", f.Name(), err)
	}
}

// lockPath locks a file that is there.
func lockPath(path string) (unlock func(), err error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	if err := lockFile(f); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return func() { _ = f.Close() }, nil // nothing was written, so nothing can be lost
}
