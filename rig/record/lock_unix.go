//go:build darwin || dragonfly || freebsd || linux || netbsd || openbsd

package record

import (
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
