package segment

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"limbgauge/rig"
)

func assembly(t testing.TB) (rig.Routine, run) {
	t.Helper()
	r := routine(t, "assembly")
	return r, stand{hz: 250, frameS: 0.02, quantum: 0.09, jitterS: 0.001}.play(r, 0, rand.New(rand.NewPCG(2, 1)))
}

// key says which visit a stop is, free of where it lies in the log.
type key struct {
	target float64
	dir    int
	cycle  int
}

func keys(stops []Stop) (out []key) {
	for _, s := range stops {
		out = append(out, key{s.Target, s.Dir, s.Cycle})
	}
	return out
}

// A run cut in the middle keeps what was whole by then.
func TestCutInTheMiddle(t *testing.T) {
	_, log := assembly(t)
	for _, marks := range [][]rig.MoveKind{log.marks, nil} {
		all, _ := Stops(log.time, Split(log.time, log.command, marks))
		for _, share := range []float64{0.15, 0.33, 0.5, 0.71} {
			n := int(share * float64(len(log.time)))
			var m []rig.MoveKind
			if marks != nil {
				m = marks[:n]
			}
			pieces := Split(log.time[:n], log.command[:n], m)
			checkCover(t, pieces, n)
			got, _ := Stops(log.time[:n], pieces)
			var want []key
			for _, s := range all {
				if s.Tail[1] <= n {
					want = append(want, key{s.Target, s.Dir, s.Cycle})
				}
			}
			// One stop at the cut may be whole enough; stops whose other side was not reached yet go.
			k := keys(got)
			if d := len(want) - len(k); share > 0.3 && (d < -1 || d > 1) {
				t.Errorf("cut at %.2f: %d stops, want %d", share, len(k), len(want))
			}
			for i, s := range k {
				if !slices.Contains(want, s) && i != len(k)-1 {
					t.Errorf("cut at %.2f: stop %+v is not in the whole run", share, s)
				}
			}
		}
	}
}

// A run that begins in the middle has other cycle numbers, but no other stops.
func TestBegunInTheMiddle(t *testing.T) {
	_, log := assembly(t)
	all, targets := Stops(log.time, Split(log.time, log.command, nil))
	n := len(log.time) / 7
	got, same := Stops(log.time[n:], Split(log.time[n:], log.command[n:], nil))
	if !slices.Equal(targets, same) {
		t.Errorf("targets %v, want %v", same, targets)
	}
	i := len(all) - len(got)
	if i < 0 {
		t.Fatalf("%d stops from %d", len(got), len(all))
	}
	for k, s := range got {
		if w := all[i+k]; s.Target != w.Target || s.Dir != w.Dir || s.Tail[1]+n != w.Tail[1] {
			t.Errorf("stop %d: %+v, want %+v", k, s, w)
		}
	}
}

// Lost samples move nothing: 5 in 100 at random, and a gap of a tenth of a second in a travel.
func TestLostSamples(t *testing.T) {
	_, log := assembly(t)
	want, targets := Stops(log.time, Split(log.time, log.command, nil))
	rng := rand.New(rand.NewPCG(4, 4))
	var time, command []float64
	for i := range log.time {
		if rng.Float64() < 0.05 || i > 9000 && i < 9025 {
			continue
		}
		time, command = append(time, log.time[i]), append(command, log.command[i])
	}
	pieces := Split(time, command, nil)
	got, same := Stops(time, pieces)
	if !slices.Equal(keys(got), keys(want)) || !slices.Equal(same, targets) {
		t.Errorf("%d stops at %v, want %d at %v", len(got), same, len(want), targets)
	}
	steps, ramps := countKind(pieces, rig.MoveStep), len(Passes(pieces))
	if steps != 6 || ramps != 10 {
		t.Errorf("%d steps and %d passes, want 6 and 10 (two of them slow ways to a start)", steps, ramps)
	}
}

// Commands that were not logged for single samples cost nothing; no target is NaN.
func TestMissingCommands(t *testing.T) {
	_, log := assembly(t)
	for _, marks := range [][]rig.MoveKind{log.marks, nil} {
		pieces := Split(log.time, log.command, marks)
		want, targets := Stops(log.time, pieces)
		rng := rand.New(rand.NewPCG(5, 5))
		command := slices.Clone(log.command)
		for i := range command {
			if rng.Float64() < 0.02 {
				command[i] = math.NaN()
			}
		}
		for _, p := range pieces { // and just where a move starts or ends
			if rng.Float64() < 0.5 {
				command[p.Travel[0]] = math.NaN()
			}
			if rng.Float64() < 0.5 && p.Dwell[0] < len(command) {
				command[p.Dwell[0]] = math.NaN()
			}
		}
		holed := Split(log.time, command, marks)
		checkCover(t, holed, len(command))
		got, same := Stops(log.time, holed)
		if !slices.Equal(keys(got), keys(want)) || !slices.Equal(same, targets) {
			t.Errorf("marks %v: %d stops at %v, want %d at %v", marks != nil, len(got), same, len(want), targets)
		}
		for _, kind := range []rig.MoveKind{rig.MoveStep, rig.MoveRamp, rig.MoveHold, rig.MoveTurn} {
			if g, w := countKind(holed, kind), countKind(pieces, kind); g != w {
				t.Errorf("marks %v: %d of kind %s, want %d", marks != nil, g, kind, w)
			}
		}
	}
}

// Stops reached from one side only say nothing of reversal, and are left out.
func TestStopsFromOneSide(t *testing.T) {
	var r rig.Routine
	for range 6 {
		for _, target := range []float64{-20, 0, 20, 40} {
			r.Moves = append(r.Moves, rig.Move{Kind: rig.MoveStair, TargetDeg: target, RateDegPerS: 60, Dwell: 600 * time.Millisecond})
		}
		r.Moves = append(r.Moves, rig.Move{Kind: rig.MoveTurn, TargetDeg: -40, RateDegPerS: 120, Dwell: 400 * time.Millisecond})
	}
	log := stand{hz: 250}.play(r, -40, rand.New(rand.NewPCG(1, 1)))
	for _, marks := range [][]rig.MoveKind{log.marks, nil} {
		stops, targets := Stops(log.time, Split(log.time, log.command, marks))
		if len(stops) != 0 || len(targets) != 0 {
			t.Errorf("marks %v: %d stops at %v, want none", marks != nil, len(stops), targets)
		}
	}
	// One approach from above is enough for that target, and for no other.
	r.Moves = append(r.Moves, rig.Move{Kind: rig.MoveStair, TargetDeg: 40, RateDegPerS: 60, Dwell: 600 * time.Millisecond},
		rig.Move{Kind: rig.MoveStair, TargetDeg: 20, RateDegPerS: 60, Dwell: 600 * time.Millisecond})
	log = stand{hz: 250}.play(r, -40, rand.New(rand.NewPCG(1, 1)))
	stops, targets := Stops(log.time, Split(log.time, log.command, log.marks))
	if !slices.Equal(targets, []float64{20}) || len(stops) != 7 {
		t.Errorf("%d stops at %v, want 7 at 20", len(stops), targets)
	}
}

// A rest that never moves is one dwell: no travel, no direction, no stop.
func TestConstantCommand(t *testing.T) {
	time := make([]float64, 1000)
	for i := range time {
		time[i] = float64(i) / 250
	}
	pieces := Split(time, make([]float64, 1000), nil)
	if len(pieces) != 1 || pieces[0].Dir() != 0 || pieces[0].Travel != [2]int{0, 0} || pieces[0].Dwell != [2]int{0, 1000} {
		t.Errorf("pieces = %+v", pieces)
	}
	if stops, targets := Stops(time, pieces); len(stops)+len(targets) != 0 {
		t.Errorf("stops %v, targets %v", stops, targets)
	}
	if p := Split(nil, nil, nil); len(p) != 0 {
		t.Errorf("pieces of nothing: %v", p)
	}
}

// Mirroring the command mirrors directions and targets and changes nothing else.
func TestMirror(t *testing.T) {
	_, log := assembly(t)
	minus := make([]float64, len(log.command))
	for i, c := range log.command {
		minus[i] = -c
	}
	a, b := Split(log.time, log.command, nil), Split(log.time, minus, nil)
	if len(a) != len(b) {
		t.Fatalf("%d and %d pieces", len(a), len(b))
	}
	for i := range a {
		if a[i].Kind != b[i].Kind || a[i].Dir() != -b[i].Dir() || a[i].Dwell != b[i].Dwell || a[i].ToDeg != -b[i].ToDeg {
			t.Errorf("piece %d: %+v and %+v", i, a[i], b[i])
		}
	}
}

// Whatever the command does, the pieces are the run, whole and in order, and no figure is NaN where
// the command is a number.
func TestAnyCommand(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 300).Draw(t, "n")
		time, command, marks := make([]float64, n), make([]float64, n), make([]rig.MoveKind, n)
		at := 0.0
		for i := range n {
			at += rapid.SampledFrom([]float64{0.004, 0.004, 0.004, 0.1, 3}).Draw(t, "dt")
			time[i] = at
			command[i] = rapid.SampledFrom([]float64{0, 0, 0, 10, 10, 10, 20, math.NaN()}).Draw(t, "command")
			marks[i] = rig.MoveKind(rapid.IntRange(0, 7).Draw(t, "mark"))
		}
		if rapid.Bool().Draw(t, "bare") {
			marks = nil
		}
		pieces := Split(time, command, marks)
		at0 := 0
		for _, p := range pieces {
			if p.Travel[0] != at0 || p.Travel[1] != p.Dwell[0] || p.Dwell[1] <= at0 {
				t.Fatalf("pieces %+v", pieces)
			}
			at0 = p.Dwell[1]
			if p.DwellS < 0 || p.TravelS < 0 || p.Rate < 0 {
				t.Fatalf("piece %+v", p)
			}
		}
		if at0 != n {
			t.Fatalf("%d of %d samples", at0, n)
		}
		stops, _ := Stops(time, pieces)
		for _, s := range stops {
			if math.IsNaN(s.Target) || s.Tail[0] < 0 || s.Tail[1] > n || s.Tail[0] >= s.Tail[1] {
				t.Fatalf("stop %+v", s)
			}
		}
		Passes(pieces)
	})
}

func countKind(pieces []Piece, kind rig.MoveKind) (n int) {
	for _, p := range pieces {
		if p.Kind == kind {
			n++
		}
	}
	return n
}
