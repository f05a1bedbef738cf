package virtual

import (
	"context"
	"errors"
	"io"
	"math"
	"testing"
	"time"

	"limbgauge/rig"
	"limbgauge/rig/link"
)

// conversation runs a routine with the first joint as a host does, and returns its samples.
func conversation(t testing.TB, opt Options, r rig.Routine, hz float64) (*rig.Batch, rig.Losses) {
	t.Helper()
	host, err := Pipe(opt)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	c, err := link.Open(ctx, host, link.Options{Joints: opt.Joints})
	if err != nil {
		t.Fatal(err)
	}
	all := &rig.Batch{}
	done := make(chan error, 1)
	go func() {
		for {
			e, err := c.Next(context.Background())
			if err != nil {
				done <- err
				return
			}
			s, ok := e.(*link.Samples)
			if !ok {
				continue
			}
			for _, b := range s.Batches {
				if b.Joint == 0 {
					for i := range b.Len() {
						all.Append(b.Row(i))
					}
				}
			}
		}
	}()
	steps := []func() error{
		func() error { return c.Setup(ctx, hz) },
		func() error { return c.Arm(ctx, 0) },
		func() error {
			for i, m := range r.Moves {
				if err := c.Queue(ctx, 0, uint16(i+1), m); err != nil {
					return err
				}
			}
			return nil
		},
		func() error { return c.Idle(ctx) },
		func() error { return c.Disarm(ctx) },
		func() error { return c.StopSampling(ctx) },
	}
	for _, step := range steps {
		if err := step(); err != nil {
			t.Fatal(err)
		}
	}
	loss := c.Losses()[0].Losses
	if err := c.Close(); err != nil {
		t.Error(err)
	}
	if err := <-done; !errors.Is(err, link.ErrClosed) {
		t.Error(err)
	}
	return all, loss
}

// A whole routine through the wire, as fast as it goes, brings what the same plant gives without.
func TestWholeRoutineFreeRunning(t *testing.T) {
	j := knee()
	got, loss := conversation(t, Options{Joints: []rig.Joint{j}}, standard(), 250)
	if loss != (rig.Losses{}) {
		t.Errorf("losses on a perfect line: %+v", loss)
	}
	s := rig.SeriesOf(j.Name, got)
	without := play(t, Healthy(j, 0), standard())
	// Stops are compared by their means: start times differ by the host's own pace.
	a, b := restsOf(s), restsOf(without)
	for segment, want := range b {
		if have, ok := a[segment]; !ok || math.Abs(have-want) > 0.03 {
			t.Errorf("segment %d rests at %.3f deg (seen: %t), without a wire at %.3f", segment, have, ok, want)
		}
	}
	var in time.Duration
	for i := 1; i < s.Len(); i++ {
		if s.Segment[i] > 0 {
			in += time.Duration((s.Time[i] - s.Time[i-1]) * float64(time.Second))
		}
	}
	if want := standard().Duration(0); math.Abs((in - want).Seconds()) > 2 {
		t.Errorf("moves took %v of the stand's time, want %v and a slow start", in, want)
	}
}

// restsOf returns the mean angle over the last 100 samples of each stop.
func restsOf(s *rig.Series) map[int32]float64 {
	out := map[int32]float64{}
	for i := 1; i < s.Len(); i++ {
		if s.Move[i-1] == rig.MoveStair && s.Segment[i] != s.Segment[i-1] && i > 100 {
			sum := 0.0
			for _, a := range s.Angle[i-100 : i] {
				sum += a
			}
			out[s.Segment[i-1]] = sum / 100
		}
	}
	return out
}

// What a bad line takes is counted, by the numbers of the samples and by the broken frames.
func TestLossesAreSeen(t *testing.T) {
	j := knee()
	r := rig.Routine{Name: "short", Moves: standard().Moves[:20]}
	truth, err := WithFault(Healthy(j, 0), "lost_samples", 0.05)
	if err != nil {
		t.Fatal(err)
	}
	got, loss := conversation(t, Options{Joints: []rig.Joint{j}, Truths: []Truth{truth}}, r, 250)
	if share := float64(loss.Lost) / float64(loss.Lost+got.Len()); share < 0.02 || share > 0.1 {
		t.Errorf("%d of %d samples lost, want about 5 %%", loss.Lost, loss.Lost+got.Len())
	}
	truth = Healthy(j, 0)
	truth.Line.Damage = 0.05
	got, loss = conversation(t, Options{Joints: []rig.Joint{j}, Truths: []Truth{truth}}, r, 250)
	if share := float64(loss.Lost) / float64(loss.Lost+got.Len()); share < 0.02 || share > 0.1 {
		t.Errorf("%d of %d samples lost to damage, want about 5 %%", loss.Lost, loss.Lost+got.Len())
	}
}

// The text form plays its routine by itself, and every line is a good one.
func TestTextForm(t *testing.T) {
	k, h := knee(), knee()
	h.Name, h.Belt = "hip, left", nil
	h.Channel = 1
	r := rig.Routine{Name: "short", Moves: standard().Moves[:12]}
	host, err := Pipe(Options{Joints: []rig.Joint{k, h}, Form: rig.FormText, Routines: []rig.Routine{r, {}}, SampleHz: 200})
	if err != nil {
		t.Fatal(err)
	}
	feed := link.Listen(host, []rig.Joint{k, h})
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	segments, after := map[uint16]int{}, 0
	limp := 0
	for after < 50 {
		e, err := feed.Next(ctx)
		if err != nil {
			t.Fatal(err)
		}
		switch e := e.(type) {
		case *link.BadLine:
			t.Fatalf("bad line: %+v", e)
		case *link.Samples:
			for _, b := range e.Batches {
				for i := range b.Len() {
					switch {
					case b.Joint == 1:
						limp++
					case b.Segment[i] == 0 && len(segments) == len(r.Moves):
						after++
					case b.Segment[i] != 0:
						segments[b.Segment[i]]++
					}
				}
			}
		}
	}
	for i, l := range feed.Losses() {
		if !l.Known || l.Lost != 0 {
			t.Errorf("joint %d: losses %+v, want known and none", i, l)
		}
	}
	if err := feed.Close(); err != nil {
		t.Error(err)
	}
	if limp == 0 {
		t.Error("nothing of the joint without a routine")
	}
}

func TestNewRefuses(t *testing.T) {
	two := leg()
	same := leg()
	same[1].Channel = same[0].Channel
	far := leg()
	far[0].Channel = 6
	broken := Healthy(knee(), 0)
	broken.Load.InertiaKgM2 = math.NaN()
	for name, opt := range map[string]Options{
		"no joints":        {},
		"same channel":     {Joints: same},
		"channel too far":  {Joints: far},
		"truths missing":   {Joints: two, Truths: []Truth{Healthy(two[0], 0)}},
		"truth broken":     {Joints: two[:1], Truths: []Truth{broken}},
		"speed":            {Joints: two, Speed: -1},
		"form":             {Joints: two, Form: "morse"},
		"queue":            {Joints: two, Queue: 1},
		"routines missing": {Joints: two, Form: rig.FormText},
		"routine too wide": {Joints: two[:1], Form: rig.FormText, Routines: []rig.Routine{{Moves: []rig.Move{{TargetDeg: 80}}}}},
		"long name":        {Joints: two, Name: "a name that is much too long"},
	} {
		if host, err := Pipe(opt); err == nil {
			t.Errorf("%s: accepted", name)
			host.Close()
		}
	}
}

// Closing the host's end ends the stand; closing twice does no harm.
func TestPipeCloses(t *testing.T) {
	for _, speed := range []float64{0, 1} {
		host, err := Pipe(Options{Joints: leg(), Speed: speed, Form: rig.FormText, Routines: make([]rig.Routine, 2)})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.ReadFull(host, make([]byte, 1)); err != nil {
			t.Error(err)
		}
		if err := errors.Join(host.Close(), host.Close()); err != nil {
			t.Error(err)
		}
	}
}

func TestServeEndsWithItsContext(t *testing.T) {
	s, err := New(Options{Joints: leg()})
	if err != nil {
		t.Fatal(err)
	}
	host, far := io.Pipe()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() {
		done <- s.Serve(ctx, struct {
			io.Reader
			io.WriteCloser
		}{host, far})
	}()
	cancel()
	_ = host.Close() // ends the read, as closing a port would
	if err := <-done; !errors.Is(err, context.Canceled) {
		t.Errorf("ended with %v, want the context's error", err)
	}
}

// One joint for a minute: the world's minutes per second are 60e9 over the figure shown.
func BenchmarkPlantMinute(b *testing.B) {
	w := NewWorld([]Truth{Healthy(knee(), 0)})
	w.Pulse(0, 1700)
	for b.Loop() {
		w.Advance(w.TimeUS() + 60e6)
	}
}

// The whole way: plant, protocol, line, host, for a routine of 178 s.
func BenchmarkRoutineOverTheWire(b *testing.B) {
	for b.Loop() {
		conversation(b, Options{Joints: []rig.Joint{knee()}}, standard(), 250)
	}
}
