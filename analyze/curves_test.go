package analyze

import (
	"math"
	"testing"

	"limbgauge/analyze/segment"
	"limbgauge/rig"
)

// What is drawn is told in words with its figures and units, of readings that are known.
func TestCurvesTellTheirPoint(t *testing.T) {
	s := &rig.Series{}
	for i := range 101 {
		at := float64(i) / 100
		s.Time = append(s.Time, at)
		s.Current = append(s.Current, 0.5+1.5*at)
		// A step of 10 deg that goes 2.5 deg too far, half a sine, and stays there.
		s.Angle = append(s.Angle, 12.5*math.Sin(math.Pi/2*min(1, at/0.4)))
	}
	s.Angle[0], s.Current[7] = 0, math.NaN()
	c := &subject{s: s, pieces: []segment.Piece{{Kind: rig.MoveStep, FromDeg: 0, ToDeg: 10, Travel: [2]int{1, 40}, Dwell: [2]int{40, 100}}}}
	cv, ok := c.timeCurve("current", "Supply current", "current in A", s.Current, 2.5)
	if want := "Supply current over 1 s, between 0.5 and 2 A; the limit of the stand is 2.5 A"; !ok || cv.Alt != want {
		t.Errorf("%q, want %q", cv.Alt, want)
	}
	cv, ok = c.stepCurve()
	if want := "steps laid over one another, 1 in all, each scaled to its own size; the furthest goes to 1.25 of it"; !ok || cv.Alt != want {
		t.Errorf("%q, want %q", cv.Alt, want)
	}
}
