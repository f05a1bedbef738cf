package stats

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"limbgauge/analyze/internal/ref"
)

const epa = "US EPA 530/R-09-007, 2009"

// Checks 9e, 9f.
func TestMannKendall(t *testing.T) {
	for _, row := range []struct {
		name    string
		x       []float64
		s       int
		v, z, p float64
		tolP    float64
		exact   bool
		from    string
	}{
		{"by hand", []float64{12.9, 14.8, 13.2, 15.7, 13.8, 15.6, 12.9, 11.0, 17.3, 15.9, 19.0, 18.3, 20.1, 21.7},
			54, 332.6667, 2.9058, 2 * .0018, 1e-4, false, "J. Little, note on the test by hand"},
		{"17-6", ref.Columns(t, ref.File(t, "epa_trend/ex17_6_sulfate.csv"))[4], 194, 1428, 5.107322, 3.267574e-07, 1e-12, false, epa},
		{"17-7", ref.Columns(t, ref.File(t, "epa_trend/ex17_7_sodium.csv"))[1], 25, 125, 2.146625, .0286095, 1e-7, true, epa + ", exact law by enumeration"},
		{"small", []float64{5, 6, 11, 8, 10}, 6, 50.0 / 3, 5 / math.Sqrt(50.0/3), 2 * 14.0 / 120, 1e-12, true, "EPA QA/G-9, 14 of 120 orders"},
	} {
		k, err := MannKendall(row.x)
		if err != nil {
			t.Fatal(err)
		}
		if k.S != row.s || k.Exact != row.exact {
			t.Errorf("%s: S %d (exact %v), want %d (%v)", row.name, k.S, k.Exact, row.s, row.exact)
		}
		ref.Near(t, row.name+" variance", k.Var, row.v, 1e-4, row.from)
		ref.Near(t, row.name+" Z", k.Z, row.z, 1e-4, row.from)
		ref.Near(t, row.name+" P", k.P, row.p, row.tolP, row.from)
	}
}

// Checks 9e, 9f, 9g.
func TestTheilSen(t *testing.T) {
	six := ref.Columns(t, ref.File(t, "epa_trend/ex17_6_sulfate.csv"))
	seven := ref.Columns(t, ref.File(t, "epa_trend/ex17_7_sodium.csv"))
	for _, row := range []struct {
		name          string
		x, y          []float64
		rule          RankRule
		slope, lo, hi float64
		tol           float64
		from          string
	}{
		{"17-6", six[3], six[4], Interpolate, 26.66667, 20, 35.71182, 1e-5, epa},
		{"17-7", seven[0], seven[1], Interpolate, 1.3333333, .3992083, 2.3333333, 1e-6, epa},
		{"ci.theil", []float64{67, 28, 30, 28, 52, 40, 25, 37, 44, 10, 14, 20, 28, 40, 51},
			[]float64{21, 4, 9, 12, 35, 18, 10, 22, 24, 1, 6, 8, 13, 16, 19}, WholeRanks, .5, .3243243, .75, 1e-6,
			"statpsych documentation, rule of Hollander and Wolfe"},
	} {
		s, err := TheilSen(row.x, row.y, row.rule)
		if err != nil {
			t.Fatal(err)
		}
		ref.Near(t, row.name+" slope", s.Slope, row.slope, row.tol, row.from)
		ref.Near(t, row.name+" lower", s.Lo, row.lo, row.tol, row.from)
		ref.Near(t, row.name+" upper", s.Hi, row.hi, row.tol, row.from)
	}
	hand := []float64{12.9, 14.8, 13.2, 15.7, 13.8, 15.6, 12.9, 11.0, 17.3, 15.9, 19.0, 18.3, 20.1, 21.7}
	if s, err := TheilSen(index(len(hand)), hand, Interpolate); err != nil || math.Abs(s.Slope-.566667) > 1e-6 {
		t.Errorf("slope %g, %v; want 0.566667 (median of 91 slopes)", s.Slope, err)
	}
	s, err := TheilSen(six[3], six[4], Interpolate)
	if err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "17-6 intercept", s.Intercept, -1909.33333, 1e-4, epa)
	if s, _ := TheilSen([]float64{1, 2, 3}, []float64{1, 2, 3}, Interpolate); !math.IsNaN(s.Lo) {
		t.Errorf("three readings gave the interval %g..%g, want none", s.Lo, s.Hi)
	}
}

// Check 9h.
func TestChangePoint(t *testing.T) {
	x := ref.Columns(t, ref.File(t, "nile/nile.csv"))[1]
	c, err := FindChange(x, 999, 1)
	if err != nil {
		t.Fatal(err)
	}
	const cobb = "Cobb, Biometrika 65 (1978)"
	if c.K != 28 {
		t.Errorf("change after %d years, want 28 (%s)", c.K, cobb)
	}
	ref.Near(t, "before", c.Before, 1097.75, 1e-4, cobb)
	ref.Near(t, "after", c.After, 849.9722, 1e-4, cobb)
	ref.Near(t, "RSS without", c.RSS0, 2835156.75, 1e-2, "recomputed")
	ref.Near(t, "RSS with", c.RSS1, 1597457.194, 1e-2, "recomputed")
	ref.Near(t, "GLR", c.GLR, 57.3684, 1e-3, "n·ln(RSS0/RSS1)")
	ref.Near(t, "P", c.P, .001, 1e-9, "no shuffle of 999 may do as well (Pettitt's test: 4e-7)")
}

// Without a step the permutation probability is even over 0..1: small values are as rare as they say.
func TestChangePointOfNoise(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	const runs = 400
	small := 0
	for i := range runs {
		x := make([]float64, 20)
		for j := range x {
			x[j] = rng.NormFloat64()
		}
		c, err := FindChange(x, 99, uint64(i))
		if err != nil {
			t.Fatal(err)
		}
		if c.P <= .1 {
			small++
		}
	}
	ref.Near(t, "share of P ≤ 0.1", float64(small)/runs, .1, 3*math.Sqrt(.1*.9/runs), "level of the test")
}

func TestTooFewForATrend(t *testing.T) {
	if _, err := MannKendall([]float64{1, 2, 3}); !errors.Is(err, ErrTooFew) {
		t.Error("a trend was claimed on three readings")
	}
	if _, err := FindChange([]float64{1, 1, 1, 2, 2, 2, 2}, 0, 0); !errors.Is(err, ErrTooFew) {
		t.Error("a step was claimed in seven readings")
	}
	if _, err := TheilSen([]float64{5, 5, 5}, []float64{1, 2, 3}, Interpolate); !errors.Is(err, ErrTooFew) {
		t.Error("a slope was claimed at one x")
	}
	if k, err := MannKendall([]float64{2, 2, 2, 2}); err != nil || k.P != 1 {
		t.Errorf("equal readings: %+v, %v; want P 1", k, err)
	}
}
