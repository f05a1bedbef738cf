package analyze

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"limbgauge/analyze/health"
)

// usualRuns makes runs 0001, 0002, ... that measured the values with one uncertainty.
func usualRuns(name string, path health.Path, u float64, values ...float64) (out []PastRun) {
	for i, v := range values {
		out = append(out, PastRun{Run: fmt.Sprintf("%04d", i+1), Measures: []health.Measure{health.Of(name, path, v, u, "")}})
	}
	return out
}

// tBelow integrates the density of Student's t (Gosset 1908) from -inf to q by Simpson's rule.
func tBelow(q, df float64) float64 {
	lg := func(x float64) float64 { v, _ := math.Lgamma(x); return v }
	c := math.Exp(lg((df+1)/2)-lg(df/2)) / math.Sqrt(df*math.Pi)
	f := func(x float64) float64 { return c * math.Pow(1+x*x/df, -(df+1)/2) }
	const n = 20000
	h, sum := q/n, f(0)+f(q)
	for i := 1; i < n; i++ {
		sum += f(float64(i)*h) * float64(2+2*(i%2))
	}
	return 0.5 + sum*h/3
}

// Closed forms: with known doubt alone 3·u·√(1+1/n); with spread alone t·s·√(1+1/n), where t of two
// degrees of freedom is (2p-1)/√(2p(1-p)); between them as many degrees of freedom as Welch and
// Satterthwaite say.
func TestUsualMargin(t *testing.T) {
	p := 1 - math.Erfc(3/math.Sqrt2)/2 // Φ(3) = 0.998650
	t2 := (2*p - 1) / math.Sqrt(2*p*(1-p))
	for _, c := range []struct {
		what      string
		values    []float64
		u         float64
		want, tol float64
	}{
		{"agree within their doubt", []float64{1, 1.1, 0.9}, 0.2, 3 * 0.2 * math.Sqrt(4.0/3), 1e-9},
		{"agree exactly", []float64{1, 1, 1, 1, 1}, 0.2, 3 * 0.2 * math.Sqrt(1.2), 1e-9},
		{"spread without doubt", []float64{1, 1.1, 0.9}, 0, t2 * 0.1 * math.Sqrt(4.0/3), 1e-6},
		{"no doubt and no spread", []float64{1, 1, 1}, 0, 0, 0},
	} {
		us := make([]float64, len(c.values))
		for i := range us {
			us[i] = c.u
		}
		if got := usualMargin(c.values, us); !(math.Abs(got-c.want) <= c.tol) {
			t.Errorf("%s: %.9f, want %.9f", c.what, got, c.want)
		}
	}
	// Spread of 0.1, half of whose square is doubt: ν = 4(n-1) = 8.
	u := 0.1 / math.Sqrt2
	q := usualMargin([]float64{1, 1.1, 0.9}, []float64{u, u, u}) / (0.1 * math.Sqrt(4.0/3))
	if got := tBelow(q, 8); math.Abs(got-p) > 1e-7 {
		t.Errorf("half known, half estimated: factor %.6f leaves %.3g above it, want %.3g", q, 1-got, 1-p)
	}
}

// One more run of a healthy joint fails, which asks its value less its doubt to lie beyond the margin,
// in no more than about 1 % of runs and mostly far fewer, whatever the spread between runs is to
// their own doubt. Worst is a spread of some times the doubt that three runs by luck did not show.
func TestUsualMarginKeepsItsRate(t *testing.T) {
	rnd := rand.New(rand.NewPCG(11, 0))
	const draws = 12000
	for _, n := range []int{3, 5} {
		for _, extra := range []float64{0, 0.5, 1, 3, 10} { // run-to-run spread over the known standard uncertainty
			beyond := 0
			for range draws {
				draw := func() float64 { return rnd.NormFloat64() + extra*rnd.NormFloat64() }
				values, us := make([]float64, n), make([]float64, n)
				mean := 0.0
				for i := range values {
					values[i], us[i] = draw(), 1
					mean += values[i] / float64(n)
				}
				if draw()-2-mean > usualMargin(values, us) {
					beyond++
				}
			}
			rate := float64(beyond) / draws
			t.Logf("%d runs, spread %4.1f times their doubt: %.3f %% of healthy runs fail", n, extra, 100*rate)
			if rate > 0.015 {
				t.Errorf("%d runs, spread %g: %.3f %%", n, extra, 100*rate)
			}
		}
	}
}

func TestBaselineLimit(t *testing.T) {
	total, trans := health.Total, health.Transmission
	for _, c := range []struct {
		what  string
		name  string
		usual []PastRun
		want  float64
		from  string
	}{
		{"the room of 0.3 deg", "play", usualRuns("play", trans, 0.02, 0.1, 0.1, 0.1), 0.4, "baseline of runs 0001, 0002, 0003"},
		// 2·√(4/3)·3/2 = 3.4641 around 10 (u = 1): more than the room.
		{"three spreads, rounded outward", "compliance", usualRuns("compliance", trans, 2, 10, 10, 10), 13.465, "baseline of runs 0001, 0002, 0003"},
		{"more is better", "belt_tension", usualRuns("belt_tension", trans, 0.2, 50, 50, 50), 40, "baseline of runs 0001, 0002, 0003"},
		{"a sign is judged by its size", "creep", usualRuns("creep", trans, 0.02, -0.5, -0.5, -0.5), 0.8, "baseline of runs 0001, 0002, 0003"},
		{"only the first five", "play", usualRuns("play", trans, 0.02, 0.1, 0.1, 0.1, 0.1, 0.1, 3, 3), 0.4, "baseline of runs 0001, 0002, 0003, 0004, 0005"},
		{"two are too few", "play", usualRuns("play", trans, 0.02, 0.1, 0.1), math.NaN(), ""},
		{"another path", "play", usualRuns("play", total, 0.02, 0.1, 0.1, 0.1), math.NaN(), ""},
		{"no worse direction", "natural_frequency", usualRuns("natural_frequency", trans, 0.02, 8, 8, 8), math.NaN(), ""},
		{"no doubt known", "play", usualRuns("play", trans, math.NaN(), 0.1, 0.1, 0.1), math.NaN(), ""},
		{"a spread that leaves nothing", "belt_tension", usualRuns("belt_tension", trans, 0.2, 60, 50, 40), math.NaN(), ""},
	} {
		got, from, ok := baseline(c.name, trans, c.usual)
		if !(math.Abs(got-c.want) < 1e-9 || math.IsNaN(got) && math.IsNaN(c.want)) || from != c.from || ok != !math.IsNaN(c.want) {
			t.Errorf("%s: %g, %q, %v, want %g, %q", c.what, got, from, ok, c.want, c.from)
		}
	}
	// A bound is no value, and what was not seen has none.
	bounds := usualRuns("play", trans, 0.02, 0.1, 0.1)
	bounds = append(bounds,
		PastRun{"0003", []health.Measure{health.Bound("play", trans, health.BoundHigh, 0.1, 0.02, "", "")}},
		PastRun{"0004", []health.Measure{health.Unseen("play", trans, "", "so")}})
	if got, _, ok := baseline("play", trans, bounds); ok {
		t.Errorf("a limit of %g from two values", got)
	}
	bounds = append(bounds, PastRun{"0005", []health.Measure{health.Of("play", trans, 0.1, 0.02, "")}})
	if _, from, ok := baseline("play", trans, bounds); !ok || from != "baseline of runs 0001, 0002, 0005" {
		t.Errorf("%q, %v", from, ok)
	}
}

// Every measure that a baseline may limit is one the builder may limit, in its own unit.
func TestRoomsAreOfMeasures(t *testing.T) {
	for name, r := range rooms() {
		if _, ok := health.DefinitionOf(name); !ok || r.abs < 0 || r.share < 0 || r.abs+r.share == 0 || r.share >= 1 {
			t.Errorf("%s: %+v", name, r)
		}
	}
}
