package segment

import (
	"math"
	"testing"

	"limbgauge/rig"
)

// Commands that differ by less than a pulse can be set are one target; a degree apart they are two,
// and one that was reached from one side only is left out.
func TestTargetsOfAStair(t *testing.T) {
	time := make([]float64, 1000)
	for i := range time {
		time[i] = float64(i) / 250
	}
	var pieces []Piece
	at := -5.0
	for i, to := range []float64{10, 11, 30, 11.02, 10.03, -5, 9.98, 11} {
		pieces = append(pieces, Piece{Kind: rig.MoveStair, FromDeg: at, ToDeg: to, Dwell: [2]int{100 * i, 100*i + 100}})
		at = to
	}
	stops, targets := Stops(time, pieces)
	if len(targets) != 2 || math.Abs(targets[0]-10) > .05 || math.Abs(targets[1]-11) > .05 {
		t.Fatalf("targets %v, want 10 and 11: 30 and -5 were reached from one side", targets)
	}
	if len(stops) != 6 {
		t.Fatalf("%d stops, want 6: %+v", len(stops), stops)
	}
	for i, want := range []struct {
		dir, cycle int
	}{{1, 0}, {1, 0}, {-1, 0}, {-1, 0}, {1, 1}, {1, 1}} {
		if s := stops[i]; s.Dir != want.dir || s.Cycle != want.cycle {
			t.Errorf("stop %d at %g: direction %d, cycle %d; want %+v", i, s.Target, s.Dir, s.Cycle, want)
		}
	}
}
