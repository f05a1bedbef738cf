package session

import (
	"errors"
	"math"
	"testing"
	"time"

	"limbgauge/rig"
	"limbgauge/rig/link"
	"limbgauge/rig/virtual"
)

// A reading is the mean of what was seen after it was asked for, and nothing is armed for it: in a jig
// at 30 deg a joint without noise or form reads 30, whatever it showed before.
func TestStillReadsWhatIsHeld(t *testing.T) {
	joints := leg(t)
	var truths []virtual.Truth
	for i, j := range joints {
		tr := virtual.Healthy(j, uint64(i+1))
		tr.Sensors.Joint.Wave1Deg, tr.Sensors.CurrentOffsetA = 0, 0
		truths = append(truths, tr)
	}
	hand := &virtual.Hand{}
	s, err := OpenStill(t.Context(), stand(t, virtual.Options{Joints: joints, Truths: truths, Speed: 5, Hand: hand}), joints, 250)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	for _, deg := range []float64{-40, 30, 5} {
		hand.Jig(1, deg)
		hand.Draw(1, 0.3)
		r, err := s.Read(t.Context(), 1, time.Second)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(r.Angle.Mean-deg) > 0.05 || math.Abs(r.Current.Mean-0.3) > 0.004 || r.Angle.N < 200 || r.SpanS < 0.9 {
			t.Errorf("held at %g deg with 0.3 A: %+v", deg, r)
		}
		if r.Angle.SD > 0.1 || r.Current.SD < 0.005 || r.Current.SD > 0.02 {
			t.Errorf("scatter %+v: the stand's current has 0.012 A of noise", r)
		}
	}
	if _, err := s.Read(t.Context(), 9, time.Second); err == nil {
		t.Error("there is no joint 9")
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	if _, err := s.Read(t.Context(), 0, time.Second); !errors.Is(err, link.ErrClosed) {
		t.Errorf("after the end: %v", err)
	}
}

// A stand that only prints lines can be read as well.
func TestStillReadsLines(t *testing.T) {
	joints := leg(t)
	hand := &virtual.Hand{}
	hand.Jig(0, 20)
	routines := make([]rig.Routine, len(joints))
	s, err := OpenStill(t.Context(), stand(t, virtual.Options{Joints: joints, Speed: 5, Hand: hand, Form: rig.FormText, Routines: routines}), joints, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	r, err := s.Read(t.Context(), 0, time.Second)
	if err != nil || math.Abs(r.Angle.Mean-20) > 0.2 {
		t.Errorf("%+v, %v", r, err)
	}
}
