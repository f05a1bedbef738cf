package wire

import (
	"bytes"
	"fmt"
)

// Limits of a frame, small enough for a board with 2 KB of memory.
const (
	MaxBody     = 96              // bytes from the type to the last field, stand to host
	MaxHostBody = 32              // the same, host to stand
	maxStuffed  = MaxBody + 2 + 1 // body, CRC and the one byte COBS adds to a block this short
	MaxFrame    = maxStuffed + 1  // as sent, with its delimiter
)

// Message is one message of the protocol. The types of this package are its only implementations
// (as pointers).
type Message interface {
	// Type names the message on the wire.
	Type() Type
	// AppendBody appends the body, type byte first. It fails when a field does not fit its width.
	AppendBody(dst []byte) ([]byte, error)
	// ParseBody sets the message from a body whose CRC was right. It fails with ErrMalformed when
	// the body is of another type or too short, or holds what the message can not hold.
	ParseBody(body []byte) error
}

// Encoder makes frames. The zero value is ready; it is not safe for concurrent use.
type Encoder struct{ body []byte }

// Append appends the whole frame of m, delimiter included. On an error dst comes back unchanged.
func (e *Encoder) Append(dst []byte, m Message) ([]byte, error) {
	body, err := m.AppendBody(e.body[:0])
	if err != nil {
		return dst, fmt.Errorf("encode %s: %w", m.Type(), err)
	}
	e.body = body
	if len(body) > MaxBody {
		return dst, fmt.Errorf("encode %s: body of %d bytes is longer than %d", m.Type(), len(body), MaxBody)
	}
	e.body = append16(body, CRC(body))
	return append(AppendCOBS(dst, e.body), 0), nil
}

// AppendFrame appends the frame of a ready-made body, whatever it holds: for tests and tools that
// must be able to send what a Message would refuse.
func AppendFrame(dst, body []byte) []byte {
	b := append16(append(make([]byte, 0, len(body)+2), body...), CRC(body))
	return append(AppendCOBS(dst, b), 0)
}

// Drops counts what a Decoder threw away, by reason.
type Drops struct {
	Checksum int // the CRC did not fit
	Stuffing int // the bytes between two zeros are no COBS
	TooLong  int // more than MaxFrame bytes without a zero
	TooShort int // not even one byte of body
}

// Total returns the number of dropped frames.
func (d Drops) Total() int { return d.Checksum + d.Stuffing + d.TooLong + d.TooShort }

// Decoder finds frames in a stream of bytes that comes in pieces of any size. It finds its feet
// again at the next zero byte after anything broken. The zero value is ready, and counts what comes
// before the first zero like anything else; call Join when the stream may be joined in the middle
// of a frame. It is not safe for concurrent use.
type Decoder struct {
	buf   [maxStuffed]byte
	n     int
	over  bool // the frame being read is too long already
	join  bool // joined mid-frame: what is broken before the next zero is nobody's fault
	drops Drops
}

// Drops returns the counts so far.
func (d *Decoder) Drops() Drops { return d.drops }

// Join forgets a frame begun and does not count what is broken up to the next zero.
func (d *Decoder) Join() { d.n, d.over, d.join = 0, false, true }

// Next takes bytes from chunk until a whole and undamaged frame was seen and returns its body and
// the rest of the chunk. A nil body means that the chunk is used up. The body is valid until the
// next call. The usual loop is
//
//	for len(chunk) > 0 {
//		var body []byte
//		if body, chunk = d.Next(chunk); body != nil {
//			use(body)
//		}
//	}
func (d *Decoder) Next(chunk []byte) (body, rest []byte) {
	for len(chunk) > 0 {
		end := bytes.IndexByte(chunk, 0)
		if end < 0 {
			d.keep(chunk)
			return nil, nil
		}
		d.keep(chunk[:end])
		chunk = chunk[end+1:]
		if body := d.finish(); body != nil {
			return body, chunk
		}
	}
	return nil, nil
}

func (d *Decoder) keep(p []byte) {
	if d.over {
		return
	}
	if len(p) > len(d.buf)-d.n {
		d.over = true
		return
	}
	d.n += copy(d.buf[d.n:], p)
}

// finish judges the bytes between two zeros.
func (d *Decoder) finish() []byte {
	body, fault := d.judge()
	if fault != nil && !d.join {
		*fault++
	}
	d.n, d.over, d.join = 0, false, false
	return body
}

// judge returns a body, or the count its fault belongs to, or neither for nothing at all.
func (d *Decoder) judge() (body []byte, fault *int) {
	if d.over {
		return nil, &d.drops.TooLong
	}
	if d.n == 0 { // two zeros in a row are no frame and no fault
		return nil, nil
	}
	p, ok := DecodeCOBS(d.buf[:d.n])
	if !ok {
		return nil, &d.drops.Stuffing
	}
	if len(p) < 3 {
		return nil, &d.drops.TooShort
	}
	body, tail := p[:len(p)-2], p[len(p)-2:]
	if CRC(body) != get16(tail) {
		return nil, &d.drops.Checksum
	}
	return body, nil
}
