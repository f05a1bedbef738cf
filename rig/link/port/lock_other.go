//go:build !unix

package port

import "io"

type noLock struct{}

func (noLock) Close() error { return nil }

// lockPort does nothing: where there are no file locks, a port opens once only.
func lockPort(string) (io.Closer, error) { return noLock{}, nil }
