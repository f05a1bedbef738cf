package stats

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"limbgauge/analyze/internal/ref"
)

// Check 1d: the interval of a standard deviation.
func TestQuantiles(t *testing.T) {
	ref.Near(t, "t(5)", T95(5), 2.57058, 1e-5, "table of Student's t")
	ref.Near(t, "t(4)", T95(4), 2.776445, 1e-6, "table of Student's t")
	ref.Near(t, "t(∞)", T95(math.Inf(1)), 1.959964, 1e-6, "normal quantile")
	lo, hi := SDInterval(1, 4, .95)
	ref.Near(t, "s of 5, lower", lo, .599, 1e-3, "chi-square, 4 degrees of freedom")
	ref.Near(t, "s of 5, upper", hi, 2.874, 1e-3, "chi-square, 4 degrees of freedom")
	lo, hi = SDInterval(1, 29, .95)
	ref.Near(t, "s of 30, lower", lo, .796, 1e-3, "chi-square, 29 degrees of freedom")
	ref.Near(t, "s of 30, upper", hi, 1.344, 1e-3, "chi-square, 29 degrees of freedom")
	if !math.IsNaN(T95(0)) || !math.IsNaN((Estimate{Value: 1, U: 1}).Expanded()) {
		t.Error("no degrees of freedom gave an interval")
	}
	ref.Near(t, "MAD", MAD([]float64{1, 1, 2, 2, 4, 6, 9}), 1, 0, "by hand: deviations 1 1 0 0 2 4 7 from 2")
	ref.Near(t, "robust sd", RobustSD([]float64{1, 1, 2, 2, 4, 6, 9}), 1/TQuantile(.75, math.Inf(1)), 3e-5, "MAD over the normal law's upper quartile, 0.67449")
	ref.Near(t, "quantile", Quantile(.25, []float64{1, 2, 3, 4}), 1.75, 1e-12, "Hyndman and Fan, rule 7")
}

// GUM H.3: a thermometer's correction against temperature as a straight line.
// Check 8b.
func TestGUMLine(t *testing.T) {
	temp := []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	b := []float64{-.171, -.169, -.166, -.159, -.164, -.165, -.156, -.157, -.159, -.161, -.160}
	x := make([]float64, len(temp))
	for i, v := range temp {
		x[i] = v - 20
	}
	l, err := FitLine(x, b)
	if err != nil {
		t.Fatal(err)
	}
	const gum = "JCGM 100:2008, H.3"
	ref.Near(t, "intercept", l.Intercept.Value, -.1712, 5e-5, gum)
	ref.Near(t, "its u", l.Intercept.U, .0029, 5e-5, gum)
	ref.Near(t, "slope", l.Slope.Value, .00218, 5e-6, gum)
	ref.Near(t, "its u", l.Slope.U, .00067, 5e-6, gum)
	ref.Near(t, "correlation", l.R, -.930, 5e-4, gum)
	ref.Near(t, "s", l.S, .0035, 5e-5, gum)
	ref.Near(t, "at 30 °C", l.At(10).Value, -.1494, 5e-5, gum)
	ref.Near(t, "its u", l.At(10).U, .0041, 5e-5, gum)
}

// Belt tension over cycles: a prediction with its interval.
// Check 9i.
func TestPrediction(t *testing.T) {
	l, err := FitLine([]float64{0, 100, 200, 300, 400, 500}, []float64{40, 38.5, 37.2, 35.4, 34.1, 32.6})
	if err != nil {
		t.Fatal(err)
	}
	const from = "least squares by hand"
	ref.Near(t, "intercept", l.Intercept.Value, 40.01429, 1e-5, from)
	ref.Near(t, "slope", l.Slope.Value, -.0148571, 1e-7, from)
	ref.Near(t, "its u", l.Slope.U, .000271, 1e-6, from)
	ref.Near(t, "s", l.S, .113389, 1e-6, from)
	ref.Near(t, "at 1000", l.Predict(1000).Value, 25.1571, 1e-4, from)
	ref.Near(t, "its interval", l.Predict(1000).Expanded(), .6589, 1e-4, "t(4) 2.776445")
	c := l.CrossAt(25)
	ref.Near(t, "crosses 25 N", c.X, 1010.58, .01, from)
	ref.Near(t, "for a reading, from", c.Lo, 967.62, .01, "inverse prediction")
	ref.Near(t, "for a reading, to", c.Hi, 1057.45, .01, "inverse prediction")
	ref.Near(t, "for the line, from", c.MeanLo, 972.95, .01, "inverse of the line's band")
	ref.Near(t, "for the line, to", c.MeanHi, 1052.12, .01, "inverse of the line's band")
	ref.Near(t, "beyond", c.Beyond, 510.58/500, 1e-4, "1010.58 - 500 over 500")
	flat, err := FitLine([]float64{0, 1, 2, 3}, []float64{1, 1.1, .9, 1.05})
	if err != nil {
		t.Fatal(err)
	}
	if c := flat.CrossAt(0); c.Unseen == "" || !math.IsNaN(c.X) {
		t.Errorf("no trend, but a crossing at %g", c.X)
	}
}

// Clock of a device against the host's: five heartbeats.
// Check 8e.
func TestClockLine(t *testing.T) {
	l, err := FitLine([]float64{0, 100, 200, 300, 400}, []float64{10.0012, 110.0061, 210.0109, 310.0162, 410.0211})
	if err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "rate", l.Slope.Value, 1.0000499, 1e-7, "least squares by hand")
	ref.Near(t, "its u", l.Slope.U, 4.43e-7, 1e-9, "least squares by hand")
	ref.Near(t, "offset", l.Intercept.Value, 10.00112, 1e-5, "least squares by hand")
}

// Checks 10a, 10b: published comparisons of two means.
func TestWelch(t *testing.T) {
	var x, y []float64
	for i := 1; i <= 20; i++ {
		if i <= 10 {
			x = append(x, float64(i))
		}
		if i >= 7 {
			y = append(y, float64(i))
		}
	}
	const r = "R, examples of t.test"
	w := WelchT(x, y)
	ref.Near(t, "t", w.T, -5.4349, 5e-5, r)
	ref.Near(t, "df", w.Diff.DF, 21.982, 5e-4, r)
	ref.Near(t, "p", w.P, 1.855e-05, 5e-9, r)
	lo, hi := w.Diff.Interval()
	ref.Near(t, "lower", lo, -11.052802, 1e-6, r)
	ref.Near(t, "upper", hi, -4.947198, 1e-6, r)
	s := WelchT([]float64{.7, -1.6, -.2, -1.2, -.1, 3.4, 3.7, .8, 0, 2}, []float64{1.9, .8, 1.1, .1, -.1, 4.4, 5.5, 1.6, 4.6, 3.4})
	ref.Near(t, "sleep t", s.T, -1.8608, 5e-5, r)
	ref.Near(t, "sleep df", s.Diff.DF, 17.776, 5e-4, r)
	ref.Near(t, "sleep p", s.P, .07939, 5e-6, r)

	auto := strings.Split(string(ref.File(t, "nist_handbook/AUTO83B.DAT")), "\n")[25:]
	var us, japan []float64
	for _, line := range auto {
		if n := numbers(line); len(n) == 2 {
			us = append(us, n[0])
			if n[1] != -999 {
				japan = append(japan, n[1])
			}
		}
	}
	const nist = "NIST e-Handbook 1.3.5.3"
	p := PooledT(us, japan)
	ref.Near(t, "pooled t", p.T, -12.62059, 1e-5, nist)
	ref.Near(t, "pooled df", p.Diff.DF, 326, 0, nist)
	ref.Near(t, "Welch t", WelchT(us, japan).T, -12.94627, 1e-5, "recomputed with SciPy")
	ref.Near(t, "Welch df", WelchT(us, japan).Diff.DF, 136.875, 1e-3, "recomputed with SciPy")

	benzene := ref.Rows(t, ref.File(t, "epa_twosample/ex16_2_benzene.csv"))
	g := map[string][]float64{}
	for _, row := range benzene {
		g[row[1]] = append(g[row[1]], ref.Num(t, row[2]))
	}
	var other []float64
	for k, v := range g {
		if k != "Background" {
			other = v
		}
	}
	e := WelchT(other, g["Background"])
	ref.Near(t, "16-2 t", e.T, 1.254938, 1e-6, epa)
	ref.Near(t, "16-2 df", e.Diff.DF, 7.09878, 1e-5, epa)
	ref.Near(t, "16-2 one-sided p", e.P/2, .1246182, 1e-6, epa)
}

// The ideal bootstrap of a mean and a median is known exactly (infinite replicas).
// Check 8f.
func TestBootstrapAgainstIdeal(t *testing.T) {
	mouse := []float64{94, 197, 16, 38, 99, 141, 23}
	n := float64(len(mouse))
	b := CycleBootstrap(len(mouse), 20000, 2, 42, func(pick []int, out []float64) {
		x := make([]float64, len(pick))
		for i, k := range pick {
			x[i] = mouse[k]
		}
		out[0], out[1] = Mean(x), Median(x)
	})
	const from = "Efron and Tibshirani 1993, table 2.2, B = ∞"
	const table = "Efron and Tibshirani 1993, table 2.1"
	ref.Near(t, "se of the treated", MeanOf(mouse).U, 25.235, 1e-3, table)
	control := MeanOf([]float64{52, 104, 146, 10, 51, 30, 40, 27, 46})
	ref.Near(t, "mean of the control", control.Value, 56.222, 1e-3, table)
	ref.Near(t, "its se", control.U, 14.159, 1e-3, table)
	widen := math.Sqrt(n / (n - 1))
	ref.Near(t, "mean", b[0].Value, 86.857, 1e-3, from)
	ref.Near(t, "u of mean", b[0].U/widen, 23.3635, .02*23.36, from)
	ref.Near(t, "u of median", b[1].U/widen, 37.8347, .02*37.83, from)
	ref.Near(t, "widened", b[0].U, SD(mouse)/math.Sqrt(n), .02*25.2, "√(n/(n-1)) turns the ideal bootstrap of a mean into s/√n")
	ref.Near(t, "degrees of freedom", b[0].DF, 6, 0, "n - 1")
	again := CycleBootstrap(len(mouse), 20000, 1, 42, func(pick []int, out []float64) {
		var s float64
		for _, k := range pick {
			s += mouse[k]
		}
		out[0] = s / n
	})
	ref.Near(t, "same seed", again[0].U, b[0].U, 1e-9, "the seed decides")
}

// The interval of a mean of five noisy cycles holds the truth about 19 times in 20.
func TestBootstrapCoverage(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 11))
	const runs = 400
	inside := 0
	for i := range runs {
		x := make([]float64, 5)
		for j := range x {
			x[j] = 3 + rng.NormFloat64()
		}
		b := BootstrapOne(len(x), 300, uint64(i), func(pick []int) float64 {
			var s float64
			for _, k := range pick {
				s += x[k]
			}
			return s / 5
		})
		if !b.Excludes(3) {
			inside++
		}
	}
	ref.Near(t, "coverage", float64(inside)/runs, .95, .035, "nominal 95 %")
}

func TestWhatCannotBeSeen(t *testing.T) {
	b := BootstrapOne(3, 100, 1, func(pick []int) float64 { return 1 })
	if b.Value != 1 || !math.IsNaN(b.U) || b.Why == "" {
		t.Errorf("three cycles: %+v, want a value without an uncertainty and a reason", b)
	}
	b = BootstrapOne(5, 100, 1, func(pick []int) float64 { return math.NaN() })
	if b.Seen() {
		t.Errorf("a figure that is not there: %+v", b)
	}
	b = BootstrapOne(5, 1000, 1, func(pick []int) float64 {
		if pick[0] == 4 { // one resample in five
			return math.NaN()
		}
		return float64(pick[1])
	})
	if b.Value != 1 || !math.IsNaN(b.U) || b.Why == "" {
		t.Errorf("a fifth of the resamples without a figure: %+v, want a value without an uncertainty and a reason", b)
	}
	if e := Sum([]float64{1, 1}, Estimate{Value: 1, U: .1, DF: 3}, Unseen("no load")); e.Seen() || e.Unseen != "no load" {
		t.Errorf("a sum with an unseen term: %+v", e)
	}
	if e := MeanOf([]float64{2}); e.Value != 2 || !math.IsNaN(e.Expanded()) || e.Excludes(100) {
		t.Errorf("one reading: %+v, want no interval", e)
	}
	if _, err := OLS([][]float64{{1, 1, 1}, {2, 2, 2}}, []float64{1, 2, 3}); !errors.Is(err, ErrSingular) {
		t.Errorf("dependent columns: %v", err)
	}
	if _, err := OLS([][]float64{{1}, {2}}, []float64{1}); !errors.Is(err, ErrTooFew) {
		t.Errorf("one reading for two coefficients: %v", err)
	}
	if _, err := FitLine([]float64{1, 1}, []float64{1, 2}); !errors.Is(err, ErrSingular) {
		t.Errorf("a line at one x: %v", err)
	}
	if _, err := FitCurve(3, []float64{1}, func(p, r []float64) { r[0] = math.NaN() }); !errors.Is(err, ErrNoMinimum) {
		t.Errorf("a curve without values: %v", err)
	}
}

// The effective degrees of freedom of a type A and a type B term (JCGM 100:2008, G.4.2 note).
func TestWelchSatterthwaite(t *testing.T) {
	ref.Near(t, "equal terms", WelchSatterthwaite([]float64{1, 1}, []float64{4, 4}), 8, 1e-12, "(1+1)²/(1/4 + 1/4)")
	ref.Near(t, "known term", WelchSatterthwaite([]float64{1, 1}, []float64{4, math.Inf(1)}), 16, 1e-12, "2²/(1/4)")
	e := Sum([]float64{1, -1}, Estimate{Value: 3, U: .3, DF: 4}, Estimate{Value: 1, U: .4, DF: 9})
	ref.Near(t, "value", e.Value, 2, 1e-12, "3 - 1")
	ref.Near(t, "u", e.U, .5, 1e-12, "√(0.3² + 0.4²)")
	ref.Near(t, "df", e.DF, .0625/(.0081/4+.0256/9), 1e-9, "JCGM 100:2008, G.2b")
	twice := Sum([]float64{-2, 1}, Estimate{Value: 3, U: .3, DF: 4}, Estimate{Value: 1, U: .8, DF: 9})
	ref.Near(t, "value of -2a + b", twice.Value, -5, 1e-12, "-6 + 1")
	ref.Near(t, "u of -2a + b", twice.U, 1, 1e-12, "√(0.6² + 0.8²)")
}

// Play and compliance from eight loads; the errors are orthogonal to all three columns, so the fit
// is exact and the residual sum known.
// Check 2d.
func TestOLSOfALoop(t *testing.T) {
	d := []float64{.01, -.01, .01, -.01, -.01, .01, -.01, .01}
	var one, sgnT, tq, w []float64
	for i, v := range []float64{-.8, -.6, -.4, -.2, .2, .4, .6, .8} {
		s := math.Copysign(1, v)
		one, sgnT, tq = append(one, 1), append(sgnT, s), append(tq, v)
		w = append(w, .05+.3*s+2*v+d[i])
	}
	f, err := OLS([][]float64{one, sgnT, tq}, w)
	if err != nil {
		t.Fatal(err)
	}
	const from = "orthogonal errors, by hand"
	for j, want := range []float64{.05, .3, 2} {
		ref.Near(t, "coefficient", f.Coef[j], want, 1e-12, from)
	}
	ref.Near(t, "s", f.S, .012649, 1e-6, from)
	for j, want := range []float64{.004472, .010954, .02} {
		ref.Near(t, "se", f.Estimate(j).U, want, 1e-6, from)
	}
	play := f.Estimate(1).Scale(2)
	lo, hi := play.Interval()
	ref.Near(t, "play, lower", lo, .5437, 1e-4, "0.6 - t(5)·2·0.010954")
	ref.Near(t, "play, upper", hi, .6563, 1e-4, "0.6 + t(5)·2·0.010954")
	// Weights that count a reading twice are the reading written twice.
	w2, err := WLS([][]float64{one, sgnT, tq}, w, []float64{2, 1, 1, 1, 1, 1, 1, 1})
	if err != nil {
		t.Fatal(err)
	}
	dup := func(x []float64) []float64 { return append([]float64{x[0]}, x...) }
	f2, err := OLS([][]float64{dup(one), dup(sgnT), dup(tq)}, dup(w))
	if err != nil {
		t.Fatal(err)
	}
	for j := range f2.Coef {
		ref.Near(t, "weighted", w2.Coef[j], f2.Coef[j], 1e-12, "a weight of two is two readings")
	}
	F, p := FTest(10, 2, 5, 3, 13)
	ref.Near(t, "F", F, 10, 1e-12, "((10-5)/1)/(5/10)")
	ref.Near(t, "p", p, TwoSidedP(math.Sqrt(10), 10), 1e-9, "F(1, ν) is t(ν)²")
}

// Where one term has all the uncertainty its degrees of freedom hold, to the last digit: one less than 1
// would have no t law.
func TestSatterthwaiteOfOneTerm(t *testing.T) {
	for i := range 1000 {
		u := math.Sqrt(float64(i+1)) * 1e-8
		if df := WelchSatterthwaite([]float64{u, 0}, []float64{1, 7}); df < 1 || df > 1+1e-12 {
			t.Fatalf("u %g: %v degrees of freedom, want 1", u, df)
		}
	}
}
