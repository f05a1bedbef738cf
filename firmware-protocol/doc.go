// Package wire is the codec of the protocol between a stand and its host. The folder is called
// firmware-protocol because it holds what both sides share; SPEC.md beside this file is the
// authority, and this package is one of its two implementations.
//
// A frame is a body of at most MaxBody bytes (first byte: the Type), its CRC-16, the two stuffed
// by COBS and ended by a zero byte. Numbers are little endian. Angles are mdeg, rates mdeg/s,
// currents mA, voltages mV, torques mN·m, temperatures 0.01 °C, times us since the stand's
// power-up unless a name says otherwise.
//
// The package reads and writes bytes and nothing else: no port, no clock, no goroutine. It knows
// the messages of both directions, so that a stand in software needs no codec of its own.
// Neither encoding nor decoding allocates.
package wire
