package segment

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"limbgauge/analyze/stats"
	"limbgauge/rig"
)

func knee() rig.Joint {
	return rig.Joint{Name: "knee", RangeDeg: [2]float64{-75, 75}, Load: &rig.Load{MassKg: 0.25, LeverM: 0.11},
		Servo: rig.Servo{Rated: []rig.Rating{{Volts: 6, StallNm: 1.4, NoLoadDegPerS: 420, StallA: 2.4}}, TravelDeg: 180, PulseUS: [2]int{500, 2500}}}
}

// stand says how a stand plays a routine and logs its command.
type stand struct {
	hz      float64
	frameS  float64 // command changes once a pulse frame; 0: at every sample
	quantum float64 // deg, step of the command; 0: none
	jitterS float64 // the spacing of samples scatters by this much
	wait    float64 // s of rest before the first move
}

// run is what the stand logs, with the index of the move beside every sample; -1 before the first.
type run struct {
	time, command []float64
	marks         []rig.MoveKind
	move          []int
}

// play makes the log of a routine straight from its definition: travel at the rate, then dwell.
func (st stand) play(r rig.Routine, start float64, rng *rand.Rand) run {
	type leg struct{ t0, t1, t2, from, to float64 } // travel from t0 to t1, dwell to t2
	var legs []leg
	t, at := st.wait, start
	for _, m := range r.Moves {
		l := leg{t0: t, t1: t, from: at, to: m.TargetDeg}
		if m.RateDegPerS > 0 {
			l.t1 += math.Abs(m.TargetDeg-at) / m.RateDegPerS
		}
		l.t2 = l.t1 + m.Dwell.Seconds()
		legs = append(legs, l)
		t, at = l.t2, m.TargetDeg
	}
	var out run
	k := -1
	for n := 0; float64(n)/st.hz < t; n++ {
		now := float64(n) / st.hz
		for k+1 < len(legs) && now >= legs[k+1].t0 {
			k++
		}
		shown := now
		if st.frameS > 0 {
			shown = math.Floor(now/st.frameS) * st.frameS
		}
		c := start
		for _, l := range legs[max(0, k-1) : k+1] { // a frame may still show the move before
			if shown < l.t0 {
				break
			}
			c = l.to
			if l.t1 > l.t0 && shown < l.t1 {
				c = l.from + (l.to-l.from)*(shown-l.t0)/(l.t1-l.t0)
			}
		}
		if k > 0 && shown < legs[max(0, k-1)].t0 {
			c = legs[k-1].from
		}
		if st.quantum > 0 {
			c = math.Round(c/st.quantum) * st.quantum
		}
		kind := rig.MoveNone
		if k >= 0 {
			kind = r.Moves[k].Kind
		}
		out.time = append(out.time, now+st.jitterS*(rng.Float64()-0.5))
		out.command, out.marks, out.move = append(out.command, c), append(out.marks, kind), append(out.move, k)
	}
	return out
}

// routine returns a built-in routine.
func routine(t testing.TB, name string) rig.Routine {
	t.Helper()
	r, err := rig.BuiltinRoutine(name, knee())
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// expected is what a routine's definition says of its stops: how often each target is reached from
// each side.
func expected(r rig.Routine, start float64) map[float64][2]int {
	out := map[float64][2]int{}
	at := start
	for _, m := range r.Moves {
		if m.Kind == rig.MoveStair {
			n := out[m.TargetDeg]
			n[(int(stats.Sign(m.TargetDeg-at))+1)/2]++
			out[m.TargetDeg] = n
		}
		at = m.TargetDeg
	}
	for t, n := range out {
		if n[0] == 0 || n[1] == 0 {
			delete(out, t)
		}
	}
	return out
}

var stands = []struct {
	name string
	stand
}{
	{"even", stand{hz: 250}},
	{"waiting first", stand{hz: 250, wait: 1.5}},
	{"pulse frames of 20 ms", stand{hz: 250, frameS: 0.02, quantum: 0.09}},
	{"pulse frames of 3 ms", stand{hz: 250, frameS: 0.003, quantum: 0.09}},
	{"jitter", stand{hz: 250, jitterS: 0.0015}},
	{"jitter and frames", stand{hz: 250, frameS: 0.02, quantum: 0.09, jitterS: 0.0015}},
	{"100 Hz", stand{hz: 100}},
	{"1000 Hz", stand{hz: 1000, frameS: 0.02, quantum: 0.045}},
}

// A known routine gives its own stops, passes and kinds, with and without marks.
func TestKnownRoutines(t *testing.T) {
	for _, name := range rig.RoutineNames() {
		r := routine(t, name)
		if name == "shake" {
			continue // its jumps are one piece, see TestShakes
		}
		for _, s := range stands {
			for _, marked := range []bool{true, false} {
				title := name + ", " + s.name + ", marks"
				if !marked {
					title = name + ", " + s.name + ", no marks"
				}
				t.Run(title, func(t *testing.T) {
					log := s.play(r, 0, rand.New(rand.NewPCG(1, 1)))
					marks := log.marks
					if !marked {
						marks = nil
					}
					pieces := Split(log.time, log.command, marks)
					checkCover(t, pieces, len(log.time))
					checkStops(t, r, s.quantum, log, pieces)
					checkKinds(t, r, log, pieces, marked)
					checkPasses(t, r, pieces, marked)
				})
			}
		}
	}
}

// The jumps of a shake are one piece, with and without marks; the steps after it are steps.
func TestShakes(t *testing.T) {
	r := routine(t, "shake")
	var shake time.Duration
	n := 0
	for _, m := range r.Moves {
		if m.Kind == rig.MoveStep && m.Dwell < 1200*time.Millisecond {
			shake += m.Dwell
			n++
		}
	}
	shake -= r.Moves[n].Dwell // the last is the dwell after it
	for _, s := range stands {
		for _, marked := range []bool{true, false} {
			log := s.play(r, 0, rand.New(rand.NewPCG(1, 1)))
			marks := log.marks
			if !marked {
				marks = nil
			}
			pieces := Split(log.time, log.command, marks)
			checkCover(t, pieces, len(log.time))
			shakes, steps := 0, 0
			for _, p := range pieces {
				switch {
				case p.Shake:
					shakes++
					if p.Kind != rig.MoveStep || math.Abs(p.TravelS-shake.Seconds()) > .1 {
						t.Errorf("%s: a shake of %g s, kind %s, want %g s", s.name, p.TravelS, p.Kind, shake.Seconds())
					}
				case p.Kind == rig.MoveStep:
					steps++
				}
			}
			if shakes != 1 || steps != 6 {
				t.Errorf("%s, marks %v: %d shakes and %d steps, want 1 and 6", s.name, marked, shakes, steps)
			}
		}
	}
	for _, name := range []string{"assembly", "quick", "hold"} {
		log := stands[0].play(routine(t, name), 0, rand.New(rand.NewPCG(1, 1)))
		if s := Shakes(log.time, log.command); len(s) != 0 {
			t.Errorf("%s has shakes %v", name, s)
		}
	}
}

// checkCover: the pieces are the run, whole and in order.
func checkCover(t *testing.T, pieces []Piece, n int) {
	t.Helper()
	at := 0
	for i, p := range pieces {
		if p.Travel[0] != at || p.Travel[1] < p.Travel[0] || p.Dwell[0] != p.Travel[1] || p.Dwell[1] < p.Dwell[0] || p.Dwell[1] == at {
			t.Fatalf("piece %d: travel %v dwell %v after sample %d", i, p.Travel, p.Dwell, at)
		}
		at = p.Dwell[1]
	}
	if at != n {
		t.Fatalf("pieces end at %d of %d", at, n)
	}
}

func checkStops(t *testing.T, r rig.Routine, quantum float64, log run, pieces []Piece) {
	t.Helper()
	want := expected(r, 0)
	stops, targets := Stops(log.time, pieces)
	if len(targets) != len(want) {
		t.Errorf("targets %v, want %d", targets, len(want))
	}
	got := map[float64][2]int{}
	for _, s := range stops {
		best := math.NaN()
		for w := range want {
			if math.Abs(s.Target-w) <= quantum/2+1e-9 {
				best = w
			}
		}
		if math.IsNaN(best) {
			t.Errorf("a stop at %g, which is no target", s.Target)
			continue
		}
		n := got[best]
		if s.Cycle != n[(s.Dir+1)/2] {
			t.Errorf("stop at %g, direction %d: cycle %d, want %d", s.Target, s.Dir, s.Cycle, n[(s.Dir+1)/2])
		}
		n[(s.Dir+1)/2]++
		got[best] = n
		// The reading is taken at rest, well inside one stair move to that target, at its end.
		for i := s.Tail[0]; i < s.Tail[1]; i++ {
			m := r.Moves[log.move[i]]
			late := log.time[s.Tail[1]-1]-log.time[i] < 0.021 // the frame may still show the stop
			if log.command[i] != log.command[s.Tail[0]] || m.Kind != rig.MoveStair && !late {
				t.Fatalf("the tail of the stop at %g holds a sample of %s at %g", s.Target, m.Kind, log.command[i])
			}
		}
		length := log.time[s.Tail[1]-1] - log.time[s.Tail[0]]
		if length < 0.2 || length > 0.26 {
			t.Errorf("tail of %.3f s, want the last 40 %% of 0.6 s", length)
		}
	}
	for w, n := range want {
		if got[w] != n {
			t.Errorf("target %g reached %v times (falling, rising), want %v", w, got[w], n)
		}
	}
}

// shape is the kind a move has by its shape alone: a slow way to the start looks like a ramp, a long
// rest like a hold, and nothing but a mark tells them apart.
func shape(m rig.Move, from float64) rig.MoveKind {
	switch {
	case m.Kind != rig.MoveSettle:
		return m.Kind
	case m.Dwell >= 8*time.Second:
		return rig.MoveHold
	case math.Abs(m.TargetDeg-from) >= 2*m.RateDegPerS:
		return rig.MoveRamp
	}
	return rig.MoveSettle
}

// checkKinds compares every piece with the move that holds the middle of its dwell.
func checkKinds(t *testing.T, r rig.Routine, log run, pieces []Piece, marked bool) {
	t.Helper()
	for i, p := range pieces {
		mid := (p.Dwell[0] + p.Dwell[1]) / 2
		if p.DwellS < 0.1 || log.move[mid] < 0 {
			continue
		}
		m, from := r.Moves[log.move[mid]], 0.0
		if k := log.move[mid]; k > 0 {
			from = r.Moves[k-1].TargetDeg
		}
		want := m.Kind
		if !marked {
			want = shape(m, from)
		}
		if p.Kind != want {
			t.Errorf("piece %d to %g: %s, want %s", i, p.ToDeg, p.Kind, want)
		}
		if p.Inferred == marked {
			t.Errorf("piece %d: inferred %v with marks %v", i, p.Inferred, marked)
		}
		if step := m.Kind == rig.MoveStep; step != math.IsInf(p.Rate, 1) && p.Travel[1] > p.Travel[0] {
			t.Errorf("piece %d, %s: rate %g", i, m.Kind, p.Rate)
		}
	}
}

func checkPasses(t *testing.T, r rig.Routine, pieces []Piece, marked bool) {
	t.Helper()
	type pass struct {
		dir  int
		rate float64
	}
	var want []pass
	at := 0.0
	for _, m := range r.Moves {
		if m.Kind == rig.MoveRamp || !marked && shape(m, at) == rig.MoveRamp {
			want = append(want, pass{int(stats.Sign(m.TargetDeg - at)), m.RateDegPerS})
		}
		at = m.TargetDeg
	}
	got := Passes(pieces)
	if len(got) != len(want) {
		t.Fatalf("%d passes, want %d", len(got), len(want))
	}
	count := map[int]int{}
	for i, p := range got {
		if p.Dir != want[i].dir || math.Abs(p.Rate-want[i].rate) > 0.02*want[i].rate || p.Cycle != count[p.Dir] {
			t.Errorf("pass %d: %+v, want direction %d at %g deg/s", i, p, want[i].dir, want[i].rate)
		}
		count[p.Dir]++
	}
}
