package drive

import (
	"math"
	"math/rand/v2"
	"testing"

	"limbgauge/analyze/internal/ref"
)

// A current that lies between both laws, with scatter: a law is named only where the evidence is six
// apart in BIC (common practice), and BIC is n·ln of the ratio of the residual sums.
func TestLawNeedsEvidence(t *testing.T) {
	rng := rand.New(rand.NewPCG(81, 81))
	named, unnamed := 0, 0
	for range 200 {
		var torque, amps []float64
		for _, x := range []float64{.1, .2, .3, .4, .5, .6} {
			torque, amps = append(torque, x), append(amps, .1+.5*x+.9*x*x+.02*rng.NormFloat64())
		}
		f := FindLaw(torque, amps)
		rss := func(of func(x float64) float64) float64 {
			// Least squares of a line by hand.
			var sx, sy, sxx, sxy, syy float64
			n := float64(len(torque))
			for i, x := range torque {
				u := of(x)
				sx, sy, sxx, sxy, syy = sx+u, sy+amps[i], sxx+u*u, sxy+u*amps[i], syy+amps[i]*amps[i]
			}
			b := (sxy - sx*sy/n) / (sxx - sx*sx/n)
			return syy - sy*sy/n - b*(sxy-sx*sy/n)
		}
		gap := 6 * math.Log(rss(func(x float64) float64 { return x * x })/rss(func(x float64) float64 { return x }))
		ref.Near(t, "BIC gap", f.BICGap, gap, 1e-6, "n·ln(RSS/RSS), by hand")
		if math.Abs(gap) < 6 {
			unnamed++
		} else {
			named++
		}
		if (f.Law == LawUnknown) != (math.Abs(gap) < 6) {
			t.Errorf("law %q with evidence of %.2f", f.Law, gap)
		}
	}
	if named < 20 || unnamed < 20 {
		t.Errorf("%d named, %d not: the readings do not test the rule", named, unnamed)
	}
}
