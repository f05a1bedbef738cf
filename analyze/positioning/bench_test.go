package positioning

import (
	"math/rand/v2"
	"testing"
)

// BenchmarkEvaluate is a usual stair: 9 targets, 5 cycles, 2000 resamples.
func BenchmarkEvaluate(b *testing.B) {
	stops := noisy(rand.New(rand.NewPCG(1, 1)), 9, 5, .5, 1, .03, .01)
	for b.Loop() {
		if _, err := Evaluate(stops, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
