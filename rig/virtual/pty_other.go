//go:build !unix

package virtual

import (
	"errors"
	"io"
)

func openPTY() (io.ReadWriteCloser, string, error) {
	return nil, "", errors.New("this system has no pseudo-terminals; use the built-in stand, port = \"virtual\"")
}
