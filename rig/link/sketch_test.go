package link_test

import (
	"bytes"
	"os"
	"os/exec"
	"strings"
	"testing"
	"testing/synctest"

	"limbgauge/rig"
)

// TestTextSketch compiles the sketch of the text form with a board of a few calls around it, and lets the
// reader of the text form take what it prints: every line good, no number lost over the clock's wrap, and pulses only
// while the button is held.
func TestTextSketch(t *testing.T) {
	const folder = "../../firmware-protocol/text-stand/"
	if _, err := exec.LookPath("g++"); err != nil {
		if os.Getenv("LIMBGAUGE_REQUIRE_ALL") == "1" {
			t.Fatalf("the sketch needs g++: %v", err)
		}
		t.Skip("no g++ here")
	}
	source, err := os.ReadFile(folder + "text-stand.ino")
	if err != nil {
		t.Fatal(err)
	}
	if n := bytes.Count(source, []byte("\n")); n >= 100 {
		t.Errorf("the sketch has %d lines, want less than 100", n)
	}
	board := t.TempDir() + "/board"
	if out, err := exec.Command("g++", "-std=c++11", "-Wall", "-Wextra", "-Werror", "-fsanitize=undefined", "-fno-sanitize-recover=all",
		"-I", folder+"shim", "-include", "Servo.h", "-o", board, "-x", "c++", folder+"text-stand.ino", folder+"shim/shim.cpp").CombinedOutput(); err != nil {
		t.Fatalf("compile the sketch: %v\n%s", err, out)
	}
	cmd := exec.Command(board, "70") // s, of which the button is held from 2 to 28 and again
	var said, pulses bytes.Buffer
	cmd.Stdout, cmd.Stderr = &said, &pulses
	if err := cmd.Run(); err != nil {
		t.Fatalf("run the sketch: %v\n%s", err, pulses.Bytes())
	}

	synctest.Test(t, func(t *testing.T) {
		text, f := listen(t, []rig.Joint{{Name: "knee"}}, said.String())
		if len(f.bad) > 0 {
			t.Errorf("%d bad lines, the first: %+v", len(f.bad), *f.bad[0])
		}
		if len(f.logs) != 1 {
			t.Errorf("logs %q, want the one of the start", f.logs)
		}
		rows := f.rows[0]
		if rows == nil {
			t.Fatal("no samples")
		}
		if rows.Len() != 7000 {
			t.Fatalf("%d samples in 70 s at 100 Hz", rows.Len())
		}
		if l := text.Losses()[0]; !l.Known || l.Lost != 0 || l.Damaged != 0 {
			t.Errorf("losses %+v, want none", l)
		}
		stairs := map[uint16]bool{}
		for i := range rows.Len() {
			r := rows.Row(i)
			if r.TimeUS-rows.Row(0).TimeUS != int64(i)*10_000 {
				t.Fatalf("sample %d at %d us after the first", i, r.TimeUS-rows.Row(0).TimeUS)
			}
			at := r.TimeUS - rows.Row(0).TimeUS
			if held := at%30e6 > 2e6 && at%30e6 < 28e6; (r.Move == rig.MoveStair) != held || (r.Segment != 0) != held {
				t.Fatalf("at %d us the move is %v of segment %d, the button held %t", at, r.Move, r.Segment, held)
			}
			if r.Move == rig.MoveStair {
				stairs[r.Segment] = true
			}
			if i > 0 && r.Move == rig.MoveStair && rows.Row(i-1).Move == r.Move {
				if step := r.Command - rows.Row(i-1).Command; step > 201 || step < -201 { // 20 deg/s in 10 ms
					t.Fatalf("the command jumps by %d mdeg", step)
				}
			}
			if r.Command > 60_000 || r.Command < -60_000 {
				t.Fatalf("command %d mdeg is outside the range", r.Command)
			}
		}
		if len(stairs) < 30 {
			t.Errorf("%d stairs in 62 s", len(stairs))
		}
	})

	for line := range strings.Lines(pulses.String()) {
		if strings.Contains(line, " on ") && strings.HasSuffix(line, " free\n") {
			t.Errorf("pulses without the button: %s", line)
		}
	}
	if first, _, _ := strings.Cut(pulses.String(), "\n"); first != "2010000 on 1641 held" { // 12.66 deg, where the joint hangs
		t.Errorf("the first pulse is %q", first)
	}
	if n := strings.Count(pulses.String(), " off "); n != 2 {
		t.Errorf("let go %d times, want 2", n)
	}
}
