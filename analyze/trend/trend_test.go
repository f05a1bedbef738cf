package trend_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"limbgauge/analyze/alike"
	"limbgauge/analyze/health"
	"limbgauge/analyze/internal/ref"
	"limbgauge/analyze/stats"
	"limbgauge/analyze/trend"
)

var (
	nan   = math.NaN()
	start = time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)
)

// run makes run number n, from 0, a week after the one before.
func run(n int, m health.Measure) trend.Point {
	return trend.Point{Run: fmt.Sprintf("%04d", n+1), Started: start.AddDate(0, 0, 7*n), Cycles: 100 * float64(n+1), Measure: m,
		At: &alike.Conditions{Leg: "fore-left", Routine: "assembly", AmbientC: nan}, Good: true}
}

// limited judges a figure as bench.toml would have it.
func limited(m health.Measure, limit float64) health.Measure {
	m = health.Judge(m, limit)
	if !math.IsNaN(limit) {
		m.LimitFrom = health.FromBench
	}
	return m
}

func values(name string, limit, u float64, v ...float64) trend.Series {
	s := trend.Series{Name: name, Path: health.Transmission}
	for i, x := range v {
		s.Points = append(s.Points, run(i, limited(health.Of(name, health.Transmission, x, u, ""), limit)))
	}
	return s
}

// one looks at a single series.
func one(t testing.TB, s trend.Series, breaks ...trend.Break) trend.Trend {
	t.Helper()
	all := trend.Joint([]trend.Series{s}, breaks, trend.Options{})
	if len(all) != 1 || len(all[0].Stretches) == 0 {
		t.Fatalf("%d trends", len(all))
	}
	return all[0]
}

func newest(t testing.TB, s trend.Series, breaks ...trend.Break) trend.Stretch {
	t.Helper()
	out, _ := one(t, s, breaks...).Newest()
	return out
}

// Nile at Aswan, yearly flow: the step after 1898 (Cobb, Biometrika 65 (1978)) is a dated jump here, with
// the means of both parts.
func TestNileJumpsAfter1898(t *testing.T) {
	c := ref.Columns(t, ref.File(t, "nile/nile.csv"))
	s := values("peak_speed", 100, nan, c[1]...)
	for i := range s.Points {
		s.Points[i].Run = fmt.Sprint(int(c[0][i]))
	}
	n := newest(t, s)
	if n.Course.Shape != trend.Jump {
		t.Fatalf("shape %s, want a jump (Cobb 1978)", n.Course.Shape)
	}
	if b, f := n.Rows[n.Course.Before].Run, n.Rows[n.Course.From].Run; b != "1898" || f != "1899" {
		t.Errorf("between %s and %s, want 1898 and 1899 (Cobb 1978)", b, f)
	}
	ref.Near(t, "before", n.Course.Old, 1097.75, 1e-4, "Cobb 1978")
	ref.Near(t, "after", n.Course.New, 849.9722, 1e-4, "Cobb 1978")
	w := n.Warning
	if w == nil || w.First < "1899" || w.First > "1915" || w.Better {
		t.Fatalf("%+v, want a warning within 16 years: 8 make the baseline, the step is two standard deviations", w)
	}
	if !strings.Contains(w.Text, "between run 1898 and 1899") || !slices.ContainsFunc(w.Evidence, func(e string) bool { return strings.Contains(e, "between run 1898 and 1899") }) {
		t.Errorf("%q %q", w.Text, w.Evidence)
	}
}

// US EPA 530/R-09-007, example 17-6: sulfate over 23 samples, Mann-Kendall p 3.27e-07, Theil-Sen slope
// 26.667 a year, 95 % 20.0 to 35.712. The year stands in for cycles travelled.
func TestEPASulfateRises(t *testing.T) {
	c := ref.Columns(t, ref.File(t, "epa_trend/ex17_6_sulfate.csv"))
	s := values("friction", 2000, nan, c[4]...)
	for i := range s.Points {
		s.Points[i].Cycles = c[3][i]
	}
	n := newest(t, s)
	const from = "US EPA 530/R-09-007, 17-6"
	if n.Course.From != 0 {
		t.Fatalf("the slope begins at row %d (%s)", n.Course.From, n.Course.Shape)
	}
	ref.Near(t, "slope by cycles", n.Course.CycleSlope.Slope, 26.66667, 1e-5, from)
	ref.Near(t, "lower", n.Course.CycleSlope.Lo, 20, 1e-5, from)
	ref.Near(t, "upper", n.Course.CycleSlope.Hi, 35.71182, 1e-5, from)
	ref.Near(t, "p", n.Course.P, 3.267574e-07, 1e-12, from)
	if w := n.Warning; w == nil || w.Better || !w.Stands {
		t.Errorf("%+v, want a warning that stands", w)
	}
}

// Check 9i: tension over cycles 0 to 500, least squares 40.01429 - 0.0148571·x; it crosses 25 N at
// 1010.58, inverse prediction 967.62..1057.45. Derived by formula; without own uncertainties nothing is common.
func TestForecastIsInversePrediction(t *testing.T) {
	s := values("belt_tension", 25, nan, 40, 38.5, 37.2, 35.4, 34.1, 32.6)
	for i := range s.Points {
		s.Points[i].Cycles = 100 * float64(i)
	}
	f := newest(t, s).Forecast
	const from = "check 9i"
	ref.Near(t, "cycles to the limit", f.Cycles.Value, 510.58, .01, from)
	ref.Near(t, "lower", f.Cycles.Lo, 467.62, .01, from)
	ref.Near(t, "upper", f.Cycles.Hi, 557.45, .01, from)
	ref.Near(t, "runs", f.Runs.Value, 5.1058, 1e-4, from)
	ref.Near(t, "days at a run a week", f.Days.Value, 7*5.1058, 1e-3, from)
	if !(f.Beyond > 1) {
		t.Errorf("%g times the span, want more than once", f.Beyond)
	}
}

// The charts are those of the handbook (NIST/SEMATECH e-Handbook 6.3.2.3 and 6.3.2.4, whose examples
// stats holds) over the deviations: moving average from 0, sum above a slack of half a deviation.
func TestChartsAreTheHandbooks(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 9))
	v := make([]float64, 30)
	for i := range v {
		v[i] = 10 + rng.NormFloat64() + 0.1*float64(max(0, i-15))
	}
	n := newest(t, values("friction", 20, 1, v...))
	var z []float64
	var rows []trend.Row
	for _, r := range n.Rows {
		if !math.IsNaN(r.Z.Value) {
			z, rows = append(z, r.Z.Value), append(rows, r)
		}
	}
	if len(z) != 27 {
		t.Fatalf("%d deviations, want 27: three runs make the first baseline", len(z))
	}
	const l = .25
	mean, limits := stats.EWMA(z, 0, 0, 1, l, 3)
	sum := stats.CumulativeSum(z, 0, .5, 5)
	for i, r := range rows {
		ref.Near(t, "moving average", r.Mean.Value, mean[i], 1e-12, "e-Handbook 6.3.2.4")
		if r.X <= trend.Runs { // later ones widen with the length of the stretch
			ref.Near(t, "its limit over the first", r.Mean.Limit/rows[0].Mean.Limit, limits[i].Hi/limits[0].Hi, 1e-12, "e-Handbook 6.3.2.4")
		}
		ref.Near(t, "sum", r.Sum.Value, sum.Hi[i], 1e-12, "e-Handbook 6.3.2.3")
	}
}
