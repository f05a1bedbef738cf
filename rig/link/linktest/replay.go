package linktest

import (
	"bytes"
	"fmt"
	"io"
	"net"

	wire "limbgauge/firmware-protocol"
)

// Replay is a stand made of a capture. It sends what the real one sent, each time the host says what it then said,
// without its pauses. What differs between two conversations is put right: tags, and the hello's nonce.
// A host that says something else than was recorded is an error, told when the line is closed.
type Replay struct {
	frames []frame
	path   string
	tags   map[uint8]uint8 // of the capture to those of today
	nonce  [2][2]byte      // the same for the hello's
	last   []byte          // what the host said last, to know a repeat
	clocks [][]byte        // answers to the question of the time
	out    chan []byte
	err    error
}

// Play opens a line to a stand that plays a capture back.
func Play(path string) (io.ReadWriteCloser, error) {
	frames, err := readCapture(path)
	if err != nil {
		return nil, err
	}
	r := &Replay{path: path, tags: map[uint8]uint8{}, out: make(chan []byte, 1<<16)}
	for _, f := range frames {
		switch {
		case f.fromHost && f.body[0] == byte(wire.TypeClockAsk): // asked by the clock: not at the same place twice
		case f.body[0] == byte(wire.TypeClock):
			r.clocks = append(r.clocks, f.body)
		default:
			r.frames = append(r.frames, f)
		}
	}
	host, far := net.Pipe()
	l := &replayed{Conn: host, done: make(chan struct{})}
	go func() {
		defer close(l.done)
		defer far.Close()
		l.err = r.serve(far)
	}()
	return l, nil
}

type replayed struct {
	net.Conn
	done chan struct{}
	err  error
}

// Close implements io.Closer.
func (l *replayed) Close() error {
	err := l.Conn.Close()
	<-l.done
	if l.err != nil {
		return l.err
	}
	return err
}

func (r *Replay) serve(far net.Conn) error {
	quit := make(chan struct{})
	defer close(quit)
	go func() { // a host that writes may not be reading just now
		for {
			select {
			case p := <-r.out:
				if _, err := far.Write(p); err != nil {
					return
				}
			case <-quit:
				return
			}
		}
	}()
	r.play()
	var dec wire.Decoder
	buf := make([]byte, 512)
	for {
		n, err := far.Read(buf)
		for chunk := buf[:n]; len(chunk) > 0; {
			var body []byte
			if body, chunk = dec.Next(chunk); body != nil && body[0] != byte(wire.TypeHeartbeat) {
				r.heard(body)
			}
		}
		if err != nil {
			return r.err
		}
	}
}

// play sends what the stand sent up to the host's next message.
func (r *Replay) play() {
	for len(r.frames) > 0 && !r.frames[0].fromHost {
		r.out <- wire.AppendFrame(nil, r.today(r.frames[0].body))
		r.frames = r.frames[1:]
	}
}

// heard takes a message of the host.
func (r *Replay) heard(body []byte) {
	t := wire.Type(body[0])
	switch {
	case t == wire.TypeClockAsk:
		if len(r.clocks) > 0 && len(body) > 1 {
			r.clocks[0][1] = body[1]
			r.out <- wire.AppendFrame(nil, r.clocks[0])
			r.clocks = r.clocks[1:]
		}
	case bytes.Equal(body, r.last): // sent again for want of patience
	case len(r.frames) > 0 && r.alike(r.frames[0].body, body):
		r.last = append(r.last[:0], body...)
		r.frames = r.frames[1:]
		r.play()
	case r.err == nil && t != wire.TypeHelloAsk: // a hello is repeated as long as a board starts
		where := "after its end"
		if len(r.frames) > 0 {
			where = fmt.Sprintf("line %d, %X", r.frames[0].line, r.frames[0].body)
		}
		r.err = fmt.Errorf("%s: the host says %X, which was not recorded here (%s)", r.path, body, where)
	}
}

// tagAt returns where a message has its tag, 0 for nowhere.
func tagAt(body []byte) int {
	switch t := wire.Type(body[0]); t {
	case wire.TypeAck, wire.TypeRefusal, wire.TypeClock, wire.TypeArmToken, wire.TypeStatus:
		return 1
	case wire.TypeHelloAsk, wire.TypeHeartbeat:
		return 0
	default:
		if t.FromHost() && len(body) > 1 {
			return 1
		}
		return 0
	}
}

// alike compares what was recorded with what the host says, and notes the tag or nonce that differs.
func (r *Replay) alike(was, is []byte) bool {
	if len(was) != len(is) || was[0] != is[0] {
		return false
	}
	patched := append([]byte(nil), was...)
	if k := tagAt(was); k > 0 {
		patched[k] = is[k]
	}
	if wire.Type(was[0]) == wire.TypeHelloAsk && len(was) >= 7 {
		copy(patched[4:7], is[4:7]) // a later minor version of the host is none of the stand's business
	}
	if !bytes.Equal(patched, is) {
		return false
	}
	if k := tagAt(was); k > 0 {
		r.tags[was[k]] = is[k]
	}
	if wire.Type(was[0]) == wire.TypeHelloAsk && len(was) >= 7 {
		r.nonce = [2][2]byte{[2]byte(was[5:7]), [2]byte(is[5:7])}
	}
	return true
}

// today returns a message of the stand as it has to be in this conversation.
func (r *Replay) today(body []byte) []byte {
	b := append([]byte(nil), body...)
	if k := tagAt(b); k > 0 && b[k] != 0 {
		if tag, ok := r.tags[b[k]]; ok {
			b[k] = tag
		}
	}
	if wire.Type(b[0]) == wire.TypeHello && len(b) >= 7 && [2]byte(b[5:7]) == r.nonce[0] {
		copy(b[5:7], r.nonce[1][:])
	}
	return b
}
