package play

import (
	"math/rand/v2"
	"testing"
)

// An hour on the stand: a few hundred passes, or the few of a usual run.
func BenchmarkFit(b *testing.B) {
	m := truth{play: 0.1, compliance: 2, friction: 0.01, knee: 0.15, extra: 1}
	for _, c := range []struct {
		name   string
		cycles int
	}{{"passes=8", 4}, {"passes=400", 200}} {
		points := m.pendulum(0.3, c.cycles, 0.01, rand.New(rand.NewPCG(1, 1)))
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				if _, err := Fit(points, Options{Friction: true, Knee: true, Wave: true, SensorDeg: 0.05, Lowest: 0.025}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
