package main

import (
	"math"
	"testing"

	"limbgauge/analyze/alike"
	"limbgauge/analyze/health"
)

func TestCellsOfAComparison(t *testing.T) {
	of := func(v, u float64) health.Measure { return health.Of("friction", health.Total, v, u, "") }
	warm, _ := alike.Figures(of(0.03, 0.001), alike.Conditions{AmbientC: 30}, alike.Conditions{AmbientC: 20})
	for _, c := range []struct {
		m    health.Measure
		want string
	}{
		{of(0.0312, 0.0014), "0.0312 ± 0.0014"},
		{health.Bound("friction", health.Total, health.BoundHigh, 0.03, 0.004, "", ""), "at most 0.0300"},
		{health.Unseen("friction", health.Total, "", "no current"), "not seen"},
		{warm, "not comparable"},
	} {
		if got := cell(c.m); got != c.want {
			t.Errorf("%+v: %q, want %q", c.m, got, c.want)
		}
	}
	for _, c := range []struct {
		v, u float64
		want string
	}{{0.1, 0.02, "+0.100 ± 0.020"}, {-0.1, 0.02, "−0.100 ± 0.020"}, {math.NaN(), 1, ""}} {
		if got := signed(c.v, c.u, 3); got != c.want {
			t.Errorf("%g ± %g: %q, want %q", c.v, c.u, got, c.want)
		}
	}
}
