package link

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"

	"limbgauge/rig"
)

// TestUnwrap compares with a clock that never wrapped, read by joints that report a little out of turn.
func TestUnwrap(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var u unwrapper
		true64 := int64(rapid.Uint32().Draw(t, "start"))
		if got := u.at(uint32(true64)); got != true64 {
			t.Fatalf("first time %d, want %d", got, true64)
		}
		for range 50 {
			true64 += rapid.Int64Range(0, 1<<31-40_000).Draw(t, "step")
			back := min(rapid.Int64Range(0, 40_000).Draw(t, "back"), true64)
			for _, v := range []int64{true64, true64 - back} {
				if got := u.at(uint32(v)); got != v {
					t.Fatalf("time %d came out as %d", v, got)
				}
			}
		}
	})
}

// TestTally loses known stretches of a numbered stream, shorter and longer than the 65,536 samples
// after which the numbers come round.
func TestTally(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const period = 1000.0
		var c tally
		number, lost := 0, 0
		for range rapid.IntRange(1, 30).Draw(t, "frames") {
			gap := rapid.OneOf(rapid.Just(0), rapid.IntRange(0, 40), rapid.IntRange(0, 300_000)).Draw(t, "gap")
			if !c.any {
				gap %= 65536 // before the first sample there is no time to tell rounds by
			}
			number, lost = number+gap, lost+gap
			n := rapid.IntRange(1, 8).Draw(t, "n")
			// Each sample may be up to a fifth of a period late.
			at := func(k int) int64 { return int64(float64(k)*period + rapid.Float64Range(0, period/5).Draw(t, "late")) }
			if !c.take(uint16(number), n, at(number), at(number+n-1), period) {
				t.Fatalf("sample %d was not taken", number)
			}
			number += n
		}
		more := rapid.IntRange(0, 1000).Draw(t, "at the end")
		c.settle(uint16(number + more))
		if c.loss.Lost != lost+more || c.loss.Damaged != 0 {
			t.Fatalf("lost %d, damaged %d; want %d and none", c.loss.Lost, c.loss.Damaged, lost+more)
		}
	})
}

func TestTallyOldSample(t *testing.T) {
	var c tally
	c.take(0, 5, 1000, 5000, 1000)
	if c.take(3, 1, 4000, 4000, 1000) || c.loss.Damaged != 1 || c.loss.Lost != 0 || c.next != 5 {
		t.Errorf("an old sample was taken: %+v", c)
	}
}

// TestClockFit: a stand whose clock is 50 ppm fast, asked over a line whose delays are long now
// and then, and longer on the way back. The truth is a closed form: device = (1+50e-6)·host + 7 s.
func TestClockFit(t *testing.T) {
	const ppm = 50.0
	rnd := rand.New(rand.NewPCG(1, 2))
	zero := time.Date(2024, 5, 1, 0, 0, 0, 0, time.UTC)
	var c clock
	for i := range 40 {
		sent := float64(i) * 1e6 // us
		there, back := 200+rnd.Float64()*50, 200+rnd.Float64()*50
		if i%3 == 0 {
			back += rnd.ExpFloat64() * 20_000 // a busy host
		}
		arrived := sent + there
		device := int64((1+ppm*1e-6)*arrived + 7e6)
		trip := time.Duration((there + back) * 1e3)
		c.add(exchange{host: zero.Add(time.Duration(sent*1e3) + trip/2), trip: trip, device: device})
	}
	f := c.fit()
	if f.N != 40 || math.Abs(f.RatePPM-ppm) > 2 {
		t.Errorf("rate %.2f ppm from %d exchanges, want %g ± 2", f.RatePPM, f.N, ppm)
	}
	for _, host := range []float64{0, 20e6, 39e6} {
		got := f.At(int64((1+ppm*1e-6)*host + 7e6)).Sub(zero)
		if off := got - time.Duration(host*1e3); off.Abs() > f.Doubt+100*time.Microsecond {
			t.Errorf("moment %g s is placed %s off, doubt %s", host/1e6, off, f.Doubt)
		}
	}
	if f := new(clock).fit(); f.N != 0 {
		t.Errorf("a fit of nothing: %+v", f)
	}
}

func TestMailbox(t *testing.T) {
	one := func(us int64) func(*rig.Batch) { return func(b *rig.Batch) { b.Append(rig.Row{TimeUS: us}) } }
	synctest.Test(t, func(t *testing.T) {
		m := newMailbox()
		ctx := t.Context()
		m.add(2, 1, 1, one(1))
		m.add(2, 0, 1, one(2))
		m.add(2, 1, 1, one(3))
		m.put(&Log{"between"})
		m.add(2, 0, 1, one(4))
		begin := time.Now()
		e, _ := m.next(ctx)
		s, ok := e.(*Samples)
		if !ok || len(s.Batches) != 2 || s.Batches[0].Joint != 1 || s.Batches[0].Len() != 2 || s.Batches[1].Len() != 1 {
			t.Fatalf("first event %+v", e)
		}
		if e, _ := m.next(ctx); e.(*Log).Text != "between" {
			t.Errorf("second event %+v", e)
		}
		if time.Since(begin) != 0 {
			t.Error("waited for company that can not come")
		}
		time.AfterFunc(5*time.Millisecond, func() { m.add(2, 0, 1, one(5)) })
		if e, _ := m.next(ctx); e.(*Samples).Batches[0].Len() != 2 || time.Since(begin) != gatherFor {
			t.Errorf("third event %+v after %s, want two samples after %s", e, time.Since(begin), gatherFor)
		}
		m.add(2, 0, 1, one(6))
		m.fail(ErrGone)
		m.fail(ErrClosed)
		if e, err := m.next(ctx); err != nil || e.(*Samples).Batches[0].Len() != 1 {
			t.Errorf("what came before the end: %+v, %v", e, err)
		}
		for range 2 {
			if _, err := m.next(ctx); !errors.Is(err, ErrGone) {
				t.Errorf("at the end: %v, want the first error", err)
			}
		}
	})
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if _, err := newMailbox().next(ctx); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("%v, want the context's error", err)
		}
	})
}

// TestMailboxBound: a receiver that never comes costs samples, not all memory.
func TestMailboxBound(t *testing.T) {
	m := newMailbox()
	fill := func(b *rig.Batch) {
		for i := range 1024 {
			b.Append(rig.Row{TimeUS: int64(i)})
		}
	}
	for i := range holdMost / 1024 {
		if !m.add(1, 0, 1024, fill) {
			t.Fatalf("full after %d", i)
		}
	}
	if m.add(1, 0, 1, fill) {
		t.Error("more was taken than is held")
	}
	if _, err := m.next(t.Context()); err != nil {
		t.Fatal(err)
	}
	if !m.add(1, 0, 1, func(*rig.Batch) {}) {
		t.Error("no room after one was taken")
	}
}

func TestTextClock(t *testing.T) {
	const w = int64(1) << 32
	type step struct {
		raw, want int64
		verdict   timeVerdict
	}
	for _, test := range []struct {
		name  string
		steps []step
	}{
		{"wraps at 32 bits", []step{{w - 2000, w - 2000, 0}, {w - 1000, w - 1000, 0}, {0, w, 0}, {w - 500, w - 500, 0}, {1000, w + 1000, 0}}},
		{"64 bits do not wrap", []step{{w - 1000, w - 1000, 0}, {w + 1000, w + 1000, 0}, {3 * w, 0, timeDoubtful}, {3*w + 1000, 3*w + 1000, 0}}},
		{"a damaged digit", []step{{81_234_567, 81_234_567, 0}, {8_123_467, 0, timeDoubtful}, {81_235_567, 81_235_567, 0}, {812_355_670, 0, timeDoubtful}, {81_236_567, 81_236_567, 0}}},
		{"a restart", []step{{81_234_567, 81_234_567, 0}, {5_000, 0, timeDoubtful}, {6_000, 0, timeRestart}}},
		{"a pause", []step{{1000, 1000, 0}, {61_000_000, 0, timeDoubtful}, {61_001_000, 61_001_000, 0}}},
		{"two faults that do not agree", []step{{90_000_000, 90_000_000, 0}, {9_000_000, 0, timeDoubtful}, {5_000, 0, timeDoubtful}, {90_001_000, 90_001_000, 0}}},
		{"joints out of turn", []step{{1000, 1000, 0}, {2000, 2000, 0}, {1500, 1500, 0}, {3000, 3000, 0}}},
	} {
		var c textClock
		for i, s := range test.steps {
			got, verdict := c.at(s.raw)
			if verdict != s.verdict || verdict == timeGood && got != s.want {
				t.Errorf("%s, step %d: time %d gives %d, verdict %d; want %d, %d", test.name, i+1, s.raw, got, verdict, s.want, s.verdict)
			}
		}
	}
}
