package drive

import (
	"math"
	"math/rand/v2"
	"testing"

	"limbgauge/analyze/internal/ref"
)

// The lowest voltage is one reading: its noise is part of the sag's doubt, given or seen.
func TestSagKnowsItsNoise(t *testing.T) {
	var v, a []float64
	for i := range 400 {
		x := 2 * float64(i%50) / 49
		v, a = append(v, 6-.1*x), append(a, x)
	}
	s, err := SupplyLine(v, a, .03)
	if err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "u of the sag, noise given", s.Sag.U, .03, 1e-6, "an exact line adds nothing")
	rng := rand.New(rand.NewPCG(6, 6))
	for i := range v {
		v[i] += .03 * rng.NormFloat64()
	}
	if s, err = SupplyLine(v, a, 0); err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "u of the sag, noise seen", s.Sag.U, math.Hypot(.03, s.NoLoadV.U), .004, "scatter about the line, 0.03 V as made")
}
