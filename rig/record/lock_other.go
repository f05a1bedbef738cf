//go:build !(darwin || dragonfly || freebsd || linux || netbsd || openbsd)

package record

import "os"

// lockFile does nothing: these systems have no lock in the standard library.
func lockFile(*os.File) error { return nil }
