package vibration

import (
	"math/rand/v2"
	"testing"
)

// BenchmarkFindHunting is the rests of a stair of 90 stops.
func BenchmarkFindHunting(b *testing.B) {
	dwells := rests(90, .3, 5, rand.New(rand.NewPCG(1, 1)))
	for b.Loop() {
		if h := FindHunting(dwells, DefaultHuntingRule(twelveBit)); !h.Found {
			b.Fatal("no hunting")
		}
	}
}

// BenchmarkRingDown is one step's ringing of 1.5 s at 250 samples/s.
func BenchmarkRingDown(b *testing.B) {
	y := ringLog(250, 1.5, 4, 9, .07, .05, twelveBit, rand.New(rand.NewPCG(2, 2)))
	for b.Loop() {
		if r := RingDown(y, 1.0/250, RingOptions{Quantum: twelveBit, NoiseSD: .05}); !r.NaturalHz.Seen() {
			b.Fatal(r.NaturalHz.Unseen)
		}
	}
}
