package compare

import (
	"math"
	"testing"

	"limbgauge/analyze/internal/ref"
)

// Two units of a side are read with t(1) = 12.706 and three with t(2) = 4.303 (tables of Student's t),
// not with 2: half width t·s/√n.
func TestFewUnitsTellLittle(t *testing.T) {
	row := find(t, Sides(plays(nan, 0.4, 0.5), plays(nan, 0.8, 0.9, 1.0), Options{All: true}), "play")
	ref.Near(t, "U of two units", row.A.Uncertainty, 12.7062*0.0707107/1.4142136, 1e-4, "12.706·s/√2, s = 0.1/√2")
	ref.Near(t, "U of three units", row.B.Uncertainty, 4.30265*0.1/1.7320508, 1e-4, "4.303·0.1/√3")
}

// A signed deviation that changes sign moves far while its size hardly changes: that it came nearer
// to zero by less than the doubt is no gain.
func TestGainsBelowTheDoubt(t *testing.T) {
	for _, c := range []struct {
		a, b float64
		want Verdict
	}{{-0.60, 0.50, Differs}, {-0.50, 0.60, Differs}, {-0.60, 0.10, Better}, {-0.10, 0.60, Worse}} {
		// The mean of two keeps 0.2 of 0.2·√2.
		row := find(t, Sides(equal(2, of("mean_reversal", c.a, 0.2*math.Sqrt2)), equal(2, of("mean_reversal", c.b, 0.2*math.Sqrt2)), Options{All: true}), "mean_reversal")
		if row.Verdict != c.want {
			t.Errorf("%g to %g, each ± 0.2: %s, want %s", c.a, c.b, row.Verdict, c.want)
		}
	}
}
