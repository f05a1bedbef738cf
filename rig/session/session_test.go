package session

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
	"limbgauge/rig/link"
	"limbgauge/rig/record"
	"limbgauge/rig/virtual"
)

// leg returns the joints of the example bench.
func leg(t testing.TB) []rig.Joint {
	t.Helper()
	b, err := rig.ParseBench("example", []byte(rig.ExampleBench()))
	if err != nil {
		t.Fatal(err)
	}
	return b.Joints
}

// little is a routine of a few seconds with every kind of ending a move can have.
func little(name string) rig.Routine {
	ms := time.Millisecond
	return rig.Routine{Name: name, Moves: []rig.Move{
		{Kind: rig.MoveSettle, TargetDeg: -20, RateDegPerS: 20, Dwell: 200 * ms},
		{Kind: rig.MoveStair, TargetDeg: -10, RateDegPerS: 60, Dwell: 300 * ms},
		{Kind: rig.MoveStair, TargetDeg: 10, RateDegPerS: 60, Dwell: 300 * ms},
		{Kind: rig.MoveTurn, TargetDeg: 15, RateDegPerS: 60},
		{Kind: rig.MoveStep, TargetDeg: 0, Dwell: 500 * ms},
		{Kind: rig.MoveHold, TargetDeg: 20, RateDegPerS: 40, Dwell: time.Second},
	}}
}

// stand returns the host's end of a virtual stand, and checks at the end of the test that no
// goroutine of the session or the stand is left.
func stand(t testing.TB, opt virtual.Options) io.ReadWriteCloser {
	t.Helper()
	before := runtime.NumGoroutine()
	line, err := virtual.Pipe(opt)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		for wait := time.Millisecond; wait < 4*time.Second; wait *= 2 {
			if runtime.NumGoroutine() <= before {
				return
			}
			time.Sleep(wait)
		}
		buf := make([]byte, 1<<16)
		t.Errorf("%d goroutines before, %d after:\n%s", before, runtime.NumGoroutine(), buf[:runtime.Stack(buf, true)])
	})
	return line
}

func open(t testing.TB, res Result) *record.Run {
	t.Helper()
	if res.Dir == "" {
		t.Fatal("no run was kept")
	}
	r, err := record.Open(res.Dir)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func batchesOf(t testing.TB, r *record.Run) []*rig.Batch {
	t.Helper()
	b, err := r.Batches()
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// segments counts the samples of each move of a batch.
func segments(b *rig.Batch) map[uint16]int {
	n := map[uint16]int{}
	for _, s := range b.Segment {
		n[s]++
	}
	return n
}

func TestRunCarriesOutEveryPlanAndKeepsEverySample(t *testing.T) {
	joints := leg(t)
	const hz = 250
	live := NewLive(16)
	var info record.Info
	info.Leg, info.Revision, info.Routine = "fore-left", "A", "little"
	res, err := Run(t.Context(), Config{
		Line: stand(t, virtual.Options{Joints: joints}), Joints: joints, SampleHz: hz, Consent: Agreed(),
		Plans: []Plan{{0, little("yaw")}, {1, little("hip")}, {2, little("knee")}},
		Bench: t.TempDir(), Info: info, Live: live,
	})
	if err != nil {
		t.Fatal(err)
	}
	r := open(t, res)
	if r.Info.State != record.Sealed || r.Info.End.How != record.Complete || r.Info.Leg != "fore-left" || r.Info.Stand.SampleHz != hz || r.Info.Stand.Firmware == "" {
		t.Errorf("info %+v", r.Info)
	}
	for k, b := range batchesOf(t, r) {
		j := r.Info.Joints[k]
		if len(j.Moves) != 6 || j.Losses != (rig.Losses{}) {
			t.Errorf("joint %s: %d moves, losses %+v", j.Setup.Name, len(j.Moves), j.Losses)
		}
		// The numbers of samples follow from the routine alone: travel over rate, plus dwell, at 250 Hz.
		n := segments(b)
		at := -20.0
		for i, m := range j.Moves {
			d := m.Dwell.Seconds()
			if m.RateDegPerS > 0 {
				d += max(m.TargetDeg-at, at-m.TargetDeg) / m.RateDegPerS
			}
			at = m.TargetDeg
			if want := d * hz; i > 0 && (float64(n[uint16(i+1)]) < want-3 || float64(n[uint16(i+1)]) > want+3) {
				t.Errorf("joint %s, move %d (%s): %d samples, want %.0f", j.Setup.Name, i+1, m.Kind, n[uint16(i+1)], want)
			}
		}
		for i := 1; i < b.Len(); i++ {
			if gap := b.TimeUS[i] - b.TimeUS[i-1]; gap < 3900 || gap > 4100 {
				t.Fatalf("joint %s: gap of %d us before sample %d of move %d", j.Setup.Name, gap, i, b.Segment[i])
			}
		}
	}
	// The watcher slept: the newest are there, the oldest were dropped and counted.
	if live.Dropped() == 0 || len(live.C()) != 16 {
		t.Errorf("%d snapshots dropped, %d there", live.Dropped(), len(live.C()))
	}
	var last Snapshot
	for len(live.C()) > 0 {
		if s := <-live.C(); s.Said == "" {
			last = s
		}
	}
	if last.Joint != "knee" || last.Segment != 6 && last.Segment != 0 || last.Share < 0.95 || last.Left > time.Second || last.Samples < 3*hz*4 {
		t.Errorf("last snapshot %+v", last)
	}
}

func TestRunNeedsConsentAndRange(t *testing.T) {
	joints := leg(t)
	bench := t.TempDir()
	cfg := Config{Line: stand(t, virtual.Options{Joints: joints}), Joints: joints, SampleHz: 250, Plans: []Plan{{0, little("yaw")}}, Bench: bench}
	if _, err := Run(t.Context(), cfg); !errors.Is(err, ErrNoConsent) {
		t.Errorf("without consent: %v", err)
	}
	cfg.Line, cfg.Consent = stand(t, virtual.Options{Joints: joints}), Agreed()
	cfg.Plans[0].Routine.Moves[2].TargetDeg = 90
	if _, err := Run(t.Context(), cfg); err == nil || !strings.Contains(err.Error(), "outside the range") {
		t.Errorf("out of range: %v", err)
	}
	if entries, err := record.List(bench); err != nil || len(entries) != 0 {
		t.Errorf("%d runs were begun (%v)", len(entries), err)
	}
}

// watch records what the host says to the stand.
type watch struct {
	io.ReadWriteCloser
	mu   sync.Mutex
	dec  wire.Decoder
	said []wire.Type
}

func (w *watch) Write(p []byte) (int, error) {
	w.mu.Lock()
	for chunk := p; len(chunk) > 0; {
		var body []byte
		if body, chunk = w.dec.Next(chunk); body != nil && wire.Type(body[0]) != wire.TypeHeartbeat && wire.Type(body[0]) != wire.TypeClockAsk {
			w.said = append(w.said, wire.Type(body[0]))
		}
	}
	w.mu.Unlock()
	return w.ReadWriteCloser.Write(p)
}

func TestCancelStopsMotionFirst(t *testing.T) {
	joints := leg(t)
	line := &watch{ReadWriteCloser: stand(t, virtual.Options{Joints: joints, Speed: 4})}
	ctx, cancel := context.WithCancelCause(t.Context())
	live := NewLive(1)
	go func() { // the user sees the third move begin and has enough
		for s := range live.C() {
			if s.Segment == 3 {
				cancel(errors.New("the page was closed"))
				return
			}
		}
	}()
	res, err := Run(ctx, Config{Line: line, Joints: joints, SampleHz: 250, Consent: Agreed(),
		Plans: []Plan{{2, little("knee")}, {1, little("hip")}}, Bench: t.TempDir(), Live: live})
	if !errors.Is(err, ErrStopped) {
		t.Fatalf("cancelled: %v, want ErrStopped", err)
	}
	r := open(t, res)
	if r.Info.State != record.Sealed || r.Info.End.How != record.Stopped {
		t.Errorf("info %+v", r.Info)
	}
	knee := batchesOf(t, r)[2]
	if n := segments(knee); n[2] == 0 || n[3] == 0 || n[5] > 0 || batchesOf(t, r)[1].Len() > 0 {
		t.Errorf("kept %v of the knee and %d of the hip", n, batchesOf(t, r)[1].Len())
	}
	// After the last move nothing is said before stop, and after it disarm.
	said := line.said
	last := 0
	for i, s := range said {
		if s == wire.TypeMove {
			last = i
		}
	}
	if rest := said[last+1:]; len(rest) < 4 || rest[0] != wire.TypeStop || rest[1] != wire.TypeDisarm {
		t.Errorf("after the last move the host said %v", rest)
	}
}

func TestTripKeepsTheRunAndNamesTheReason(t *testing.T) {
	joints := leg(t)
	joints[2].CurrentMaxA = 0.05 // below what the electronics draw at rest
	live := NewLive(4096)
	res, err := Run(t.Context(), Config{Line: stand(t, virtual.Options{Joints: joints}), Joints: joints, SampleHz: 250, Consent: Agreed(),
		Plans: []Plan{{2, little("knee")}}, Bench: t.TempDir(), Live: live})
	var trip *link.TrippedError
	if !errors.As(err, &trip) || trip.Trip.Reason != wire.ReasonCurrent {
		t.Fatalf("tripped: %v", err)
	}
	r := open(t, res)
	if r.Info.State != record.Sealed || r.Info.End.How != record.Tripped || !strings.Contains(r.Info.End.Reason, "0.05 A") || batchesOf(t, r)[2].Len() < 50 {
		t.Errorf("info %+v with %d samples", r.Info, batchesOf(t, r)[2].Len())
	}
	said := false
	for len(live.C()) > 0 {
		s := <-live.C()
		said = said || strings.Contains(s.Said, "tripped")
	}
	if !said {
		t.Error("the watcher was not told")
	}
}

// cut is a line that breaks after some bytes were read from it.
type cut struct {
	io.ReadWriteCloser
	left int
}

func (c *cut) Read(p []byte) (int, error) {
	if c.left <= 0 {
		return 0, io.ErrUnexpectedEOF
	}
	n, err := c.ReadWriteCloser.Read(p[:min(len(p), c.left)])
	c.left -= n
	return n, err
}

// A restart is told by the mover or by the pump, whichever sees it first; the run must end alike.
func TestRestartIsATrip(t *testing.T) {
	joints := leg(t)[:1]
	for range 10 {
		line := stand(t, virtual.Options{Joints: joints, Speed: 1})
		time.AfterFunc(100*time.Millisecond, func() {
			if err := line.(interface{ Restart() error }).Restart(); err != nil {
				t.Error(err)
			}
		})
		res, err := Run(t.Context(), Config{Line: line, Joints: joints, SampleHz: 250, Consent: Agreed(),
			Plans: []Plan{{0, little("yaw")}}, Bench: t.TempDir()})
		var trip *link.TrippedError
		if !errors.As(err, &trip) || trip.Trip.Reason != wire.ReasonReset || !errors.Is(err, link.ErrRestarted) {
			t.Fatalf("after a restart: %v, want a trip that says so", err)
		}
		if r := open(t, res); r.Info.End.How != record.Tripped || r.Info.State != record.Sealed {
			t.Fatalf("the run ended as %+v, state %s", r.Info.End, r.Info.State)
		}
	}
}

func TestBrokenLineKeepsTheRun(t *testing.T) {
	joints := leg(t)
	line := &cut{stand(t, virtual.Options{Joints: joints, Speed: 4}), 60_000}
	start := time.Now()
	res, err := Run(t.Context(), Config{Line: line, Joints: joints, SampleHz: 250, Consent: Agreed(),
		Plans: []Plan{{0, little("yaw")}, {1, little("hip")}, {2, little("knee")}}, Bench: t.TempDir()})
	if !errors.Is(err, link.ErrGone) {
		t.Fatalf("broken line: %v, want ErrGone", err)
	}
	r := open(t, res)
	if r.Info.State != record.Sealed || r.Info.End.How != record.Cut || r.Info.End.Reason == "" || r.Info.Samples() < 250 {
		t.Errorf("info %+v", r.Info)
	}
	if d := time.Since(start); d > 20*time.Second {
		t.Errorf("took %v to leave a dead line", d)
	}
}

func TestRunThatCanNotBeKeptDoesNotMove(t *testing.T) {
	joints := leg(t)
	line := &watch{ReadWriteCloser: stand(t, virtual.Options{Joints: joints})}
	bench := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(bench, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	_, err := Run(t.Context(), Config{Line: line, Joints: joints, SampleHz: 250, Consent: Agreed(), Plans: []Plan{{0, little("yaw")}}, Bench: bench})
	if err == nil {
		t.Fatal("ran without a folder to keep the run in")
	}
	for _, s := range line.said {
		if s == wire.TypeArm || s == wire.TypeMove {
			t.Errorf("the host said %v", line.said)
		}
	}
}

func TestUserWhoIsGoneBeforeTheStart(t *testing.T) {
	joints := leg(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	bench := t.TempDir()
	if _, err := Run(ctx, Config{Line: stand(t, virtual.Options{Joints: joints}), Joints: joints, SampleHz: 250, Consent: Agreed(),
		Plans: []Plan{{0, little("yaw")}}, Bench: bench}); !errors.Is(err, context.Canceled) {
		t.Errorf("%v, want context.Canceled", err)
	}
	if entries, err := record.List(bench); err != nil || len(entries) != 0 {
		t.Errorf("%d runs were begun (%v)", len(entries), err)
	}
}

func TestListenKeepsWhatATextStandPrints(t *testing.T) {
	joints := leg(t)[:1]
	line := stand(t, virtual.Options{Joints: joints, Form: rig.FormText, Routines: []rig.Routine{little("yaw")}, SampleHz: 100, Speed: 5})
	live := NewLive(4)
	res, err := Listen(t.Context(), ListenConfig{Line: line, Joints: joints, For: 1500 * time.Millisecond, Bench: t.TempDir(),
		Info: record.Info{Leg: "fore-left", Stand: record.Stand{Port: "text", SampleHz: 100}}, Live: live})
	if err != nil {
		t.Fatal(err)
	}
	r := open(t, res)
	b := batchesOf(t, r)[0]
	if r.Info.State != record.Sealed || r.Info.End.How != record.Complete || b.Len() < 300 || len(segments(b)) < 4 {
		t.Errorf("info %+v with %d samples of %v", r.Info, b.Len(), segments(b))
	}
	var last Snapshot
	for len(live.C()) > 0 {
		last = <-live.C()
	}
	if last.Joint != "yaw" || last.Samples != b.Len() || last.Done < 3*time.Second {
		t.Errorf("last snapshot %+v of %d samples", last, b.Len())
	}
}

// script is a line that says one thing, calls then, and is silent.
type script struct {
	silence
	text []byte
	then func()
}

func (s *script) Read(p []byte) (int, error) {
	if len(s.text) == 0 {
		s.then()
		return s.silence.Read(p)
	}
	n := copy(p, s.text)
	s.text = s.text[n:]
	return n, nil
}

func TestListenKeepsTheLastSamples(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	text := []byte("# joined in the middle\n")
	for i := range 100 { // the form of SPEC.md, section 10
		text = fmt.Appendf(text, "sample,joint=yaw command_deg=1.5,joint_deg=1.25 %d\n", 1000+i*10000)
	}
	res, err := Listen(ctx, ListenConfig{Line: &script{silence{make(chan struct{})}, text, cancel}, Joints: leg(t)[:1], Bench: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	if b := batchesOf(t, open(t, res))[0]; b.Len() != 100 || b.Angle[99] != 1250 {
		t.Errorf("%d samples kept of 100 that had come", b.Len())
	}
}

// silence is a line on which nothing ever comes.
type silence struct{ closed chan struct{} }

func (s silence) Read([]byte) (int, error)    { <-s.closed; return 0, io.EOF }
func (s silence) Write(p []byte) (int, error) { return len(p), nil }
func (s silence) Close() error                { close(s.closed); return nil }

func TestListenToNothingLeavesNoRun(t *testing.T) {
	bench := t.TempDir()
	if _, err := Listen(t.Context(), ListenConfig{Line: silence{make(chan struct{})}, Joints: leg(t)[:1], For: 50 * time.Millisecond, Bench: bench}); err == nil {
		t.Error("heard something on a silent line")
	}
	if entries, err := record.List(bench); err != nil || len(entries) != 0 {
		t.Errorf("%d runs were begun (%v)", len(entries), err)
	}
}

func TestLiveNeverWaits(t *testing.T) {
	for _, size := range []int{0, 1, 3} {
		l := NewLive(size)
		for i := range 10 {
			l.put(Snapshot{Segment: i})
		}
		kept := max(size, 1)
		if l.Dropped() != 10-kept || len(l.C()) != kept {
			t.Fatalf("room for %d: %d dropped, %d there", size, l.Dropped(), len(l.C()))
		}
		for i := 10 - kept; i < 10; i++ {
			if s := <-l.C(); s.Segment != i {
				t.Errorf("got snapshot %d, want %d: the newest stay", s.Segment, i)
			}
		}
	}
	var nobody *Live
	nobody.put(Snapshot{})
	nobody.say("to nobody")
}
