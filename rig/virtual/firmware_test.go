package virtual

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"testing"
)

// TestFirmwareMovesAlike gives the same moves to the firmware's core, built for this machine, and to the virtual
// stand, looks at both at the same odd times, and wants the same commands and the same ends of moves.
func TestFirmwareMovesAlike(t *testing.T) {
	for _, tool := range []string{"make", "gcc"} {
		if _, err := exec.LookPath(tool); err != nil {
			if os.Getenv("LIMBGAUGE_REQUIRE_ALL") == "1" {
				t.Fatalf("the firmware's moves need %s: %v", tool, err)
			}
			t.Skipf("no %s here", tool)
		}
	}
	dir := t.TempDir()
	if out, err := exec.Command("make", "-C", "../../firmware-protocol/avr", "host-tools", "OUT="+dir).CombinedOutput(); err != nil {
		t.Fatalf("make host-tools: %v\n%s", err, out)
	}

	const queue = 4 // moves; no more than the firmware's queue
	rnd := rand.New(rand.NewPCG(5, 5))
	var script strings.Builder
	type look struct {
		command float64 // mdeg
		gone    int     // moves that ended before
	}
	var looks []look
	var ends []int64 // us, of moves
	p := player{}
	p.start(-12_345)
	fmt.Fprintln(&script, "hold -12345")
	now, segment := int64(0), uint16(0)
	for range 50_000 {
		for empty := len(p.queue) == 0; empty && len(p.queue) < queue; {
			segment++
			m := move{kind: uint8(1 + rnd.IntN(7)), segment: segment, target: int32(rnd.IntN(60_001) - 30_000),
				rate: []uint32{0, 33_333, 60_000, 123_456, 240_000}[rnd.IntN(5)], dwellMS: uint32(rnd.IntN(60))}
			p.add(m, now)
			fmt.Fprintf(&script, "add %d %d %d %d %d %d\n", now, m.kind, m.segment, m.target, m.rate, m.dwellMS)
		}
		now += int64(1 + rnd.IntN(4200))
		fmt.Fprintln(&script, "look", now)
		for _, g := range p.run(now) {
			ends = append(ends, g.atUS)
		}
		looks = append(looks, look{p.command, len(ends)})
	}
	cmd := exec.Command(dir + "/host/player")
	cmd.Stdin = strings.NewReader(script.String())
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("the firmware's player: %v\n%s", err, out)
	}
	gone, looked, apart := 0, 0, 0
	far, late := 0.0, int64(0)
	for line := range strings.Lines(string(out)) {
		var a, b int64
		if _, err := fmt.Sscanf(line, "gone %d %d", &a, &b); err == nil {
			if gone >= len(ends) || int64(gone+1) != a {
				t.Fatalf("%q: it is the end of move %d of %d", line, gone+1, len(ends))
			}
			late = max(late, b-ends[gone], ends[gone]-b)
			gone++
			continue
		}
		if _, err := fmt.Sscanf(line, "at %d", &a); err != nil {
			t.Fatalf("%q: want a command", line)
		}
		if w := looks[looked]; w.gone == gone {
			far = max(far, math.Abs(float64(a)-w.command))
		} else { // an end that one of them saw a us before the other
			apart++
		}
		looked++
	}
	if looked != len(looks) || gone < len(ends)-1 || len(ends) < 100 || apart > 10 {
		t.Fatalf("%d looks of %d, %d ends of %d, apart %d times", looked, len(looks), gone, len(ends), apart)
	}
	// Each move's end is a whole us in both, rounded otherwise, and the next begins there: over a full queue they add up
	// to some us, in which 240 deg/s are a mdeg or two.
	if far > 2 || late > 1 {
		t.Errorf("commands differ by up to %.2f mdeg, ends of moves by up to %d us", far, late)
	}
	t.Logf("%d moves: commands differ by up to %.2f mdeg, ends of moves by up to %d us", len(ends), far, late)
}
