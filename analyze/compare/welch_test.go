package compare

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"limbgauge/analyze/health"
	"limbgauge/analyze/internal/ref"
	"limbgauge/analyze/stats"
)

// The runs give no uncertainty of their own, so what is left is Welch's interval.
func TestWelchPublished(t *testing.T) {
	const r = "R, examples of t.test"
	var x, y []float64
	for v := 1.0; v <= 20; v++ {
		if v <= 10 {
			x = append(x, v)
		}
		if v >= 7 {
			y = append(y, v)
		}
	}
	var us, japan []float64
	for _, line := range strings.Split(string(ref.File(t, "nist_handbook/AUTO83B.DAT")), "\n")[25:] {
		if f := strings.Fields(line); len(f) == 2 {
			us = append(us, ref.Num(t, f[0]))
			if f[1] != "-999" {
				japan = append(japan, ref.Num(t, f[1]))
			}
		}
	}
	var ground, well []float64
	for _, row := range ref.Rows(t, ref.File(t, "epa_twosample/ex16_2_benzene.csv")) {
		if row[1] == "Background" {
			ground = append(ground, ref.Num(t, row[2]))
		} else {
			well = append(well, ref.Num(t, row[2]))
		}
	}
	// Where a source prints t and df instead of the interval, the half width is t(0.975, df)·diff/t.
	half := func(diff, tv, df float64) float64 { return stats.T95(df) * math.Abs(diff/tv) }
	for _, c := range []struct {
		name       string
		a, b       []float64
		diff, u    float64 // second less first
		tol        float64
		verdict    Verdict
		source     string
		diffSource string
	}{
		{"1..10 against 7..20", x, y, 8, (11.052802 - 4.947198) / 2, 1e-6, Worse, r, r},
		{"sleep", []float64{.7, -1.6, -.2, -1.2, -.1, 3.4, 3.7, .8, 0, 2}, []float64{1.9, .8, 1.1, .1, -.1, 4.4, 5.5, 1.6, 4.6, 3.4},
			1.58, (3.3654832 + .2054832) / 2, 1e-6, Cannot, r, r},
		{"benzene", ground, well, 31.1625 - 3.0125, half(28.15, 1.254938, 7.09878), 1e-3, Cannot,
			"EPA 530/R-09-007, example 16-2", "EPA 530/R-09-007, example 16-2"},
		{"miles per gallon", us, japan, 30.48101 - 20.14458, half(30.48101-20.14458, 12.94627, 136.875), 1e-4, Worse,
			"recomputed with SciPy", "NIST e-Handbook 1.3.5.3"},
	} {
		t.Run(c.name, func(t *testing.T) {
			row := find(t, Sides(plays(nan, c.a...), plays(nan, c.b...), Options{All: true}), "play")
			ref.Near(t, "difference", row.Diff, c.diff, 2e-5, c.diffSource)
			ref.Near(t, "half width", row.U, c.u, c.tol, c.source)
			if row.Verdict != c.verdict || row.NA != len(c.a) || row.NB != len(c.b) {
				t.Errorf("%s of %d and %d units, want %s of %d and %d", row.Verdict, row.NA, row.NB, c.verdict, len(c.a), len(c.b))
			}
			if back := find(t, Sides(plays(nan, c.b...), plays(nan, c.a...), Options{All: true}), "play"); math.Abs(back.Diff+row.Diff) > 1e-9 || math.Abs(back.U-row.U) > 1e-9 {
				t.Errorf("turned round: %g ± %g, want %g ± %g", back.Diff, back.U, -row.Diff, row.U)
			}
		})
	}
}

// Repeats of one assembly are no new assemblies. Taken as units, the means of 1 2 3 / 4 5 / 9 and
// 11 13 / 14 are 2 4.5 9 and 12 14, whose Welch interval is worked by hand: s² = 12.58333 and 2,
// u² = 12.58333/3 + 2/2, and df = u⁴/((12.58333/3)²/2 + (2/2)²/1) = 2.75 is more than the 2(2 - 1) that two
// assemblies can back.
func TestAssembliesAreTheUnit(t *testing.T) {
	tagged := func(tag string, values ...float64) (out []Run) {
		for i, v := range values {
			out = append(out, one(fmt.Sprintf("%s %d", tag, i), tag, play(v, nan)))
		}
		return out
	}
	a := append(append(tagged("first", 1, 2, 3), tagged("second", 4, 5)...), tagged("third", 9)...)
	b := append(tagged("fourth", 11, 13), tagged("fifth", 14)...)
	va, vb := (4.0+4.5*4.5+81-3*(15.5/3)*(15.5/3))/2/3, 2.0/2
	u2 := va + vb
	df := math.Min(2, u2*u2/(va*va/2+vb*vb))
	row := find(t, Sides(a, b, Options{All: true}), "play")
	ref.Near(t, "difference", row.Diff, 13-15.5/3, 1e-12, "by hand")
	ref.Near(t, "half width", row.U, stats.T95(df)*math.Sqrt(u2), 1e-9, "by hand")
	if row.NA != 3 || row.NB != 2 {
		t.Errorf("%d and %d units, want 3 and 2", row.NA, row.NB)
	}
	if strings.Contains(row.Why, "re-assembly") {
		t.Errorf("several assemblies a side, yet %q", row.Why)
	}
}

// One assembly taken ten times is one assembly: the interval must not shrink with the repeats.
func TestRepeatsOfOneAssemblyAreOne(t *testing.T) {
	many := func(v float64) (out []Run) {
		for i := range 10 {
			out = append(out, one(fmt.Sprint(i), "only", play(v, 0.04)))
		}
		return out
	}
	row := find(t, Sides(many(0.60), many(0.58), Options{All: true}), "play")
	ref.Near(t, "half width", row.U, 0.04*math.Sqrt2, 1e-12, "JCGM 100:2008, 5.1.2")
	if row.NA != 1 || row.NB != 1 || row.Verdict != Cannot || !strings.Contains(row.Why, "re-assembly") {
		t.Errorf("%+v", row)
	}
}

// One run a side: the runs' own uncertainties in quadrature.
func TestOneRunASide(t *testing.T) {
	res := Sides(plays(0.3, 2), plays(0.4, 1.4), Options{All: true})
	row := find(t, res, "play")
	ref.Near(t, "difference", row.Diff, -0.6, 1e-12, "arithmetic")
	ref.Near(t, "half width", row.U, 0.5, 1e-12, "JCGM 100:2008, 5.1.2")
	if row.Verdict != Cannot || !math.IsNaN(row.P) || !strings.Contains(row.Why, "re-assembly") || !strings.Contains(res.Sentence, "re-assembly") {
		t.Errorf("%+v, %q", row, res.Sentence)
	}
}

// Of normal samples with unlike scatter, 95 of 100 intervals hold the true difference: what an
// interval is for (binomial law: 3000 draws scatter by 0.4 points).
func TestIntervalHolds(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	const draws, truth = 3000, 0.7
	hit := 0
	for range draws {
		a, b := make([]float64, 5), make([]float64, 8)
		for i := range a {
			a[i] = 5 + rng.NormFloat64()
		}
		for i := range b {
			b[i] = 5 + truth + 3*rng.NormFloat64()
		}
		row := find(t, Sides(plays(nan, a...), plays(nan, b...), Options{All: true}), "play")
		if math.Abs(row.Diff-truth) <= row.U {
			hit++
		}
	}
	if share := float64(hit) / draws; share < 0.935 || share > 0.965 {
		t.Errorf("%.3f of the intervals hold the truth, want 0.95", share)
	}
}

// Runs that agree better than each is sure of itself do not prove more than they can see.
func TestOwnUncertaintyIsTheFloor(t *testing.T) {
	row := find(t, Sides(plays(0.08, 0.50, 0.50, 0.50, 0.50), plays(0.06, 0.53, 0.53, 0.53, 0.53), Options{All: true}), "play")
	ref.Near(t, "half width", row.U, 0.05, 1e-12, "0.08 and 0.06 in quadrature over the root of 4")
	if row.Verdict != Same || !row.ByDoubt {
		t.Errorf("verdict %s, by doubt %v", row.Verdict, row.ByDoubt)
	}
	row = find(t, Sides(plays(nan, 0.5, 0.5), plays(nan, 0.6, 0.6), Options{All: true}), "play")
	if row.Verdict != Cannot || !strings.Contains(row.Why, "read the same") {
		t.Errorf("no scatter and no uncertainty proves nothing: %+v", row)
	}
	// Nor does what averaging rounds: 0.6 three times over is not 0.6 to the last digit.
	tagged := func(v float64) (out []Run) {
		for i := range 7 {
			out = append(out, one(fmt.Sprint(i), []string{"p", "q"}[min(i/3, 1)], play(v, nan)))
		}
		return out
	}
	row = find(t, Sides(tagged(0.6), tagged(0.7), Options{All: true}), "play")
	if row.Verdict != Cannot || !strings.Contains(row.Why, "read the same") {
		t.Errorf("scatter of rounding alone proves nothing: %+v", row)
	}
	row = find(t, Sides(plays(nan, 0.5), plays(0.01, 0.6), Options{All: true}), "play")
	if row.Verdict != Cannot || !strings.HasPrefix(row.Why, noDoubt1) {
		t.Errorf("%+v", row)
	}
	if m := row.A; m.Status != health.Measured || !math.IsNaN(m.Uncertainty) {
		t.Errorf("first side %+v", m)
	}
}
