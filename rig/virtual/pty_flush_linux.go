package virtual

import "golang.org/x/sys/unix"

// flushPTY throws away what waits for a reader of the other end. What came from there stays: it may be
// the first words of the next program.
func flushPTY(fd int) error { return unix.IoctlSetInt(fd, unix.TCFLSH, unix.TCOFLUSH) }
