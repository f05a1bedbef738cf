package stats

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"limbgauge/analyze/internal/ref"
)

// Check 10c: permeability of membranes (Hollander and Wolfe, Nonparametric Statistical Methods,
// example 4.1); the interval and its coverage by counting.
func TestRankSumPublished(t *testing.T) {
	x := []float64{.80, .83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, .73, 1.46}
	y := []float64{1.15, .88, .90, .74, 1.21}
	r, err := RankSumTest(x, y)
	if err != nil {
		t.Fatal(err)
	}
	const from = "Hollander and Wolfe, example 4.1"
	ref.Near(t, "U", r.U, 35, 0, from)
	ref.Near(t, "exact one-sided p", r.Upper, .127206, 1e-6, from)
	ref.Near(t, "normal one-sided p", normalTail(r.Z), .110336, 1e-6, from)
	s := HodgesLehmann(x, y)
	ref.Near(t, "shift", s.Value, .305, 1e-9, from)
	ref.Near(t, "lower", s.Lo, -.15, 1e-9, from)
	ref.Near(t, "upper", s.Hi, .76, 1e-9, from)
	ref.Near(t, "coverage", s.Coverage, .9600, 5e-5, from)
	if s := HodgesLehmann(x[:2], y[:2]); !math.IsNaN(s.Lo) {
		t.Errorf("two against two gave %g..%g, want no interval", s.Lo, s.Hi)
	}
	if _, err := RankSumTest([]float64{1, 1}, []float64{1, 1}); !errors.Is(err, ErrTooFew) {
		t.Errorf("readings all alike: %v", err)
	}
}

// Check 10b, rank sum: copper in two background wells and one downstream, with ties.
func TestRankSumEPA(t *testing.T) {
	var ground, well []float64
	for _, row := range ref.Rows(t, ref.File(t, "epa_twosample/ex16_4_copper.csv")) {
		if v := ref.Num(t, row[3]); row[2] == "Background" {
			ground = append(ground, v)
		} else {
			well = append(well, v)
		}
	}
	r, err := RankSumTest(well, ground)
	if err != nil {
		t.Fatal(err)
	}
	n := float64(len(well))
	ref.Near(t, "16-4 rank sum", r.U+n*(n+1)/2, 84.5, 0, epa)
	ref.Near(t, "16-4 p", r.Upper, .005659303, 1e-9, epa)
	if r.Exact {
		t.Error("the exact law was used in spite of ties")
	}
}

// Check 10d: heights of crossed and self-fertilised plants (Fisher, The Design of Experiments, 1935,
// section 21). Check 10e: the mouse data of Efron and Tibshirani, every deal of 16 labels.
func TestPermutationsCounted(t *testing.T) {
	darwin := []float64{49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48}
	f, err := SignFlipTest(darwin, 0, 0)
	if err != nil {
		t.Fatal(err)
	}
	if f.Value != 314 || f.Of != 32768 || f.Upper != 863 || f.Beyond != 1726 || !f.Exact {
		t.Errorf("%+v, want 863 and 1726 of 32768 (Fisher 1935, section 21)", f)
	}
	m := MeanOf(darwin)
	ref.Near(t, "paired t", m.Value/m.U, 2.14799, 1e-5, "Fisher 1935, section 17")
	ref.Near(t, "its p", TwoSidedP(m.Value/m.U, m.DF), .0497, 5e-5, "Fisher 1935, section 17")
	treated := []float64{94, 197, 16, 38, 99, 141, 23}
	control := []float64{52, 104, 146, 10, 51, 30, 40, 27, 46}
	p, err := PermutationTest(treated, control, 0, 0)
	if err != nil {
		t.Fatal(err)
	}
	const from = "Efron and Tibshirani 1993, table 2.1, every deal"
	ref.Near(t, "difference", p.Value, 30.6349, 1e-4, from)
	if p.Of != 11440 || p.Upper != 1613 || p.Beyond != 3184 || !p.Exact {
		t.Errorf("%+v, want 1613 and 3184 of 11440 (%s)", p, from)
	}
	five, err := PermutationTest([]float64{6, 7, 8, 9, 10}, []float64{1, 2, 3, 4, 5}, 0, 0)
	if err != nil || five.Of != 252 || five.Beyond != 2 {
		t.Errorf("five against five apart: %+v, %v; want 2 of 252", five, err)
	}
	if _, err := PermutationTest(nil, control, 0, 0); !errors.Is(err, ErrTooFew) {
		t.Errorf("no readings: %v", err)
	}
	if _, err := SignFlipTest(nil, 0, 0); !errors.Is(err, ErrTooFew) {
		t.Errorf("no differences: %v", err)
	}
}

// Where there are too many deals, those drawn come to the same share.
func TestPermutationsDrawn(t *testing.T) {
	var x, y, d []float64
	for i := range 20 {
		v := math.Mod(float64(i)*.618, 1)
		x, y, d = append(x, v+.2), append(y, math.Mod(float64(i)*.414, 1)), append(d, v-.35)
	}
	p, err := PermutationTest(x, y, 20000, 1)
	if err != nil {
		t.Fatal(err)
	}
	// The permutation law of a mean is near Student's for readings without outliers.
	ref.Near(t, "permutation p", p.P, PooledT(x, y).P, .008, "pooled t of the same readings")
	f, err := SignFlipTest(d, 20000, 1)
	if err != nil {
		t.Fatal(err)
	}
	m := MeanOf(d)
	ref.Near(t, "sign flip p", f.P, TwoSidedP(m.Value/m.U, m.DF), .008, "paired t of the same readings")
	if p.Exact || f.Exact || p.Of != 20001 || f.Of != 20001 {
		t.Errorf("%+v, %+v; want 20001 arrangements, not all", p, f)
	}
}

// Check 10f: two groups by their summaries (documentation of the R package TOSTER).
func TestEquivalencePublished(t *testing.T) {
	margin := .43 * math.Sqrt((.95*.95+.83*.83)/2)
	d := Sum([]float64{1, -1}, Estimate{Value: 5.25, U: .95 / math.Sqrt(95), DF: 94}, Estimate{Value: 5.22, U: .83 / math.Sqrt(89), DF: 88})
	const from = "TOSTER documentation"
	ref.Near(t, "margin", margin, .383569, 1e-6, from)
	e := Equivalent(d, margin)
	ref.Near(t, "t above", e.TLow, 3.1497, 1e-4, from)
	ref.Near(t, "t below", e.THigh, -2.6928, 1e-4, from)
	ref.Near(t, "df", d.DF, 181.13, 5e-3, from)
	ref.Near(t, "p", e.P, .003876, 1e-6, from)
	h := TQuantile(.95, d.DF) * d.U
	ref.Near(t, "90 % interval, lower", d.Value-h, -.1871, 5e-5, from)
	ref.Near(t, "90 % interval, upper", d.Value+h, .2471, 5e-5, from)
	if p := Equivalent(d, .01).P; !(p > .5) {
		t.Errorf("a difference beyond the margin is equivalent with p %g", p)
	}
}

// Check 10g: Holm's adjustment of four probabilities (textbook example).
func TestHolm(t *testing.T) {
	for i, want := range []float64{.03, .06, .06, .02} {
		ref.Near(t, "adjusted", Holm([]float64{.01, .04, .03, .005})[i], want, 1e-12, "3·0.01, 2·0.03, not below its neighbour, 4·0.005")
	}
}

// Check 10h: what n readings a side can show, from the noncentral t law.
func TestDetectableDifference(t *testing.T) {
	const from = "noncentral t law"
	for _, row := range []struct{ n, want, normal float64 }{{5, 2.0244, 1.7719}, {10, 1.3249, 1.2529}, {20, .9091, .8859}, {63.77, .5, .49615}} {
		ref.Near(t, fmt.Sprintf("of %g", row.n), DetectableDifference(row.n, .8), row.want, 5e-5, from)
		ref.Near(t, fmt.Sprintf("normal law, %g", row.n), (TQuantile(.975, math.Inf(1))+TQuantile(.8, math.Inf(1)))*math.Sqrt(2/row.n), row.normal, 5e-5, "(z + z)·√(2/n)")
	}
	if !math.IsNaN(DetectableDifference(1, .8)) || !math.IsNaN(DetectableDifference(5, 1)) {
		t.Error("one reading a side, or certainty, has a detectable difference")
	}
}

func TestGroupsAgainstSciPy(t *testing.T) {
	type counts struct{ Of, Upper, Beyond int }
	type tTested struct{ T, P, DF, Lo, Hi float64 }
	var oracle struct {
		Pairs []struct {
			X, Y          []float64
			Welch, Pooled tTested
			Tost          struct {
				Margin, P float64
				Low       float64 `json:"t_low"`
				High      float64 `json:"t_high"`
			}
			RankSum struct {
				U, P, Upper float64
				Exact       bool
			} `json:"rank_sum"`
			Permutation *counts
		}
		Flips []struct {
			D []float64
			counts
		}
		Anova []struct {
			Groups [][]float64
			F, P   float64
		}
		Holm     []struct{ P, Adjusted []float64 }
		Power    []struct{ N, Power, D float64 }
		Describe struct {
			X                           []float64
			Mean, SD, Median, MAD, Lag1 float64
			Quantiles                   []struct{ P, Q float64 }
		}
	}
	ref.JSON(t, "oracle/groups.json", &oracle)
	if len(oracle.Pairs) != 6 || len(oracle.Flips) != 3 || len(oracle.Anova) != 2 || len(oracle.Holm) != 3 || len(oracle.Power) != 15 {
		t.Fatal("rows are missing")
	}
	const from, tol = "groups.py", 1e-8
	same := func(name string, got Shuffled, want counts) {
		if (counts{got.Of, got.Upper, got.Beyond}) != want {
			t.Errorf("%s: %+v, want %+v (testdata/oracle/%s)", name, got, want, from)
		}
	}
	for _, c := range oracle.Pairs {
		for _, k := range []struct {
			name string
			got  TTest
			want tTested
		}{{"Welch", WelchT(c.X, c.Y), c.Welch}, {"pooled", PooledT(c.X, c.Y), c.Pooled}} {
			lo, hi := k.got.Diff.Interval()
			closeTo(t, k.name+" t", k.got.T, k.want.T, tol, from)
			closeTo(t, k.name+" p", k.got.P, k.want.P, tol, from)
			closeTo(t, k.name+" df", k.got.Diff.DF, k.want.DF, tol, from)
			ref.Near(t, k.name+" lower", lo, k.want.Lo, tol, from)
			ref.Near(t, k.name+" upper", hi, k.want.Hi, tol, from)
		}
		e := Equivalent(WelchT(c.X, c.Y).Diff, c.Tost.Margin)
		closeTo(t, "t above -margin", e.TLow, c.Tost.Low, tol, from)
		closeTo(t, "t below margin", e.THigh, c.Tost.High, tol, from)
		closeTo(t, "equivalence p", e.P, c.Tost.P, tol, from)
		r, err := RankSumTest(c.X, c.Y)
		if err != nil {
			t.Fatal(err)
		}
		closeTo(t, "U", r.U, c.RankSum.U, tol, from)
		closeTo(t, "rank sum p", r.P, c.RankSum.P, tol, from)
		closeTo(t, "rank sum upper p", r.Upper, c.RankSum.Upper, tol, from)
		if r.Exact != c.RankSum.Exact {
			t.Errorf("exact %v, want %v", r.Exact, c.RankSum.Exact)
		}
		if c.Permutation != nil {
			p, err := PermutationTest(c.X, c.Y, 0, 0)
			if err != nil {
				t.Fatal(err)
			}
			same("permutation", p, *c.Permutation)
		}
	}
	for _, c := range oracle.Flips {
		f, err := SignFlipTest(c.D, 0, 0)
		if err != nil {
			t.Fatal(err)
		}
		same("sign flips", f, c.counts)
	}
	for _, c := range oracle.Anova {
		a, err := OneWay(c.Groups)
		if err != nil {
			t.Fatal(err)
		}
		closeTo(t, "F", a.F, c.F, tol, from)
		closeTo(t, "its p", a.P, c.P, tol, from)
	}
	for _, c := range oracle.Holm {
		for i, p := range Holm(c.P) {
			closeTo(t, "Holm", p, c.Adjusted[i], 1e-12, from)
		}
	}
	for _, c := range oracle.Power {
		closeTo(t, fmt.Sprintf("detectable by %g at %g", c.N, c.Power), DetectableDifference(c.N, c.Power), c.D, 1e-6, from)
	}
	d := oracle.Describe
	closeTo(t, "mean", Mean(d.X), d.Mean, 1e-12, from)
	closeTo(t, "sd", SD(d.X), d.SD, 1e-12, from)
	closeTo(t, "median", Median(d.X), d.Median, 0, from)
	closeTo(t, "MAD", MAD(d.X), d.MAD, 1e-12, from)
	closeTo(t, "lag 1", Lag1(d.X), d.Lag1, 1e-12, from)
	for _, q := range d.Quantiles {
		closeTo(t, fmt.Sprintf("quantile %g", q.P), Quantile(q.P, Sorted(d.X)), q.Q, 1e-12, from)
	}
}
