package drive

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"limbgauge/analyze/internal/ref"
)

var oneRating = []Rating{{6, 1.4, 420, 2.4}}

// jam makes a travel of 60 deg at 100 deg/s that sticks at 30 deg from 0.3 s on for `stuck` seconds,
// sampled at 250 Hz with 12 bit and some noise, then goes on.
func jam(stuck, end float64) StallInput {
	rng := rand.New(rand.NewPCG(9, 9))
	var in StallInput
	for i := 0; ; i++ {
		s := .004 * float64(i)
		if s > end {
			return in
		}
		angle, amps := math.Min(60, 100*s), .4
		switch {
		case s >= .3 && s < .3+stuck:
			angle, amps = 30, 2.2
		case s >= .3+stuck:
			angle = math.Min(60, 30+100*(s-.3-stuck))
		}
		if angle == 60 {
			amps = .2
		}
		const q = 360.0 / 4096
		in.Time = append(in.Time, s)
		in.Command = append(in.Command, math.Min(60, 100*s+5))
		in.Angle = append(in.Angle, q*math.Round((angle+.02*rng.NormFloat64())/q))
		in.Current = append(in.Current, amps+.1*rng.NormFloat64())
	}
}

func TestStallTime(t *testing.T) {
	rule := DefaultStallRule(oneRating, .27)
	for _, stuck := range []float64{.4, 1, 3} {
		s, err := FindStalls(jam(stuck, 6), rule)
		if err != nil || len(s) != 1 {
			t.Fatalf("%g s stuck: %+v, %v", stuck, s, err)
		}
		ref.Near(t, "time in stall", s[0].Seconds, stuck, .06, "as made, to the smoothing window")
		ref.Near(t, "start", s[0].StartS, .3, .05, "as made")
		ref.Near(t, "place", s[0].AngleDeg, 30, .1, "as made")
		ref.Near(t, "share of the stall current", s[0].Share, 2.2/2.4, .03, "as made")
		if s[0].CutShort {
			t.Error("a stall that ended in the record is called cut short")
		}
	}
	if s, err := FindStalls(jam(.15, 6), rule); err != nil || len(s) != 0 {
		t.Errorf("0.15 s at high current is a start, not a stall: %+v, %v", s, err)
	}
}

// The stall current is that of the voltage seen: 1.5 A stall a servo at 4 V but not at 6 V.
func TestStallAtTheVoltageSeen(t *testing.T) {
	in := jam(1, 6)
	for i := range in.Current {
		in.Current[i] = math.Min(in.Current[i], 1.5)
	}
	in.Supply = make([]float64, len(in.Time))
	for _, row := range []struct {
		volts float64
		want  int
	}{{6, 0}, {4, 1}} {
		for i := range in.Supply {
			in.Supply[i] = row.volts
		}
		s, err := FindStalls(in, DefaultStallRule(oneRating, .27))
		if err != nil || len(s) != row.want {
			t.Errorf("%g V: %d stalls, want %d (%v)", row.volts, len(s), row.want, err)
		}
	}
}

func TestStallCutShort(t *testing.T) {
	// The joint never gets going and the record ends after 0.15 s, as when a stand trips.
	in := jam(9, .45)
	for i := range in.Time {
		in.Angle[i], in.Current[i], in.Command[i] = 0, 2.2, 60
	}
	in.Time = in.Time[:38]
	in.Command, in.Angle, in.Current = in.Command[:38], in.Angle[:38], in.Current[:38]
	s, err := FindStalls(in, DefaultStallRule(oneRating, .27))
	if err != nil || len(s) != 1 || !s[0].CutShort {
		t.Fatalf("a record that ends in a jam: %+v, %v", s, err)
	}
	if sec, atLeast := StallSeconds(s); !atLeast || sec < .1 {
		t.Errorf("%g s, at least %v", sec, atLeast)
	}
	// A kick of current at the start and little after it is no stall.
	weak := in
	weak.Current = append([]float64(nil), in.Current...)
	for i := 12; i < len(weak.Current); i++ {
		weak.Current[i] = .5
	}
	if s, err := FindStalls(weak, DefaultStallRule(oneRating, .27)); err != nil || len(s) != 0 {
		t.Errorf("a kick of current: %+v, %v", s, err)
	}
	// The same current, but the joint is under way.
	for i := range in.Angle {
		in.Angle[i] = 100 * in.Time[i]
	}
	if s, err := FindStalls(in, DefaultStallRule(oneRating, .27)); err != nil || len(s) != 0 {
		t.Errorf("a start that the record cuts: %+v, %v", s, err)
	}
}

func TestNoStall(t *testing.T) {
	in := jam(1, 6)
	low := in
	low.Current = make([]float64, len(in.Current))
	if s, err := FindStalls(low, DefaultStallRule(oneRating, .27)); err != nil || len(s) != 0 {
		t.Errorf("standing off the command without current is no stall: %+v, %v", s, err)
	}
	// A command that cannot be answered: no current, no answer.
	low.Current = nil
	if _, err := FindStalls(low, DefaultStallRule(oneRating, .27)); !errors.Is(err, ErrNoCurrent) {
		t.Errorf("without current: %v", err)
	}
	if _, err := FindStalls(in, DefaultStallRule(nil, .27)); err == nil {
		t.Error("without ratings the stall current is not known")
	}
}
