package stats

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// The mean and the scatter of rounded normal readings, summed over all steps they can fall on, say
// how far a mean is off; over all places of the value the root mean square is what QuantumU gives.
func TestQuantumUAgainstRoundedNormal(t *testing.T) {
	const places = 400
	for _, sigma := range []float64{0.02, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6} {
		errs, vars := 0.0, 0.0
		for i := range places {
			x := (float64(i) + 0.5) / places // of one step
			law := distuv.Normal{Mu: x, Sigma: sigma}
			m, s := 0.0, 0.0
			for k := -12.0; k <= 13; k++ {
				p := law.CDF(k+0.5) - law.CDF(k-0.5)
				m += k * p
				s += k * k * p
			}
			errs += (m - x) * (m - x) / places
			vars += (s - m*m) / places
		}
		want, got := math.Sqrt(errs), QuantumU(1, math.Sqrt(vars))
		if math.Abs(got-want) > 0.01*want {
			t.Errorf("noise %g of a step: %.6f, the sum over all steps gives %.6f", sigma, got, want)
		}
	}
	q := 360.0 / 4096
	if got, want := QuantumU(q, 0), q/math.Sqrt(12); math.Abs(got-want) > 1e-15 {
		t.Errorf("without noise %g, want q/√12 = %g", got, want)
	}
	if got := QuantumU(0, 0.3); got != 0 {
		t.Errorf("no steps: %g, want 0", got)
	}
}

func TestReachAndBlocks(t *testing.T) {
	nan := math.NaN()
	if got := Reach([]float64{nan, 3, -1, 2}); got != 4 {
		t.Errorf("reach %g, want 3 - (-1)", got)
	}
	if got := Reach([]float64{nan}); got != 0 {
		t.Errorf("reach of nothing %g", got)
	}
	if got := Blocks([]float64{1, 3, 5, 9, 100}, 2); len(got) != 2 || got[0] != 2 || got[1] != 7 {
		t.Errorf("blocks %v, want 2 and 7", got)
	}
}
