package stats

import (
	"errors"
	"testing"

	"limbgauge/analyze/internal/ref"
)

// Check 9a.
func TestIndividuals(t *testing.T) {
	l, err := Individuals([]float64{49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1})
	if err != nil {
		t.Fatal(err)
	}
	const from = "NIST e-Handbook 6.3.2.2"
	ref.Near(t, "centre", l.Centre, 50.81, 1e-9, from)
	ref.Near(t, "upper", l.Hi, 55.8041, 1e-4, from)
	ref.Near(t, "lower", l.Lo, 45.8159, 1e-4, from)
	if _, err := Individuals([]float64{1, 2, 3}); !errors.Is(err, ErrTooFew) {
		t.Errorf("three readings: %v", err)
	}
}

// Checks 9b, 9c.
func TestEWMA(t *testing.T) {
	c := ref.Columns(t, ref.File(t, "nist_handbook/ewma_6_3_2_4.csv"))
	x, want := c[1][1:], c[2][1:]
	z, lim := EWMA(x, 50, 50, 2.0539, .3, 3)
	const from = "NIST e-Handbook 6.3.2.4"
	for i := range z {
		ref.Near(t, "z", z[i], want[i], .00501, from)
	}
	// The handbook uses the limits of a long run for every point, where none is out.
	last := lim[len(lim)-1]
	for i := range z {
		if z[i] > last.Hi || z[i] < last.Lo {
			t.Errorf("point %d is out, want none (%s)", i+1, from)
		}
	}
	ref.Near(t, "upper", last.Hi, 52.5884, 1e-3, from)
	ref.Near(t, "lower", last.Lo, 47.4115, 1e-3, from)

	ross := []float64{48, 52, 70, 62, 57, 81, 56, 59, 77, 82, 78, 80, 74, 82, 68, 84}
	z, lim = EWMA(ross, 60, 62, 12, .25, 3)
	const r = "Ross, chapter 13, p. 569"
	for i, w := range []float64{57, 55.75, 59.31, 59.98, 59.24, 64.68, 62.50, 61.61, 65.48, 69.60, 71.70, 73.78, 73.83, 75.87, 73.90, 76.43} {
		ref.Near(t, "z", z[i], w, .025, r+", rounded as it goes")
	}
	ref.Near(t, "long-run upper", lim[15].Hi, 75.61, .01, r)
	ref.Near(t, "long-run lower", lim[15].Lo, 48.39, .01, r)
	for i := range z {
		if out := z[i] > 75.61; out != (i == 13 || i == 15) {
			t.Errorf("point %d out: %v; the book has 14 and 16", i+1, out)
		}
	}
}

// Checks 9b, 9d.
func TestCumulativeSum(t *testing.T) {
	c := ref.Columns(t, ref.File(t, "nist_handbook/cusum_6_3_2_3.csv"))
	s := CumulativeSum(c[1], 325, .3175, 4.1959)
	const from = "NIST e-Handbook 6.3.2.3"
	for i := range s.Hi {
		ref.Near(t, "S high", s.Hi[i], c[3][i], .0051, from)
		ref.Near(t, "S low", s.Lo[i], c[4][i], .0051, from)
	}
	if s.Alarm != 13 {
		t.Errorf("first alarm at group %d, want 14 (%s)", s.Alarm+1, from)
	}
	mr := CumulativeSum([]float64{102.0, 94.8, 98.3, 98.4, 102.0, 98.5, 99.0, 97.7, 100.0, 98.1, 101.3, 98.7, 101.1, 98.4, 97.0, 96.7, 100.3, 101.4, 97.2, 101.0}, 99, 1, 10)
	const book = "Montgomery and Runger, table 16-8"
	hi := []float64{2, 0, 0, 0, 2, .5, 0, 0, 0, 0, 1.3, 0, 1.1, 0, 0, 0, .3, 1.7, 0, 1}
	lo := []float64{0, 3.2, 2.9, 2.5, 0, 0, 0, .3, 0, 0, 0, 0, 0, 0, 1, 2.3, 0, 0, .8, 0}
	for i := range hi {
		ref.Near(t, "S⁺", mr.Hi[i], hi[i], .051, book)
		ref.Near(t, "S⁻", mr.Lo[i], lo[i], .051, book)
	}
	if mr.Alarm != -1 || mr.Start != -1 {
		t.Errorf("alarm at %d, want none (%s)", mr.Alarm, book)
	}
	// A shift of 2 after ten readings: the sum's last zero tells where it began.
	x := make([]float64, 20)
	for i := 10; i < 20; i++ {
		x[i] = 2
	}
	if s := CumulativeSum(x, 0, 1, 4); s.Alarm != 14 || s.Start != 10 {
		t.Errorf("alarm %d, start %d; want 14 (the fifth unit above 4) and 10", s.Alarm, s.Start)
	}
}
