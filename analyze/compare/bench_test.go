package compare

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"limbgauge/analyze/alike"
	"limbgauge/analyze/health"
	"limbgauge/rig"
)

// thousands makes a side of n runs that have every measure, each second one on two paths: about as many
// figures as a run of the assembly routine has.
func thousands(n int, seed uint64) []Run {
	rng := rand.New(rand.NewPCG(seed, 1))
	load := &rig.Load{MassKg: 0.25, LeverM: 0.11}
	out := make([]Run, n)
	for i := range out {
		out[i] = one(fmt.Sprintf("%d%05d", seed, i), "")
		out[i].Conditions = alike.Conditions{SampleHz: 250, SupplyV: 6 + 0.01*rng.NormFloat64(), AmbientC: 20, Setup: rig.Joint{Name: "knee", Load: load}}
		ms := make([]health.Measure, 0, 100)
		for k, d := range health.Definitions() {
			for _, p := range []health.Path{health.Transmission, health.Total}[k%2:] {
				ms = append(ms, health.Judge(health.Of(d.Name, p, 1+0.1*rng.NormFloat64(), 0.05, ""), 2))
			}
		}
		out[i].Joint.Measures = ms
	}
	return out
}

// BenchmarkFiveThousandASide compares every measure of two sides of 5000 runs; the aim is 100 ms.
func BenchmarkFiveThousandASide(b *testing.B) {
	x, y := thousands(5000, 1), thousands(5000, 2)
	b.ResetTimer()
	for range b.N {
		Sides(x, y, Options{All: true})
	}
	b.ReportMetric(float64(len(x[0].Joint.Measures)), "measures")
}

// Thousands a side are no other comparison: the verdicts are there, the shift has its interval.
func TestThousandsASide(t *testing.T) {
	res := Sides(thousands(1500, 1), thousands(1500, 2), Options{All: true})
	for _, r := range res.Rows {
		if r.Verdict != Same || !(r.Shift.Lo < r.Shift.Value && r.Shift.Value < r.Shift.Hi) || r.NA != 1500 || r.Deals != 0 || !(r.Permuted > 0) {
			t.Fatalf("%+v", r)
		}
	}
}
