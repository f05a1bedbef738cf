package wire

import (
	"encoding/binary"
	"errors"
	"fmt"
)

// ErrMalformed marks a body whose CRC was right and whose content is not what SPEC.md says.
var ErrMalformed = errors.New("malformed message")

// Bounds of the three-byte signed numbers that carry angles and rates.
const (
	Max24 = 1<<23 - 1
	Min24 = -1 << 23
)

func append16(b []byte, v uint16) []byte { return binary.LittleEndian.AppendUint16(b, v) }
func append24(b []byte, v int32) []byte  { return append(b, byte(v), byte(v>>8), byte(v>>16)) }
func append32(b []byte, v uint32) []byte { return binary.LittleEndian.AppendUint32(b, v) }

func get16(b []byte) uint16 { return binary.LittleEndian.Uint16(b) }
func get32(b []byte) uint32 { return binary.LittleEndian.Uint32(b) }

// get24 reads a signed number of three bytes.
func get24(b []byte) int32 { return int32(uint32(b[0])<<8|uint32(b[1])<<16|uint32(b[2])<<24) >> 8 }

// getU24 reads an unsigned number of three bytes.
func getU24(b []byte) uint32 { return uint32(b[0]) | uint32(b[1])<<8 | uint32(b[2])<<16 }

// within says in words that a field does not fit its place in the message.
func within(field string, v, lo, hi int32) error {
	if v < lo || v > hi {
		return fmt.Errorf("%s %d is outside %d..%d", field, v, lo, hi)
	}
	return nil
}

// need checks type and length of a body.
func need(body []byte, t Type, n int) error {
	if len(body) == 0 || Type(body[0]) != t {
		return fmt.Errorf("%w: not a %s", ErrMalformed, t)
	}
	if len(body) < n {
		return fmt.Errorf("%w: %s of %d bytes, needs %d", ErrMalformed, t, len(body), n)
	}
	return nil
}
