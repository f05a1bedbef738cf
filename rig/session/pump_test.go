package session

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"limbgauge/rig"
	"limbgauge/rig/link"
	"limbgauge/rig/virtual"
)

// A bad cable loses and damages frames. What is missing between the first and the last sample of
// a joint must be counted, and nothing of the time in which another joint was under test.
func TestLossesAreThoseOfTheJointsOwnTurn(t *testing.T) {
	joints := leg(t)
	var truths []virtual.Truth
	for i, j := range joints {
		tr := virtual.Healthy(j, uint64(i+1))
		tr.Line = virtual.Line{Loss: 0.05, Damage: 0.05}
		truths = append(truths, tr)
	}
	const hz = 250
	res, err := Run(t.Context(), Config{Line: stand(t, virtual.Options{Joints: joints, Truths: truths, Speed: 4}), Joints: joints, SampleHz: hz, Consent: Agreed(),
		Plans: []Plan{{0, little("yaw")}, {2, little("knee")}}, Bench: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	r := open(t, res)
	total := 0
	for k, b := range batchesOf(t, r) {
		l := r.Info.Joints[k].Losses
		total += l.Lost
		if b.Len() == 0 {
			if l != (rig.Losses{}) {
				t.Errorf("joint %d was not tested, but lost %+v", k, l)
			}
			continue
		}
		// Counted by the samples' own times, with no help from the numbers they bear. Rests before and
		// after the turn are in the count and not in the run, hence the slack above; another joint's
		// turn would add some 100.
		missing := int(math.Round(float64(b.TimeUS[b.Len()-1]-b.TimeUS[0])*hz/1e6)) + 1 - b.Len()
		if n := l.Lost + l.Late; n < missing || n > missing+60 { // a starved stand misses samples of its own
			t.Errorf("joint %d: %d lost, but %d are missing between its %d samples", k, l.Lost, missing, b.Len())
		}
	}
	if total == 0 {
		t.Error("the cable lost nothing")
	}
}

// The stream alone says what belongs to the run, however far the pump is behind the mover.
func TestKeepFollowsTheStream(t *testing.T) {
	plans := []Plan{{0, little("yaw")}, {2, little("knee")}, {2, little("knee")}}
	for _, test := range []struct {
		name   string
		stream string // 0a: idle sample of joint 0, 2c: of move 3 of joint 2; 0!: its last move is gone
		want   string
	}{
		{"rest before the first move", "0a 2a 0a 0b 0a", "0b 0a"},
		{"rest between moves is kept, of others not", "0b 2a 0a 0c 1a 0a", "0b 0a 0c 0a"},
		{"rest after the last move", "0b 0g 0! 0a 2a 0a", "0b 0g"},
		{"last samples after word of the end", "0b 0! 0g 0a", "0b 0g"},
		{"next joint", "0b 0! 2a 0a 2b 0a 2a 2c", "0b 2b 2a 2c"},
		{"word of the end was lost", "0b 0g 0a 2b 2a 0a 2c 2! 2a 2b 2a", "0b 0g 0a 2b 2a 2c 2b 2a"},
		{"the same joint again", "0! 2b 2! 2a 2b 2a 2! 2a", "2b 2b 2a"},
		{"nothing is planned any more", "0! 2! 2! 0a 2a 2b 2a", "2b"},
	} {
		p := &pump{plans: plans}
		var got []string
		for _, word := range strings.Fields(test.stream) {
			joint := int(word[0] - '0')
			if word[1] == '!' {
				p.gone(&link.MoveGone{Joint: joint, Segment: 6})
				continue
			}
			b := &rig.Batch{Joint: joint}
			b.Append(rig.Row{Segment: uint16(word[1] - 'a')})
			if k := p.keep(b); k.Len() == 1 && k.Joint == joint {
				got = append(got, word)
			}
		}
		if g := strings.Join(got, " "); g != test.want {
			t.Errorf("%s: of %q kept %q, want %q", test.name, test.stream, g, test.want)
		}
	}
}

// fullRecorder takes some samples and then no more.
type fullRecorder struct{ left int }

var errFull = errors.New("no space left on device")

func (r *fullRecorder) Append(b *rig.Batch) error {
	if r.left -= b.Len(); r.left < 0 {
		return errFull
	}
	return nil
}

func TestRecordingThatFailsEndsMotion(t *testing.T) {
	joints := leg(t)
	conn, err := link.Open(t.Context(), stand(t, virtual.Options{Joints: joints, Speed: 4}), link.Options{Joints: joints})
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if err := conn.Setup(t.Context(), 250); err != nil {
		t.Fatal(err)
	}
	cfg := Config{Joints: joints, Plans: []Plan{{2, little("knee")}}}
	move, cancel := context.WithCancelCause(t.Context())
	p := newPump(conn, &fullRecorder{left: 100}, cfg, cancel)
	done := make(chan struct{})
	go func() { defer close(done); p.run() }()
	start := time.Now()
	if err := motion(move, conn, cfg, p); err == nil {
		t.Error("the routine ran to its end without a recording")
	}
	if !errors.Is(context.Cause(move), errFull) {
		t.Errorf("cause %v, want %v", context.Cause(move), errFull)
	}
	if d := time.Since(start); d > 3*time.Second {
		t.Errorf("motion went on for %v", d)
	}
	if err := conn.Close(); err != nil {
		t.Error(err)
	}
	<-done
	if !errors.Is(p.failed, errFull) {
		t.Errorf("failed %v, want %v", p.failed, errFull)
	}
}

// Progress by hand: two routines of 4 s and 6 s. From -20 deg: dwell 1 s, then 60 deg at 20 deg/s;
// from -20 deg: dwell 1 s, then 100 deg at 20 deg/s.
func TestProgress(t *testing.T) {
	to := func(deg float64) rig.Routine {
		return rig.Routine{Moves: []rig.Move{{Kind: rig.MoveSettle, TargetDeg: -20, RateDegPerS: 20, Dwell: time.Second}, {Kind: rig.MoveRamp, TargetDeg: deg, RateDegPerS: 20}}}
	}
	p := newProgress(Config{Joints: leg(t), Plans: []Plan{{0, to(40)}, {1, to(80)}}})
	sample := func(joint int, us int64) {
		b := &rig.Batch{Joint: joint}
		b.Append(rig.Row{TimeUS: us, Segment: 2, Motor: rig.Missing, Angle: 1500})
		p.take(b)
	}
	sample(0, 1_000_000)
	sample(0, 3_000_000)
	s := p.snapshot(rig.Losses{Lost: 3})
	if s.Joint != "yaw" || s.Done != 2*time.Second || s.Left != 8*time.Second || math.Abs(s.Share-0.2) > 1e-12 || s.Moves != 2 || s.Losses.Lost != 3 {
		t.Errorf("after 2 s of 4 s: %+v", s)
	}
	if !math.IsNaN(s.MotorDeg) || s.AngleDeg != 1.5 {
		t.Errorf("reading %+v", s)
	}
	sample(1, 9_000_000)
	sample(1, 12_000_000)
	if s = p.snapshot(rig.Losses{}); s.Joint != "hip" || s.Done != 7*time.Second || s.Left != 3*time.Second || s.Samples != 4 {
		t.Errorf("after 3 s of the second: %+v", s)
	}
	for _, test := range []struct {
		us   int64
		want bool
	}{{9_000_000 + 28_900_000, false}, {9_000_000 + 29_100_000, true}} { // 1.5 · 6 s + 20 s
		if sample(1, test.us); p.stuck() != test.want {
			t.Errorf("at %d us stuck is %v", test.us, p.stuck())
		}
	}
	if s = p.snapshot(rig.Losses{}); s.Left != 0 || s.Share != 1 {
		t.Errorf("beyond the plan: %+v", s)
	}
}

// Who listens for a time knows what is left of it; without one nobody does.
func TestProgressOfListening(t *testing.T) {
	for _, c := range []struct{ total, left time.Duration }{{10 * time.Second, 6 * time.Second}, {0, 0}} {
		p := newProgress(Config{Joints: leg(t)})
		p.total = c.total
		for _, us := range []int64{1_000_000, 5_000_000} {
			b := &rig.Batch{Joint: 0}
			b.Append(rig.Row{TimeUS: us, Motor: rig.Missing})
			p.take(b)
		}
		if s := p.snapshot(rig.Losses{}); s.Done != 4*time.Second || s.Left != c.left {
			t.Errorf("after 4 s of %v: %v done, %v left", c.total, s.Done, s.Left)
		}
	}
}

// A current that was high for one sample shows, though the newest is low again; one that was not measured is none.
func TestSnapshotTellsThePeak(t *testing.T) {
	p := newProgress(Config{Joints: leg(t), Plans: []Plan{{1, little("hip")}}})
	of := func(milliamps ...int32) Snapshot {
		b := &rig.Batch{Joint: 1}
		for i, ma := range milliamps {
			b.Append(rig.Row{TimeUS: int64(i), Current: ma})
		}
		p.take(b)
		return p.snapshot(rig.Losses{})
	}
	if s := of(100, 900, rig.Missing, 300); s.PeakA != 0.9 || s.CurrentA != 0.3 {
		t.Errorf("peak %g A, newest %g A; want 0.9 and 0.3", s.PeakA, s.CurrentA)
	}
	if s := of(rig.Missing, rig.Missing); !math.IsNaN(s.PeakA) {
		t.Errorf("peak %g A of a current that was not measured", s.PeakA)
	}
}
