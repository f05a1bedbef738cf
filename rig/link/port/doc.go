// Package port opens serial ports. It is the only place in this module that does: everything else
// takes an io.ReadWriteCloser.
package port
