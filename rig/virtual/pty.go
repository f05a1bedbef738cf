package virtual

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// PTY says how a stand shows itself as a serial port.
type PTY struct {
	// Link is the path of a symbolic link to keep to the port while the stand is served; "" for none.
	// A link that is there is replaced, anything else is an error.
	Link string
	// Ready is told the port's path, or the link's if there is one, when it can be opened; it may be nil.
	Ready func(path string)
}

// ServePTY serves the stand on a pseudo-terminal of its own, which any serial program can open, until
// ctx ends. Whenever a program opens it the stand restarts, as a board does; what the stand says while
// nobody has it open is lost, as on a real line. Only an opening that follows a closing at once may go
// unseen. The error is ctx's, or says why the port could not be made.
func (s *Stand) ServePTY(ctx context.Context, p PTY) error {
	line, path, err := openPTY()
	if err != nil {
		return fmt.Errorf("virtual stand: open a pseudo-terminal: %w", err)
	}
	if p.Link != "" {
		if err := keepLink(path, p.Link); err != nil {
			return errors.Join(fmt.Errorf("virtual stand: %w", err), line.Close())
		}
		defer unlink(path, p.Link)
		path = p.Link
	}
	if p.Ready != nil {
		p.Ready(path)
	}
	return s.Serve(ctx, line)
}

// keepLink makes a symbolic link, in one step, where none or an older one is.
func keepLink(target, at string) error {
	if info, err := os.Lstat(at); err == nil && info.Mode()&fs.ModeSymlink == 0 {
		return fmt.Errorf("keep a link to the port at %s: there is a file of another kind; choose another path", at)
	}
	temp := filepath.Join(filepath.Dir(at), fmt.Sprintf(".%s.%d", filepath.Base(at), os.Getpid()))
	if err := os.Symlink(target, temp); err != nil {
		return fmt.Errorf("keep a link to the port: %w", err)
	}
	if err := os.Rename(temp, at); err != nil {
		return errors.Join(fmt.Errorf("keep a link to the port: %w", err), os.Remove(temp))
	}
	return nil
}

// unlink takes the link away if it is still ours. A link that stays behind points to a port that is
// gone, which whoever opens it is told: no error worth more words.
func unlink(target, at string) {
	if now, err := os.Readlink(at); err == nil && now == target {
		_ = os.Remove(at)
	}
}
