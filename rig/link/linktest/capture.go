package linktest

import (
	"bufio"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"strings"
	"sync"

	wire "limbgauge/firmware-protocol"
)

// A capture is a text file with a line for each frame that went over a line, in the order in which the host saw
// them: "h" from the host or "s" from the stand, and the body in hex. Lines that begin with # are comments.
// Broken frames and the host's heartbeats are left out.

// Tap passes bytes through to RW and writes down what goes by. Close writes the capture.
type Tap struct {
	RW      io.ReadWriteCloser
	Path    string
	Comment string // its first line

	mu        sync.Mutex
	host, far wire.Decoder
	lines     strings.Builder
	once      sync.Once
	err       error
}

func (t *Tap) note(side string, d *wire.Decoder, chunk []byte) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for len(chunk) > 0 {
		var body []byte
		if body, chunk = d.Next(chunk); body != nil && body[0] != byte(wire.TypeHeartbeat) {
			fmt.Fprintf(&t.lines, "%s %s\n", side, hex.EncodeToString(body))
		}
	}
}

// Read implements io.Reader.
func (t *Tap) Read(p []byte) (int, error) {
	n, err := t.RW.Read(p)
	t.note("s", &t.far, p[:n])
	return n, err
}

// Write implements io.Writer.
func (t *Tap) Write(p []byte) (int, error) {
	t.note("h", &t.host, p)
	return t.RW.Write(p)
}

// Close implements io.Closer.
func (t *Tap) Close() error {
	t.once.Do(func() {
		if t.err = t.RW.Close(); t.err == nil {
			t.mu.Lock()
			defer t.mu.Unlock()
			t.err = os.WriteFile(t.Path, []byte("# "+t.Comment+"\n"+t.lines.String()), 0o644)
		}
	})
	return t.err
}

// frame is one line of a capture.
type frame struct {
	fromHost bool
	body     []byte
	line     int
}

func readCapture(path string) ([]frame, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("read a capture: %w", err)
	}
	defer f.Close()
	var out []frame
	lines := bufio.NewScanner(f)
	for n := 1; lines.Scan(); n++ {
		text := lines.Text()
		if strings.HasPrefix(text, "#") {
			continue
		}
		side, digits, _ := strings.Cut(text, " ")
		body, err := hex.DecodeString(digits)
		if err != nil || len(body) == 0 || side != "h" && side != "s" {
			return nil, fmt.Errorf("%s, line %d: %q is no line of a capture", path, n, text)
		}
		out = append(out, frame{side == "h", body, n})
	}
	return out, lines.Err()
}
