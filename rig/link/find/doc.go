// Package find meets the stand at a serial port, and where there is none to meet finds out what is there
// instead: another baud rate, a board in its boot loader, a sketch that prints lines, nothing at all.
// It sends no more than hellos and the greeting of a boot loader: nothing moves.
package find
