package health

import (
	"math"
	"testing"
)

// Examples of JCGM 106:2012 (figures from memory, recomputed) and check 8h.
func TestConformance(t *testing.T) {
	for _, c := range []struct {
		what            string
		value, u, limit float64
		want, tol       float64
	}{
		{"8g, JCGM 106: 0.92", -5.47, 0.05, -5.40, 0.919243, 1e-6},
		{"8g, JCGM 106: a speed of 106.59 read with 2 % exceeds 100 with 99.9 %", 106.59, 0.02 * 106.59, 100, 0.001, 1e-5},
		{"8h", 0.46, 0.03, 0.5, 0.908789, 1e-6},
		{"8h: at the end of a guard band of 1.645 u", 0.5 - 1.645*0.03, 0.03, 0.5, 0.95, 2e-5},
		{"at the limit", 0.5, 0.03, 0.5, 0.5, 1e-15},
		{"no doubt, kept", 0.5, 0, 0.5, 1, 0},
		{"no doubt, missed", 0.51, 0, 0.5, 0, 0},
	} {
		if got := Conformance(c.value, c.u, c.limit); !(math.Abs(got-c.want) <= c.tol) {
			t.Errorf("%s: %.6f, want %.6f", c.what, got, c.want)
		}
	}
	if got := Conformance(0.4, math.NaN(), 0.5); !math.IsNaN(got) {
		t.Errorf("an unknown doubt gives %g", got)
	}
}

// The probability of a measure takes its better side and its sign into account. Normal law, Φ from
// tables: Φ(4/3) = 0.908789, Φ(1) = 0.841345, Φ(2) = 0.977250.
func TestConforms(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		what string
		m    Measure
		want float64
	}{
		{"at most", Judge(Of("play", Total, 0.46, 0.06, ""), 0.5), 0.908789},
		{"at least", Judge(Of("belt_tension", Total, 26, 2, ""), 25), 0.841345},
		{"both ways of a sign", Judge(Of("creep", Total, 0, 0.5, ""), 0.5), 2*0.977250 - 1},
		{"a negative deviation", Judge(Of("creep", Total, -0.46, 0.06, ""), 0.5), 0.908789},
		{"a bound", Judge(Bound("play", Total, BoundHigh, 0.4, 0.1, "", ""), 0.5), nan},
		{"not seen", Judge(Unseen("play", Total, "", "so"), 0.5), nan},
		{"no limit", Of("play", Total, 0.4, 0.1, ""), nan},
		{"no limit and no doubt", Of("lost_samples", NoPath, 0, 0, ""), nan},
		{"no doubt known", Judge(Of("play", Total, 0.4, nan, ""), 0.5), nan},
	} {
		if got := c.m.Conforms(); !(math.Abs(got-c.want) < 2e-6 || math.IsNaN(got) && math.IsNaN(c.want)) {
			t.Errorf("%s: %.6f, want %.6f", c.what, got, c.want)
		}
	}
	// The guard band of 2 u makes a pass at least 97.7 % sure, a failure at most 2.3 %.
	for _, c := range []struct {
		v    float64
		want float64
	}{{0.44, 0.977250}, {0.56, 0.022750}} {
		if got := Judge(Of("play", Total, c.v, 0.06, ""), 0.5).Conforms(); math.Abs(got-c.want) > 2e-6 {
			t.Errorf("at the end of the guard band, %g: %.6f, want %.6f", c.v, got, c.want)
		}
	}
}
