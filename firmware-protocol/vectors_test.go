package wire

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// vector is one file of vectors/; its keys are explained in vectors/README.md.
type vector struct {
	name, comment, to, expect, typ string
	wire, body                     [][]byte
	encode                         bool
	field, record                  []string
}

// readVectors reads every vector, and fails when there is none: a test over no vectors proves nothing.
func readVectors(tb testing.TB) []vector {
	tb.Helper()
	files, err := filepath.Glob("vectors/*.txt")
	if err != nil || len(files) == 0 {
		tb.Fatalf("no vectors (%v)", err)
	}
	var all []vector
	for _, f := range files {
		text, err := os.ReadFile(f)
		if err != nil {
			tb.Fatal(err)
		}
		v, err := parseVector(string(text))
		if err != nil {
			tb.Fatalf("%s: %v", f, err)
		}
		v.name = strings.TrimSuffix(filepath.Base(f), ".txt")
		all = append(all, v)
	}
	return all
}

func parseVector(text string) (vector, error) {
	v := vector{encode: true}
	for n, line := range strings.Split(strings.TrimSuffix(text, "\n"), "\n") {
		key, value, ok := strings.Cut(line, ": ")
		if !ok {
			return v, fmt.Errorf("line %d: no key", n+1)
		}
		switch key {
		case "comment":
			v.comment = value
		case "to":
			v.to = value
		case "expect":
			v.expect = value
		case "type":
			v.typ = value
		case "encode":
			v.encode = value != "no"
		case "field":
			v.field = append(v.field, value)
		case "record":
			v.record = append(v.record, value)
		case "wire", "body":
			p, err := hex.DecodeString(strings.ReplaceAll(value, " ", ""))
			if err != nil {
				return v, fmt.Errorf("line %d: %w", n+1, err)
			}
			if key == "wire" {
				v.wire = append(v.wire, p)
			} else {
				v.body = append(v.body, p)
			}
		default:
			return v, fmt.Errorf("line %d: unknown key %q", n+1, key)
		}
	}
	if v.comment == "" || v.to == "" || v.expect == "" || len(v.wire) == 0 {
		return v, fmt.Errorf("comment, to, expect or wire is missing")
	}
	return v, nil
}

func TestParseVectorStopsAtUnknownKey(t *testing.T) {
	if _, err := parseVector("comment: x\nto: host\nwire: 00\nexpect: ok\ncolour: red\n"); err == nil {
		t.Error("an unknown key was taken")
	}
}

// decode runs the vector through a decoder and names what went wrong, "ok" when nothing did.
func (v vector) decode(t *testing.T) (bodies [][]byte, last Message, verdict string) {
	var d Decoder
	var faults []string
	for _, chunk := range v.wire {
		for len(chunk) > 0 {
			var body []byte
			if body, chunk = d.Next(chunk); body == nil {
				continue
			}
			bodies = append(bodies, bytes.Clone(body))
			last = New(Type(body[0]))
			if last == nil || Type(body[0]).FromHost() != (v.to == "stand") {
				faults = append(faults, "unknown")
			} else if err := last.ParseBody(body); err != nil {
				faults = append(faults, "malformed")
			}
		}
	}
	for _, c := range []struct {
		name string
		n    int
	}{{"checksum", d.drops.Checksum}, {"stuffing", d.drops.Stuffing}, {"too_long", d.drops.TooLong}, {"too_short", d.drops.TooShort}} {
		for range c.n {
			faults = append(faults, c.name)
		}
	}
	if d.drops.Total() != len(faults) && d.drops.Total() != 0 {
		t.Errorf("total of drops %+v", d.drops)
	}
	if len(faults) == 0 {
		return bodies, last, "ok"
	}
	return bodies, last, strings.Join(faults, " ")
}

func TestVectors(t *testing.T) {
	seen := map[Type]bool{}
	for _, v := range readVectors(t) {
		t.Run(v.name, func(t *testing.T) {
			bodies, m, verdict := v.decode(t)
			if verdict != v.expect {
				t.Errorf("%s: got %s, want %s", v.comment, verdict, v.expect)
			}
			if len(bodies) != len(v.body) {
				t.Fatalf("%d bodies, want %d", len(bodies), len(v.body))
			}
			for i := range bodies {
				if !bytes.Equal(bodies[i], v.body[i]) {
					t.Errorf("body %d\n got %X\nwant %X", i, bodies[i], v.body[i])
				}
			}
			if v.typ == "" {
				return
			}
			seen[m.Type()] = true
			if m.Type().String() != v.typ {
				t.Errorf("type %s, want %s", m.Type(), v.typ)
			}
			field, record := inWords(m)
			if got, want := strings.Join(field, "\n"), strings.Join(v.field, "\n"); got != want {
				t.Errorf("fields\n got %q\nwant %q", got, want)
			}
			if got, want := strings.Join(record, "\n"), strings.Join(v.record, "\n"); got != want {
				t.Errorf("records\n got %q\nwant %q", got, want)
			}
			if !v.encode {
				return
			}
			var e Encoder
			frame, err := e.Append(nil, m)
			if err != nil || !bytes.Equal(frame, bytes.Join(v.wire, nil)) {
				t.Errorf("encoded again (%v)\n got %X\nwant %X", err, frame, v.wire)
			}
		})
	}
	for _, typ := range allTypes() {
		if !seen[typ] {
			t.Errorf("no vector holds a %s", typ)
		}
	}
}

// FuzzDecode feeds any bytes to a decoder. Whatever comes out must survive the way back: parsed,
// encoded, decoded and parsed again it is the same message.
func FuzzDecode(f *testing.F) {
	for _, v := range readVectors(f) {
		f.Add(bytes.Join(v.wire, nil), uint8(7))
	}
	f.Fuzz(func(t *testing.T, stream []byte, cut uint8) {
		var d Decoder
		var e Encoder
		for len(stream) > 0 {
			n := min(int(cut)+1, len(stream))
			chunk := stream[:n]
			stream = stream[n:]
			for len(chunk) > 0 {
				var body []byte
				if body, chunk = d.Next(chunk); body == nil {
					continue
				}
				if len(body) > MaxBody {
					t.Fatalf("body of %d bytes", len(body))
				}
				m, err := Parse(body)
				if err != nil {
					continue
				}
				if h, ok := m.(*Hello); ok && h.Major != Major {
					continue // known only as far as its versions
				}
				if l, ok := m.(*Log); ok && len(l.Text) > MaxLog {
					continue // taken when it comes, not sent
				}
				again, err := e.Append(nil, m)
				if err != nil {
					t.Fatalf("parsed %X as %+v, which can not be encoded: %v", body, m, err)
				}
				var d2 Decoder
				body2, _ := d2.Next(again)
				m2, err := Parse(body2)
				if err != nil || fmt.Sprintf("%+v", m2) != fmt.Sprintf("%+v", m) {
					t.Fatalf("%+v became %+v (%v)", m, m2, err)
				}
			}
		}
	})
}
