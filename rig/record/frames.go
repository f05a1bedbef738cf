package record

import (
	"bytes"
	"errors"
	"fmt"

	"github.com/klauspost/compress/zstd"
)

// frameMagic begins every zstd frame (RFC 8878, section 3.1.1).
func frameMagic() []byte { return []byte{0x28, 0xB5, 0x2F, 0xFD} }

// maxFrame is the greatest content of one frame; a header that asks for more is damage.
const maxFrame = 64 << 20

// frameLen returns the length of the zstd frame at the start of data without decompressing it, by
// going from block header to block header (RFC 8878, section 3.1.1.2).
func frameLen(data []byte) (int, error) {
	if len(data) < 4 {
		return 0, ErrTorn
	}
	if !bytes.Equal(data[:4], frameMagic()) {
		return 0, fmt.Errorf("%w: no frame begins here", ErrDamaged)
	}
	var h zstd.Header
	if err := h.Decode(data); err != nil {
		if len(data) < zstd.HeaderMaxSize {
			return 0, ErrTorn
		}
		return 0, fmt.Errorf("%w: %v", ErrDamaged, err)
	}
	at := h.HeaderSize
	for last := false; !last; {
		if len(data) < at+3 {
			return 0, ErrTorn
		}
		b := int(data[at]) | int(data[at+1])<<8 | int(data[at+2])<<16
		last = b&1 == 1
		size := b >> 3
		switch b >> 1 & 3 {
		case 1: // one byte, repeated size times
			size = 1
		case 3:
			return 0, fmt.Errorf("%w: reserved type of block", ErrDamaged)
		}
		at += 3 + size
		if len(data) < at {
			return 0, ErrTorn
		}
	}
	if h.HasCheckSum {
		at += 4
	}
	if len(data) < at {
		return 0, ErrTorn
	}
	return at, nil
}

// scanner walks over the frames of a journal and goes on behind what is damaged.
type scanner struct {
	data []byte
	at   int
	zd   *zstd.Decoder
	buf  []byte
}

func newScanner(data []byte) (*scanner, error) {
	zd, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(maxFrame))
	if err != nil {
		return nil, fmt.Errorf("start zstd: %w", err)
	}
	return &scanner{data: data, zd: zd}, nil
}

// stretch is a piece of the file: a good frame with its content, or damage.
type stretch struct {
	offset, length int
	content        []byte // valid until the next call
	err            error
}

// next returns the next stretch; ok is false at the end.
func (s *scanner) next() (st stretch, ok bool) {
	if s.at >= len(s.data) {
		return stretch{}, false
	}
	start := s.at
	n, err := s.try(start)
	if err == nil {
		s.at += n
		return stretch{start, n, s.buf, nil}, true
	}
	// A frame in there may still be whole: look for the next place where one begins and is good.
	for at := start + 1; ; at++ {
		i := bytes.Index(s.data[at:], frameMagic())
		if i < 0 {
			break
		}
		at += i
		if _, e := s.try(at); e == nil {
			s.at = at
			if errors.Is(err, ErrTorn) { // not the last frame, so not a torn one
				err = fmt.Errorf("%w: its blocks run past the next frame", ErrDamaged)
			}
			return stretch{start, at - start, nil, err}, true
		}
	}
	s.at = len(s.data)
	if len(bytes.Trim(s.data[start:], "\x00")) == 0 {
		err = fmt.Errorf("%w: the file ends in zeros, as after a power loss", ErrTorn)
	}
	return stretch{start, len(s.data) - start, nil, err}, true
}

// try reads the frame at a place into buf.
func (s *scanner) try(at int) (int, error) {
	n, err := frameLen(s.data[at:])
	if err != nil {
		return 0, err
	}
	s.buf, err = s.zd.DecodeAll(s.data[at:at+n], s.buf[:0])
	if err != nil {
		return 0, fmt.Errorf("%w: %v", ErrDamaged, err)
	}
	return n, nil
}
