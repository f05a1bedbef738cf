package drift

import (
	"math"
	"math/rand/v2"
	"testing"
)

// A slip in a hold comes back with size and time, beside creep too; creep, drift, sway and noise alone
// have none.
func TestStepWithinAHold(t *testing.T) {
	creep := func(a float64) func(float64) float64 {
		return func(s float64) float64 { return a * math.Log10(1+s/.01) }
	}
	for _, c := range []struct {
		name   string
		course func(float64) float64
		size   float64
		at     float64
	}{
		{"slip", creep(0), -2, 7.3}, {"slip beside creep", creep(.3), 1.2, 12.1}, {"slip early", creep(.1), -1.5, 2}, {"slip late", creep(.1), 3, 18.5},
		{"creep", creep(.6), 0, 0}, {"power law", power(0, .5, .3), 0, 0}, {"drift", func(s float64) float64 { return .06 * s }, 0, 0},
		{"sway", func(s float64) float64 { return .6 * math.Sin(2*math.Pi*s/9) }, 0, 0}, {"hunting", func(s float64) float64 { return math.Sin(40 * s) }, 0, 0},
		{"nothing", creep(0), 0, 0},
		{"bump", func(s float64) float64 { return 2 * math.Exp(-math.Pow(s-9, 2)) }, 0, 0},
	} {
		for seed := range uint64(30) {
			rng := rand.New(rand.NewPCG(seed, 4))
			time, defl := hold(250, 20, .04, .0879, rng, func(s float64) float64 {
				w := c.course(s)
				if c.size != 0 && s >= c.at {
					w += c.size
				}
				return w
			})
			w, ok := FindWithin(time, defl, .5)
			if ok != (c.size != 0) {
				t.Fatalf("%s, seed %d: %+v, %v", c.name, seed, w, ok)
			}
			if ok && (math.Abs(w.Size-c.size) > w.SizeU+.03 || w.SizeU > .2 || math.Abs(w.At-1000-c.at) > 1.5*w.BinS) {
				t.Errorf("%s, seed %d: %+v, want %g at %g", c.name, seed, w, c.size, c.at)
			}
		}
	}
	if _, ok := FindWithin([]float64{0, 1}, []float64{0, 1}, .1); ok {
		t.Error("a step of two samples")
	}
}
