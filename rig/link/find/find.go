package find

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"sync/atomic"
	"time"

	"limbgauge/rig"
	"limbgauge/rig/link"
	"limbgauge/rig/link/port"
)

// usual are the rates looked at when the one asked for brings nothing, the likeliest first. Those a
// 16 MHz board makes exactly come before those that are usual elsewhere.
var usual = [...]int{500000, 250000, 1000000, 115200, 57600, 230400, 9600}

// tryFor is how long each of them is listened to. The board is up by then, so that an answer takes
// some ms and a line of a sketch some tenths of a second.
const tryFor = 600 * time.Millisecond

// Options say where to look.
type Options struct {
	// Open opens the port at a rate, and so resets boards that can be reset that way.
	Open func(baud int) (port.Line, error)
	Baud int // the rate that bench.toml names
	Link link.Options
	// Said is told what is being tried; it may be nil.
	Said func(string)
}

// Met is a stand that was met.
type Met struct {
	*link.Conn
	// Slow says that it answered only after the usual time had passed: a slow boot loader.
	Slow bool
}

// Meet says hello. The error, when no stand of our protocol answers, says what is there instead: a
// *BaudError, *NoiseError, *SilenceError or *BootLoaderError, or what Open or link.Open return.
func Meet(ctx context.Context, opt Options) (*Met, error) {
	said := opt.Said
	if said == nil {
		said = func(string) {}
	}
	line, err := opt.Open(opt.Baud)
	if err != nil {
		return nil, err
	}
	said(fmt.Sprintf("saying hello at %d baud", opt.Baud))
	lent := &lease{Line: line}
	conn, err := link.Open(ctx, lent, opt.Link)
	if err == nil {
		lent.own.Store(true)
		return &Met{Conn: conn}, nil
	}
	var none *link.NoHelloError
	if !errors.As(err, &none) || !slices.Contains([]link.Heard{link.HeardNothing, link.HeardNoise, link.HeardFrames}, none.Heard) {
		return nil, errors.Join(err, line.Close())
	}
	said("no hello: trying the usual baud rates")
	met, tried, noisy, searchErr := search(ctx, line, opt)
	if met != nil {
		return met, nil
	}
	if err := line.Close(); err != nil {
		return nil, errors.Join(searchErr, err)
	}
	switch {
	case searchErr != nil:
		return nil, searchErr
	case none.Heard == link.HeardFrames:
		return nil, err
	}
	said("nobody at any rate: calling the boot loader")
	if baud, err := bootLoader(ctx, opt.Open); err != nil || baud > 0 {
		if err == nil {
			err = &BootLoaderError{baud}
		}
		return nil, err
	}
	if noisy || none.Heard == link.HeardNoise {
		return nil, &NoiseError{tried}
	}
	return nil, &SilenceError{none.Waited, tried}
}

// search says hello at one rate after the other, the one asked for once more first: a board may only
// have been slow, and a carrier that does not know of rates answers at any.
func search(ctx context.Context, line port.Line, opt Options) (met *Met, tried []int, noisy bool, err error) {
	try := opt.Link
	try.HelloFor = tryFor
	for _, baud := range append([]int{opt.Baud}, usual[:]...) {
		if slices.Contains(tried, baud) {
			continue
		}
		if err := line.Retune(baud); err != nil {
			if errors.Is(err, port.ErrBaud) {
				continue // not a rate of this port
			}
			return nil, tried, noisy, err
		}
		tried = append(tried, baud)
		lent := &lease{Line: line}
		conn, err := link.Open(ctx, lent, try)
		var none *link.NoHelloError
		var version *link.VersionError
		switch {
		case err == nil && baud == opt.Baud:
			lent.own.Store(true)
			return &Met{Conn: conn, Slow: true}, tried, noisy, nil
		case err == nil:
			err = conn.Close()
			return nil, tried, noisy, errors.Join(&BaudError{opt.Baud, baud, rig.FormFrames}, err)
		case errors.As(err, &version) && baud != opt.Baud:
			return nil, tried, noisy, errors.Join(&BaudError{opt.Baud, baud, rig.FormFrames}, err)
		case errors.As(err, &none) && none.Heard == link.HeardText && baud != opt.Baud:
			return nil, tried, noisy, &BaudError{opt.Baud, baud, rig.FormText}
		case errors.As(err, &none) && (none.Heard == link.HeardText || none.Heard == link.HeardEcho):
			return nil, tried, noisy, err
		case !errors.As(err, &none):
			return nil, tried, noisy, err
		}
		noisy = noisy || none.Heard != link.HeardNothing
	}
	return nil, tried, noisy, nil
}

// lease lends a line to a conversation, which closes what it is given; the line stays open unless the
// conversation came to own it.
type lease struct {
	port.Line
	over, own atomic.Bool
}

// Read implements io.Reader.
func (l *lease) Read(p []byte) (int, error) {
	if l.over.Load() {
		return 0, os.ErrClosed
	}
	return l.Line.Read(p)
}

// Write implements io.Writer.
func (l *lease) Write(p []byte) (int, error) {
	if l.over.Load() {
		return 0, os.ErrClosed
	}
	return l.Line.Write(p)
}

// Close implements io.Closer.
func (l *lease) Close() error {
	if l.own.Load() {
		return l.Line.Close()
	}
	l.over.Store(true)
	return nil
}

// The greeting of boot loaders of 8-bit boards: "get sync" is answered by "in sync, OK". From the
// STK500 communication protocol, application note AVR061.
var (
	getSync = []byte{0x30, 0x20}
	inSync  = []byte{0x14, 0x10}
)

const (
	greetEvery = 100 * time.Millisecond
	greetFor   = 1500 * time.Millisecond // a boot loader gives up after one or two seconds (common practice)
)

// bootLoader resets the board and greets its boot loader at the rates such have (common practice). It
// returns the rate at which one answered, 0 for none.
func bootLoader(ctx context.Context, open func(int) (port.Line, error)) (int, error) {
	for _, baud := range []int{115200, 57600} {
		line, err := open(baud)
		if err != nil {
			if errors.Is(err, port.ErrBaud) {
				continue
			}
			return 0, err
		}
		ok, err := greet(ctx, line)
		if err := errors.Join(err, line.Close()); err != nil {
			return 0, err
		}
		if ok {
			return baud, nil
		}
	}
	return 0, nil
}

func greet(ctx context.Context, line io.ReadWriter) (bool, error) {
	var last byte
	buf := make([]byte, 256)
	var sent time.Time
	for begin := time.Now(); time.Since(begin) < greetFor; {
		if err := ctx.Err(); err != nil {
			return false, err
		}
		if time.Since(sent) >= greetEvery {
			sent = time.Now()
			if _, err := line.Write(getSync); err != nil {
				return false, fmt.Errorf("%w (write: %w)", link.ErrGone, err)
			}
		}
		n, err := line.Read(buf) // at most 100 ms
		if err != nil {
			return false, fmt.Errorf("%w (read: %w)", link.ErrGone, err)
		}
		for _, b := range buf[:n] {
			if last == inSync[0] && b == inSync[1] {
				return true, nil
			}
			last = b
		}
	}
	return false, nil
}
