package link_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"

	"limbgauge/rig"
	"limbgauge/rig/link"
)

// listen feeds text to a Text in pieces and returns all that came of it.
func listen(t *testing.T, js []rig.Joint, pieces ...string) (*link.Text, feed) {
	t.Helper()
	host, stand := net.Pipe()
	text := link.Listen(host, js)
	done := make(chan struct{})
	go func() {
		defer close(done)
		for _, p := range pieces {
			if _, err := io.WriteString(stand, p); err != nil {
				return
			}
		}
	}()
	f := drain(t, text)
	if err := text.Close(); err != nil {
		t.Error(err)
	}
	_ = stand.Close()
	<-done
	return text, f
}

// TestTextVectors runs the vectors of the text form. Each is given after an end of line, as the
// first line of a conversation is not looked at.
func TestTextVectors(t *testing.T) {
	files, err := filepath.Glob("../../firmware-protocol/vectors/text/*.txt")
	if err != nil || len(files) == 0 {
		t.Fatalf("no vectors (%v)", err)
	}
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txt"), func(t *testing.T) {
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			var comment, line, expect, record string
			var js []rig.Joint
			for _, l := range strings.Split(strings.TrimSuffix(string(text), "\n"), "\n") {
				key, value, _ := strings.Cut(l, ": ")
				switch key {
				case "comment":
					comment = value
				case "joints":
					for _, name := range strings.Fields(value) {
						js = append(js, rig.Joint{Name: name})
					}
				case "line":
					if err := json.Unmarshal([]byte(value), &line); err != nil {
						t.Fatal(err)
					}
				case "expect":
					expect = value
				case "record":
					record = value
				default:
					t.Fatalf("unknown key %q", key)
				}
			}
			synctest.Test(t, func(t *testing.T) {
				_, f := listen(t, js, "\n", line, "\n")
				got := "ignored"
				if len(f.rows) > 0 {
					got = "ok"
				} else if len(f.logs) > 0 {
					got = "log"
				} else if len(f.bad) > 0 {
					got = string(f.bad[0].Reason)
				}
				if got != expect || len(f.bad) > 1 {
					t.Fatalf("%s: %s, want %s (%+v)", comment, got, expect, f.bad)
				}
				if got := words(f); expect == "ok" && got != strings.Join(append(strings.Fields(record)[:1], strings.Fields(record)[2:]...), " ") {
					t.Errorf("%s\n got %s\nwant %s", comment, got, record)
				}
			})
		})
	}
}

// words writes the first sample of a feed as the record of a vector, without the number, which a
// batch does not carry.
func words(f feed) string {
	for i, b := range f.rows {
		r := b.Row(0)
		s := fmt.Sprint(i, " ", uint8(r.Move), " ", r.Segment, " ", r.TimeUS)
		for _, v := range []int32{r.Command, r.Angle, r.Motor, r.Current, r.Supply, r.Torque, r.Temp} {
			if v == rig.Missing {
				s += " -"
			} else {
				s += fmt.Sprint(" ", v)
			}
		}
		return s
	}
	return ""
}

func sample(joint string, seq, us int) string {
	return fmt.Sprintf("sample,joint=%s command_deg=1.5,joint_deg=1.25,seq=%du %d\n", joint, seq, us)
}

// TestTextPieces cuts good lines into pieces of any size.
func TestTextPieces(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		stream := "tail of a line\n"
		n := rapid.IntRange(1, 40).Draw(rt, "n")
		for i := range n {
			stream += sample("knee", i, 1000*(i+1))
		}
		var pieces []string
		for len(stream) > 0 {
			k := rapid.IntRange(1, min(len(stream), 200)).Draw(rt, "piece")
			pieces, stream = append(pieces, stream[:k]), stream[k:]
		}
		synctest.Test(t, func(t *testing.T) {
			_, f := listen(t, joints(), pieces...)
			if len(f.bad) != 0 || f.rows[0] == nil || f.rows[0].Len() != n || len(f.rows) != 1 {
				t.Errorf("%d samples wanted, got %+v, bad %+v", n, f.rows, f.bad)
			}
		})
	})
}

func TestTextLosses(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		text, f := listen(t, joints(), "\n",
			sample("knee", 65534, 1000), sample("hip", 7, 1000), sample("knee", 65535, 2000),
			"sample,jo\n", // one of the knee, damaged: the gap that follows says whose it was
			sample("knee", 1, 4000),
			sample("hip", 17, 11000),
			sample("hip", 18, 10500), // out of order
		)
		got := text.Losses()
		want := []link.Loss{{Losses: rig.Losses{Lost: 1, Damaged: 1}, Known: true}, {Losses: rig.Losses{Lost: 9, Damaged: 1}, Known: true}}
		if got[0] != want[0] || got[1] != want[1] {
			t.Errorf("losses %+v, want %+v", got, want)
		}
		if len(f.bad) != 2 || f.bad[0].Reason != link.LineSyntax || f.bad[0].Number != 4 || f.bad[1].Reason != link.LineOrder {
			t.Errorf("bad lines %+v", f.bad)
		}
		if bad := text.Bad(); bad[link.LineSyntax] != 1 || bad[link.LineOrder] != 1 {
			t.Errorf("counts of bad lines %v", bad)
		}
	})
	synctest.Test(t, func(t *testing.T) { // without numbers nothing is known, and that is said
		text, _ := listen(t, joints(), "\n", "sample,joint=hip command_deg=1,joint_deg=1 5\n")
		if l := text.Losses(); l[0].Known || l[1].Known {
			t.Errorf("losses %+v are known without numbers", l)
		}
	})
}

func TestTextEnds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		_, f := listen(t, joints(), "\n", sample("knee", 0, 90_000_000), sample("knee", 0, 5000), sample("knee", 1, 6000), sample("knee", 2, 7000))
		if !errors.Is(f.err, link.ErrRestarted) || f.rows[0].Len() != 1 {
			t.Errorf("%v after %d samples, want restarted after one", f.err, f.rows[0].Len())
		}
	})
	synctest.Test(t, func(t *testing.T) {
		host, stand := net.Pipe()
		text := link.Listen(host, joints())
		_ = stand.Close()
		if _, err := text.Next(t.Context()); !errors.Is(err, link.ErrGone) {
			t.Errorf("%v, want gone", err)
		}
		must(t, text.Close())
	})
	synctest.Test(t, func(t *testing.T) {
		host, stand := net.Pipe()
		text := link.Listen(host, joints())
		begin := time.Now()
		go func() { _, _ = io.WriteString(stand, "\nmeasuring;1;2\n") }()
		var quiet *link.QuietError
		for {
			if _, err := text.Next(t.Context()); err != nil {
				if !errors.As(err, &quiet) || quiet.Lines != 1 || quiet.Bad != 1 || time.Since(begin) != 5*time.Second {
					t.Errorf("%v after %s, want quiet with one bad line after 5 s", err, time.Since(begin))
				}
				break
			}
		}
		must(t, text.Close(), stand.Close())
	})
}

// TestTextFlood: at a wrong baud rate every line is bad; all are counted, not all are said.
func TestTextFlood(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		text, f := listen(t, joints(), "\n", strings.Repeat("\xff\x80\x1b[2J\n", 500), sample("knee", 0, 1))
		if len(f.bad) != 100 || text.Bad()[link.LineSyntax] != 500 || f.rows[0].Len() != 1 {
			t.Errorf("%d said, %v counted, want 100 and 500", len(f.bad), text.Bad())
		}
		if s := f.bad[0].Text; strings.ContainsFunc(s, func(r rune) bool { return r < 0x20 || r > 0x7E }) {
			t.Errorf("%q would steer a terminal", s)
		}
	})
}

func FuzzTextLine(f *testing.F) {
	files, err := filepath.Glob("../../firmware-protocol/vectors/text/*.txt")
	if err != nil || len(files) == 0 {
		f.Fatalf("no seed vectors (%v)", err)
	}
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			f.Fatal(err)
		}
		for _, l := range strings.Split(string(text), "\n") {
			if v, ok := strings.CutPrefix(l, "line: "); ok {
				var line string
				if err := json.Unmarshal([]byte(v), &line); err != nil {
					f.Fatal(err)
				}
				f.Add(line)
			}
		}
	}
	f.Fuzz(func(t *testing.T, stream string) {
		host, stand := net.Pipe()
		text := link.Listen(host, joints())
		// A line that is right always comes out, whatever was before it. Its time rises from any other's.
		go func() {
			_, _ = io.WriteString(stand, "\n"+stream+"\n"+sample("knee", 0, 1<<61)+sample("knee", 1, 1<<61+1)+sample("knee", 2, 1<<61+2))
			_ = stand.Close()
		}()
		last := int64(-1)
		for {
			e, err := text.Next(context.Background())
			if errors.Is(err, link.ErrRestarted) {
				break // the stream may well say so
			}
			if err != nil {
				if last < 1<<61 {
					t.Errorf("last time %d (%v)", last, err)
				}
				break
			}
			if s, ok := e.(*link.Samples); ok {
				for _, b := range s.Batches {
					last = max(last, b.TimeUS[b.Len()-1])
				}
			}
		}
		if err := text.Close(); err != nil {
			t.Error(err)
		}
	})
}
