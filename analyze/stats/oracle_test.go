package stats

import (
	"fmt"
	"math"
	"testing"

	"limbgauge/analyze/internal/ref"
)

// The figures here come from the scripts beside the results in testdata/oracle; testdata/oracle/check.py
// runs them again.

// closeTo holds got to a relative tolerance of a figure of an oracle.
func closeTo(t *testing.T, name string, got, want, rel float64, script string) {
	t.Helper()
	ref.Near(t, name, got, want, rel*math.Abs(want), "testdata/oracle/"+script)
}

func TestLeastSquaresAgainstStatsmodels(t *testing.T) {
	var oracle struct {
		Linear []struct {
			Name     string
			Columns  [][]float64
			Y, W     []float64
			Coef, SE []float64
			Cov      [][]float64
			S        float64
			RSS, DF  float64
			Resid    []float64
			Row      []float64
			Height   float64
			HeightSE float64 `json:"height_se"`
		}
		Nested struct {
			Small, Great, N int
			RSSSmall        float64 `json:"rss_small"`
			RSSGreat        float64 `json:"rss_great"`
			F, P            float64
			BIC             float64 `json:"bic_great_less_small"`
		}
	}
	ref.JSON(t, "oracle/fits.json", &oracle)
	if len(oracle.Linear) != 4 {
		t.Fatalf("%d fits", len(oracle.Linear))
	}
	const from, tol = "fits.py", 1e-9
	for _, c := range oracle.Linear {
		w := c.W
		if len(w) == 0 {
			w = nil
		}
		f, err := WLS(c.Columns, c.Y, w)
		if err != nil {
			t.Fatal(err)
		}
		closeTo(t, c.Name+" s", f.S, c.S, tol, from)
		closeTo(t, c.Name+" RSS", f.RSS, c.RSS, tol, from)
		closeTo(t, c.Name+" df", f.DF, c.DF, 0, from)
		for i := range c.Coef {
			closeTo(t, c.Name+" coefficient", f.Coef[i], c.Coef[i], tol, from)
			closeTo(t, c.Name+" se", f.Estimate(i).U, c.SE[i], tol, from)
			for j := range c.Coef {
				ref.Near(t, c.Name+" covariance", f.Cov[i][j], c.Cov[i][j], tol*c.SE[i]*c.SE[j], from)
			}
		}
		for i := range c.Y {
			ref.Near(t, c.Name+" residual", f.Resid[i], c.Resid[i], tol*c.S, from)
		}
		closeTo(t, c.Name+" height", f.At(c.Row).Value, c.Height, tol, from)
		closeTo(t, c.Name+" its u", f.At(c.Row).U, c.HeightSE, tol, from)
	}
	n := oracle.Nested
	f, p := FTest(n.RSSSmall, n.Small, n.RSSGreat, n.Great, n.N)
	closeTo(t, "F", f, n.F, tol, from)
	closeTo(t, "its p", p, n.P, 1e-8, from)
	closeTo(t, "BIC", BIC(n.RSSGreat, n.N, n.Great)-BIC(n.RSSSmall, n.N, n.Small), n.BIC, tol, from)
	line, err := OLS(oracle.Linear[2].Columns, oracle.Linear[2].Y)
	if err != nil {
		t.Fatal(err)
	}
	loop, err := OLS(oracle.Linear[3].Columns, oracle.Linear[3].Y)
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "BIC of the fits", loop.BIC()-line.BIC(), n.BIC, tol, from)
}

func TestLinesAgainstSciPy(t *testing.T) {
	var oracle struct {
		Lines []struct {
			X, Y        []float64
			Slope       float64
			SlopeSE     float64 `json:"slope_se"`
			P, S        float64
			Centred     float64 `json:"centred_intercept"`
			At, Height  float64
			MeanHalf    float64 `json:"mean_half"`
			ReadingHalf float64 `json:"reading_half"`
		}
	}
	ref.JSON(t, "oracle/fits.json", &oracle)
	if len(oracle.Lines) != 3 {
		t.Fatalf("%d lines", len(oracle.Lines))
	}
	for i, c := range oracle.Lines {
		l, err := FitLine(c.X, c.Y)
		if err != nil {
			t.Fatal(err)
		}
		// A line 1e6 off its zero costs the oracle digits, not us.
		tol := []float64{1e-9, 1e-9, 1e-8}[i]
		const from = "fits.py"
		closeTo(t, "slope", l.Slope.Value, c.Slope, tol, from)
		closeTo(t, "its u", l.Slope.U, c.SlopeSE, tol, from)
		closeTo(t, "its p", TwoSidedP(l.Slope.Value/l.Slope.U, l.DF), c.P, 1e-7, from)
		closeTo(t, "height at the middle", l.At(Mean(c.X)).Value, c.Centred, tol, from)
		closeTo(t, "s", l.S, c.S, tol, from)
		closeTo(t, "height ahead", l.At(c.At).Value, c.Height, tol, from)
		closeTo(t, "its interval", l.At(c.At).Expanded(), c.MeanHalf, tol, from)
		closeTo(t, "interval of a reading", l.Predict(c.At).Expanded(), c.ReadingHalf, tol, from)
	}
}

func TestCurvesAgainstSciPy(t *testing.T) {
	var oracle struct {
		Curves []struct {
			Name            string
			X, Y            []float64
			Start, Coef, SE []float64
			RSS             float64
		}
	}
	ref.JSON(t, "oracle/fits.json", &oracle)
	models := map[string]func(p []float64, x float64) float64{
		"ring-down": func(p []float64, x float64) float64 {
			return p[4] + p[0]*math.Exp(-2*math.Pi*p[1]*p[2]*x)*math.Cos(2*math.Pi*p[1]*x+p[3])
		},
		"stribeck": func(p []float64, x float64) float64 {
			return p[0] + (p[1]-p[0])*math.Exp(-sq(x/p[2])) + p[3]*x
		},
		"creep": func(p []float64, x float64) float64 { return p[0] + p[1]*math.Pow(x, p[2]) },
	}
	if len(oracle.Curves) != len(models) {
		t.Fatalf("%d curves", len(oracle.Curves))
	}
	for _, c := range oracle.Curves {
		f, err := FitCurve(len(c.Y), c.Start, func(p, r []float64) {
			for i := range r {
				r[i] = models[c.Name](p, c.X[i]) - c.Y[i]
			}
		})
		if err != nil {
			t.Fatal(err)
		}
		const from = "fits.py"
		closeTo(t, c.Name+" RSS", f.RSS, c.RSS, 1e-9, from)
		for j := range c.Coef {
			// SciPy stops where the sum of squares no longer falls: half the digits.
			ref.Near(t, fmt.Sprintf("%s parameter %d", c.Name, j), f.Coef[j], c.Coef[j], 1e-5*c.SE[j], from)
			closeTo(t, c.Name+" se", f.Estimate(j).U, c.SE[j], 1e-4, from)
		}
	}
}

func TestQuantilesAgainstSciPy(t *testing.T) {
	var oracle struct {
		Student, Tails []struct{ DF, P, T float64 }
		StudentTails   []struct{ DF, P, T float64 } `json:"student_tails"`
		Normal         []struct{ P, Z float64 }
		SD             []struct{ DF, Level, Lo, Hi float64 } `json:"sd_interval"`
		F              []struct{ D1, D2, F, P float64 }      `json:"f_tails"`
	}
	ref.JSON(t, "oracle/quantiles.json", &oracle)
	if len(oracle.Student) != 104 || len(oracle.StudentTails) != 91 || len(oracle.Normal) != 11 || len(oracle.SD) != 52 || len(oracle.F) != 36 {
		t.Fatal("rows are missing")
	}
	const from, tol = "quantiles.py", 1e-9
	for _, c := range oracle.Student {
		closeTo(t, fmt.Sprintf("t(%g, %g)", c.P, c.DF), TQuantile(c.P, c.DF), c.T, tol, from)
	}
	for _, c := range oracle.StudentTails {
		closeTo(t, fmt.Sprintf("p of t %g, %g", c.T, c.DF), TwoSidedP(-c.T, c.DF), c.P, tol, from)
	}
	for _, c := range oracle.Normal {
		closeTo(t, fmt.Sprintf("z(%g)", c.P), TQuantile(c.P, math.Inf(1)), c.Z, tol, from)
	}
	for _, c := range oracle.SD {
		lo, hi := SDInterval(1, c.DF, c.Level)
		closeTo(t, fmt.Sprintf("lower s(%g, %g)", c.Level, c.DF), lo, c.Lo, tol, from)
		closeTo(t, fmt.Sprintf("upper s(%g, %g)", c.Level, c.DF), hi, c.Hi, tol, from)
	}
	for _, c := range oracle.F {
		f, p := FTest(1+c.D1*c.F/c.D2, 1, 1, 1+int(c.D1), 1+int(c.D1)+int(c.D2))
		closeTo(t, "F", f, c.F, 1e-12, from)
		closeTo(t, fmt.Sprintf("p of F %g (%g, %g)", c.F, c.D1, c.D2), p, c.P, tol, from)
	}
}

func TestTrendsAgainstSciPy(t *testing.T) {
	var oracle struct {
		Kendall []struct {
			X         []float64
			S         int
			Var, Z, P float64
			Exact     bool
		}
		TheilSen []struct {
			X, Y             []float64
			Slope, Intercept float64
			Pairs            int
			Lo, Hi           float64
			Tied             bool
		} `json:"theil_sen"`
		Steps []struct {
			X               []float64
			K               int
			RSS0, RSS1, GLR float64
			Step, U         float64
		}
	}
	ref.JSON(t, "oracle/trends.json", &oracle)
	if len(oracle.Kendall) != 24 || len(oracle.TheilSen) != 6 || len(oracle.Steps) != 4 {
		t.Fatal("rows are missing")
	}
	const from, tol = "trends.py", 1e-9
	for _, c := range oracle.Kendall {
		k, err := MannKendall(c.X)
		if err != nil {
			t.Fatal(err)
		}
		if k.S != c.S || k.Exact != c.Exact {
			t.Errorf("S %d (exact %v), want %d (%v)", k.S, k.Exact, c.S, c.Exact)
		}
		closeTo(t, "variance", k.Var, c.Var, tol, from)
		closeTo(t, "Z", k.Z, c.Z, tol, from)
		closeTo(t, "P", k.P, c.P, 1e-8, from)
	}
	ranked := 0
	for _, c := range oracle.TheilSen {
		s, err := TheilSen(c.X, c.Y, Interpolate)
		if err != nil {
			t.Fatal(err)
		}
		closeTo(t, "slope", s.Slope, c.Slope, tol, from)
		closeTo(t, "intercept", s.Intercept, c.Intercept, tol, from)
		if s.Pairs != c.Pairs || (len(c.X) > 5) != (s.Lo <= s.Slope && s.Slope <= s.Hi) {
			t.Errorf("%d pairs, %g in %g..%g; want %d pairs, and an interval from more than 5 readings", s.Pairs, s.Slope, s.Lo, s.Hi, c.Pairs)
		}
		if c.Tied || len(c.X) <= 5 {
			continue
		}
		whole, err := TheilSen(c.X, c.Y, WholeRanks)
		if err != nil {
			t.Fatal(err)
		}
		closeTo(t, "lower", whole.Lo, c.Lo, tol, from)
		closeTo(t, "upper", whole.Hi, c.Hi, tol, from)
		ranked++
	}
	if ranked != 3 {
		t.Errorf("%d intervals were compared, want 3", ranked)
	}
	for _, c := range oracle.Steps {
		s, err := FindChange(c.X, 0, 0)
		if err != nil {
			t.Fatal(err)
		}
		if s.K != c.K {
			t.Errorf("step after %d readings, want %d", s.K, c.K)
		}
		closeTo(t, "RSS without", s.RSS0, c.RSS0, tol, from)
		closeTo(t, "RSS with", s.RSS1, c.RSS1, tol, from)
		closeTo(t, "GLR", s.GLR, c.GLR, tol, from)
		closeTo(t, "size", s.Step.Value, c.Step, tol, from)
		closeTo(t, "its u", s.Step.U, c.U, tol, from)
	}
}

// picked returns the chosen readings.
func picked(x []float64, pick []int) []float64 {
	out := make([]float64, len(pick))
	for i, k := range pick {
		out[i] = x[k]
	}
	return out
}

// Check 8f and others like it: every resample enumerated is what a bootstrap tends to.
func TestBootstrapAgainstEnumeration(t *testing.T) {
	var oracle struct {
		Exact []struct {
			Figure          string
			X               []float64
			Value, SE, Bias float64
			Lo, Hi          [2]float64
		}
	}
	ref.JSON(t, "oracle/bootstrap.json", &oracle)
	figures := map[string]func(x []float64) float64{"mean": Mean, "median": Median, "sd": SD,
		"range": func(x []float64) float64 { s := Sorted(x); return s[len(s)-1] - s[0] }}
	if len(oracle.Exact) != 6 {
		t.Fatalf("%d figures", len(oracle.Exact))
	}
	closeTo(t, "ideal se of the mean", oracle.Exact[0].SE, 23.3635, 1e-5, "bootstrap.py against Efron and Tibshirani 1993, table 2.2")
	closeTo(t, "ideal se of the median", oracle.Exact[1].SE, 37.8347, 1e-5, "bootstrap.py against Efron and Tibshirani 1993, table 2.2")
	const replicas, from = 40000, "testdata/oracle/bootstrap.py, every resample"
	for _, c := range oracle.Exact {
		b := BootstrapOne(len(c.X), replicas, 4, func(pick []int) float64 { return figures[c.Figure](picked(c.X, pick)) })
		n := float64(len(c.X))
		name := c.Figure
		closeTo(t, name, b.Value, c.Value, 1e-12, "bootstrap.py")
		// A standard deviation from 40000 replicas scatters by 0.35 % (normal law; four of them are allowed).
		ref.Near(t, name+" u", b.U*math.Sqrt((n-1)/n), c.SE, .015*c.SE, from)
		ref.Near(t, name+" bias", b.Bias, c.Bias, 4*c.SE/math.Sqrt(replicas), from)
		if b.Lo < c.Lo[0] || b.Lo > c.Lo[1] || b.Hi < c.Hi[0] || b.Hi > c.Hi[1] {
			t.Errorf("%s interval %g..%g, want %v..%v (%s)", name, b.Lo, b.Hi, c.Lo, c.Hi, from)
		}
	}
}

// Smooth figures of ten cycles against SciPy's bootstrap. What we report, U with t(n-1), must not be
// narrower than the bias-corrected interval, which is the better of the two.
func TestBootstrapAgainstSciPy(t *testing.T) {
	var oracle struct {
		Smooth []struct {
			Figure     string
			Data       [][]float64
			MonteCarlo struct {
				Percentile, BCa [2]float64
				SE              float64
			} `json:"monte_carlo"`
		}
	}
	ref.JSON(t, "oracle/bootstrap.json", &oracle)
	if len(oracle.Smooth) != 2 {
		t.Fatalf("%d figures", len(oracle.Smooth))
	}
	for _, c := range oracle.Smooth {
		n := len(c.Data[0])
		b := BootstrapOne(n, 40000, 5, func(pick []int) float64 {
			m := Mean(picked(c.Data[0], pick))
			if len(c.Data) > 1 {
				m /= Mean(picked(c.Data[1], pick))
			}
			return m
		})
		const from = "testdata/oracle/bootstrap.py, 200000 resamples"
		w := c.MonteCarlo
		ref.Near(t, c.Figure+" u", b.U*math.Sqrt(float64(n-1)/float64(n)), w.SE, .015*w.SE, from)
		ref.Near(t, c.Figure+" lower", b.Lo, w.Percentile[0], .06*w.SE, from)
		ref.Near(t, c.Figure+" upper", b.Hi, w.Percentile[1], .06*w.SE, from)
		lo, hi := b.Interval()
		if hi-lo < w.BCa[1]-w.BCa[0] || hi < w.BCa[0] || lo > w.BCa[1] {
			t.Errorf("%s: reported %g..%g, narrower than or beside %v (%s)", c.Figure, lo, hi, w.BCa, from)
		}
	}
}
