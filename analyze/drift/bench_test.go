package drift

import (
	"math/rand/v2"
	"testing"
)

// BenchmarkStepsOfAnHour is the visits of an hour of stairs, with one step and with none.
func BenchmarkStepsOfAnHour(b *testing.B) {
	b.Run("one", func(b *testing.B) { anHour(b, 3) })
	b.Run("none", func(b *testing.B) { anHour(b, 0) })
}

func anHour(b *testing.B, size float64) {
	rng := rand.New(rand.NewPCG(1, 1))
	var visits []Visit
	for i := range 4800 {
		w := 0.03 * rng.NormFloat64()
		if i > 2000 {
			w += size
		}
		visits = append(visits, Visit{Group: i % 18, TimeS: .75 * float64(i), From: .75 * float64(i), Defl: w + float64(i%18)})
	}
	for b.Loop() {
		if s := Steps(visits, DefaultOptions(0.0879)); (len(s) == 1) != (size != 0) {
			b.Fatal(s)
		}
	}
}
