package trend_test

import (
	"math/rand/v2"
	"testing"

	"limbgauge/analyze/health"
	"limbgauge/analyze/trend"
)

// BenchmarkJoint looks at 15 measures of a joint over 10,000 runs of one stretch, a third of the belt's
// runs giving bounds and one measure drifting.
func BenchmarkJoint(b *testing.B) {
	const runs = 10_000
	rng := rand.New(rand.NewPCG(1, 1))
	series := healthy(rng, family()[5:20], runs, 1, 20, rng.NormFloat64)
	for n := range runs {
		series[0].Points[n].Measure.Value += 5 * float64(n) / runs
	}
	for i := range series {
		for n := range series[i].Points {
			if m := &series[i].Points[n].Measure; series[i].Name == "belt_tension" && n%3 == 0 {
				*m = health.Bound(m.Name, m.Path, health.BoundLow, 99, nan, "", "")
			}
		}
	}
	for b.Loop() {
		if out := trend.Joint(series, nil, trend.Options{}); len(out) != 15 {
			b.Fatal(len(out))
		}
	}
}
