package drift

import (
	"math"
	"testing"
)

// A reading that stands on one count all through a hold says nothing below a share of its quantum:
// growth of zero, and not surely so.
func TestCreepOfAStandingReading(t *testing.T) {
	const q = 0.0879
	var time, defl []float64
	for i := range 5000 {
		time, defl = append(time, float64(i)/250), append(defl, 7*q)
	}
	g, ok := Hold(time, defl, q)
	if !ok {
		t.Fatal("not seen")
	}
	near(t, "growth", g.Size, 0, 1e-12)
	// Two means, each with at least a third of q/√12 left, expanded.
	if least := 2 * math.Sqrt2 * q / math.Sqrt(12) / 3; !(g.SizeU >= 0.999*least) || g.SizeU > 2*q {
		t.Errorf("U %g, want %g or more, and less than two quanta", g.SizeU, least)
	}
}
