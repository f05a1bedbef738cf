package main

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"limbgauge/rig/session"
)

// Widths by Unicode Standard Annex 11 and by ECMA-48, whose sequences move no cell.
func TestCells(t *testing.T) {
	for text, want := range map[string]int{
		"":                         0,
		"deg/N·m":                  7,
		"±0.1 °C":                  7,
		"e\u0301tude":              5, // a combining acute
		"膝":                        2,
		"knee 膝":                   7,
		"\x1b[1;31mfail\x1b[0m":    4,
		"\x1b[2mhint:\x1b[0m more": 10,
		"⠤⠤ is":                    5,
	} {
		if got := cells(text); got != want {
			t.Errorf("%q takes %d cells, got %d", text, want, got)
		}
	}
}

func TestShorten(t *testing.T) {
	for _, c := range []struct {
		text string
		n    int
		want string
	}{
		{"tibia", 5, "tibia"},
		{"tibiae", 5, "tibi…"},
		{"a long name", 7, "a long…"},
		{"a long name", 3, "a…"},
		{"膝膝膝", 4, "膝…"},
		{"\x1b[31mfailed\x1b[0m", 4, "\x1b[31mfai…\x1b[0m"},
	} {
		if got := shorten(c.text, c.n); got != c.want {
			t.Errorf("%q in %d cells: %q, want %q", c.text, c.n, got, c.want)
		}
	}
}

// What is no terminal gets no colour; a colour changes no word.
func TestStyle(t *testing.T) {
	if styleOf(&bytes.Buffer{}).on {
		t.Error("a file gets colour")
	}
	on := style{true}
	for _, word := range []string{"pass", "fail", "unproven", "hint"} {
		if got := (style{}).as(word, word); got != word {
			t.Errorf("%s without colour is %q", word, got)
		}
		if got := on.as(word, word); !strings.Contains(got, word) || !strings.HasSuffix(got, "\x1b[0m") || cells(got) != len(word) {
			t.Errorf("%s in colour is %q", word, got)
		}
	}
	if got := on.as("", "plain"); got != "plain" {
		t.Errorf("a word without meaning is %q", got)
	}
}

// Columns stay below each other with colours and letters of double width, a long cell is cut and shows
// it, a remark runs on.
func TestSheet(t *testing.T) {
	s := sheet{columns: []column{{title: "run"}, {title: "joint", least: 8}, {title: "ended", least: 8}}}
	s.add("0001", "knee", style{true}.bad("stopped"))
	s.add("0002", strings.Repeat("膝", 60), "complete")
	s.add("0003", "can not be read: "+strings.Repeat("x", 90))
	var b bytes.Buffer
	s.print(&b)
	lines := strings.Split(strings.TrimSuffix(b.String(), "\n"), "\n")
	at := strings.Index(lines[0], "ended")
	for i, word := range []string{"ended", "\x1b[1;31mstopped\x1b[0m", "complete"} {
		before, _, ok := strings.Cut(lines[i], word)
		if !ok || cells(before) != at {
			t.Errorf("line %d: %q stands at %d, want %d", i, word, cells(before), at)
		}
	}
	for _, l := range lines {
		if cells(l) > pageWidth {
			t.Errorf("%d cells: %s", cells(l), l)
		}
	}
	if !strings.Contains(lines[2], "…") || !strings.HasSuffix(lines[3], "…") {
		t.Errorf("what was cut does not show it:\n%s", b.String())
	}
}

// A ramp from one corner of the plot to the other: every dot lies where the straight line has it.
func TestTraceRamp(t *testing.T) {
	var tr trace
	for i := range 201 {
		at := time.Duration(i) * 100 * time.Millisecond
		deg := -30 + 60*at.Seconds()/traceSpan.Seconds()
		tr.take(session.Snapshot{Joint: "knee", Done: at, AngleDeg: deg, CommandDeg: deg})
	}
	const room = 24
	lines := tr.lines(room+plotLeft+plotRight, false)
	if len(lines) != plotRows {
		t.Fatalf("%d rows", len(lines))
	}
	if !strings.Contains(lines[0], "+30.0") || !strings.Contains(lines[2], "-30.0") {
		t.Errorf("the scale is missing:\n%s", strings.Join(lines, "\n"))
	}
	for x := range 2 * room {
		want := float64(4*plotRows-1) * (1 - float64(x)/float64(2*room-1))
		for y := range 4 * plotRows {
			r := []rune(lines[y/4])[plotLeft+x/2]
			bits := [4][2]rune{{0x01, 0x08}, {0x02, 0x10}, {0x04, 0x20}, {0x40, 0x80}}
			set := r >= 0x2800 && r < 0x2900 && (r-0x2800)&bits[y%4][x%2] != 0
			if off := float64(y) - want; set && (off > 1 || off < -1) {
				t.Errorf("a dot at %d, %d; the line is at %.1f", x, y, want)
			}
		}
	}
}

// What has no end says how long it goes on, not that no time is left.
func TestEndlessProgress(t *testing.T) {
	s := session.Snapshot{Joint: "knee", Done: 42 * time.Second}
	if got := status(s, 100); strings.Contains(got, "left") || !strings.Contains(got, "0:42 so far") || strings.Contains(got, "....") {
		t.Errorf("without an end: %q", got)
	}
	s.Left, s.Share = 21*time.Second, 2./3
	if got := status(s, 100); !strings.Contains(got, "left 0:21") || !strings.Contains(got, "=") {
		t.Errorf("with an end: %q", got)
	}
}

// The plot begins anew with another joint, keeps no more than it shows, and draws nothing of nothing.
func TestTraceForgets(t *testing.T) {
	var tr trace
	if got := tr.lines(80, false); got != nil {
		t.Errorf("without a reading: %q", got)
	}
	for i := range 1000 {
		tr.take(session.Snapshot{Joint: "knee", Done: time.Duration(i) * time.Second / 10})
	}
	if n := len(tr.recent()); n != 201 {
		t.Errorf("%d points of 20 s at 10 Hz are shown", n)
	}
	if n := len(tr.points); n > 2*201+1 {
		t.Errorf("%d points are kept to show 201", n)
	}
	tr.take(session.Snapshot{Joint: "hip"})
	if len(tr.points) != 1 {
		t.Errorf("%d points behind a change of joint", len(tr.points))
	}
}
