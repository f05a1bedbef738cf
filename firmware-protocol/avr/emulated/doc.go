// Package emulated builds the stand's firmware and an emulated board for it, and runs both for tests.
//
// The board is a process of its own, made from harness/ by the C compiler of this machine: firmware under
// an emulator of the processor, angle sensors and shunt monitors on its bus, servos and joints behind its
// pulses, its serial port on a pseudo-terminal. The emulator stands under the GPL, version 3 or
// later, and so does the harness; nothing of either is linked into a Go program, and no binary is kept.
//
// Only tests import this package. It needs avr-gcc, avr-libc, a C compiler, make, pkg-config, libsimavr and
// libelf; Missing says which of them are not there.
package emulated
