package compare

import (
	"fmt"
	"math"
	"testing"

	"limbgauge/analyze/health"
	"limbgauge/analyze/internal/ref"
)

// A whole comparison beside SciPy and statsmodels: assemblies with repeats, five measures, Welch, Holm,
// equivalence, exact permutation, shift by ranks, and what could have been seen.
func TestAgainstSciPy(t *testing.T) {
	var oracle struct {
		Measures []struct {
			Name                                                               string
			A, B                                                               [][]float64
			Margin, Difference, U, DF, P, Adjusted, Same, Permuted, Detectable float64
			Shift                                                              struct{ Value, Lo, Hi, Coverage float64 }
		}
	}
	ref.JSON(t, "oracle/compare.json", &oracle)
	if len(oracle.Measures) != 5 {
		t.Fatalf("%d measures", len(oracle.Measures))
	}
	o := Options{Margins: map[string]float64{}}
	var a, b []Run
	for i, m := range oracle.Measures {
		o.Margins[m.Name] = m.Margin
		o.Measures = append(o.Measures, m.Name)
		put := func(side *[]Run, groups [][]float64) {
			n := 0
			for g, list := range groups {
				for _, v := range list {
					if i == 0 {
						*side = append(*side, one(fmt.Sprintf("%02d", n), fmt.Sprint("assembly ", g)))
					}
					j := &(*side)[n].Joint
					j.Measures = append(j.Measures, health.Of(m.Name, health.NoPath, v, nan, ""))
					n++
				}
			}
		}
		put(&a, m.A)
		put(&b, m.B)
	}
	res := Sides(a, b, o)
	for _, m := range oracle.Measures {
		r := find(t, res, m.Name)
		for _, c := range []struct {
			name      string
			got, want float64
			tol       float64
		}{
			{"difference", r.Diff, m.Difference, 1e-9}, {"half width", r.U, m.U, 1e-8}, {"degrees of freedom", r.DF, m.DF, 1e-9},
			{"p", r.P, m.P, 1e-9}, {"adjusted", r.Adjusted, m.Adjusted, 1e-9}, {"same", r.SameP, m.Same, 1e-9},
			{"permuted", r.Permuted, m.Permuted, 1e-12}, {"detectable", r.Detectable, m.Detectable, 1e-6},
			{"shift", r.Shift.Value, m.Shift.Value, 1e-12}, {"shift, low end", r.Shift.Lo, m.Shift.Lo, 1e-12},
			{"shift, high end", r.Shift.Hi, m.Shift.Hi, 1e-12}, {"coverage", r.Shift.Coverage, m.Shift.Coverage, 1e-12},
		} {
			ref.Near(t, m.Name+", "+c.name, c.got, c.want, c.tol*math.Max(1e-3, math.Abs(c.want)), "testdata/oracle/compare.py")
		}
	}
	// Verdicts as these probabilities have them at 5 %.
	for name, want := range map[string]Verdict{"play": Better, "compliance": Same, "friction": Cannot, "creep": Cannot, "torque_use": Worse} {
		if r := find(t, res, name); r.Verdict != want {
			t.Errorf("%s: %s (%s), want %s", name, r.Verdict, r.Why, want)
		}
	}
	const want = "The second side is better in play; worse in torque use; the same within the margin in compliance; cannot tell: friction, creep in the hold."
	if res.Sentence != want {
		t.Errorf("%s\nwant %s", res.Sentence, want)
	}
}

// Check 10c (Hollander and Wolfe, Nonparametric Statistical Methods, section 4.1, permeability of membranes):
// shift 0.305, -0.15 to 0.76 with 0.960. Check 10e (Efron and Tibshirani 1993, table 2.1, every deal):
// 3184 of 11440.
func TestRanksAndDealsPublished(t *testing.T) {
	x := []float64{.80, .83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, .73, 1.46}
	y := []float64{1.15, .88, .90, .74, 1.21}
	s := find(t, Sides(plays(nan, y...), plays(nan, x...), Options{}), "play").Shift
	const from = "Hollander and Wolfe, examples of sections 4.1 to 4.3"
	ref.Near(t, "shift", s.Value, .305, 1e-9, from)
	ref.Near(t, "low end", s.Lo, -.15, 1e-9, from)
	ref.Near(t, "high end", s.Hi, .76, 1e-9, from)
	ref.Near(t, "coverage", s.Coverage, .96, 5e-5, from)

	treated := []float64{94, 197, 16, 38, 99, 141, 23}
	control := []float64{52, 104, 146, 10, 51, 30, 40, 27, 46}
	r := find(t, Sides(plays(nan, control...), plays(nan, treated...), Options{}), "play")
	ref.Near(t, "permuted", r.Permuted, 3184./11440, 1e-12, "Efron and Tibshirani 1993, table 2.1")
	if r.Deals != 11440 {
		t.Errorf("%d deals", r.Deals)
	}
}

// Check 10h: five a side of scatter s show a true difference of 2.0244 s with 80 % (noncentral t).
func TestDetectableOfFive(t *testing.T) {
	v := []float64{-2, -1, 0, 1, 2} // s = √2.5
	var shifted []float64
	for _, x := range v {
		shifted = append(shifted, x+0.3)
	}
	r := find(t, Sides(plays(nan, v...), plays(nan, shifted...), Options{}), "play")
	ref.Near(t, "detectable", r.Detectable, 2.0244*math.Sqrt(2.5), 1e-4, "noncentral t, recomputed")
}
