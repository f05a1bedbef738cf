package positioning

import (
	"math"
	"testing"

	"limbgauge/analyze/internal/ref"
	"limbgauge/analyze/stats"
)

// What a reading keeps of its quantum however often it is averaged (q/√12 without noise, JCGM
// 100:2008, F.2.2.1; less where noise dithers, see the tests of stats.QuantumU) stays in its figures.
func TestQuantumIsDoubt(t *testing.T) {
	const q = .0879
	for _, c := range []struct {
		noise, stays float64
	}{{0, q / math.Sqrt(12)}, {.35 * q, stats.QuantumU(q, .35*q)}, {.6 * q, stats.QuantumU(q, .6*q)}} {
		o := Options{Replicas: 10, Quantum: q, NoiseSD: c.noise}
		r, err := Evaluate(handStops(), o)
		if err != nil {
			t.Fatal(err)
		}
		u := c.stays
		ref.Near(t, "u(B_i)", r.Targets[0].Reversal.U, math.Hypot(.01, math.Sqrt2*u), 1e-9, "a difference of two stops")
		bare, err := Evaluate(handStops(), Options{Replicas: 10})
		if err != nil {
			t.Fatal(err)
		}
		ref.Near(t, "u(mean B)", r.MeanReversal.U, math.Hypot(bare.MeanReversal.U, math.Sqrt(2.0/5)*u), 1e-9, "the mean of five such differences")
		ref.Near(t, "u(E)", r.Syst.U, math.Hypot(bare.Syst.U, math.Sqrt2*u), 1e-9, "a difference of two stops")
		ref.Near(t, "u(R)", r.Repeat.U, math.Hypot(bare.Repeat.U, 4*u), 1e-9, "four times a scatter")
		ref.Near(t, "u(scale)", r.Scale.U, bare.Scale.U, 1e-12, "spread over the whole travel")
	}
}

// Pose repeatability of a whole joint: three times the root of the mean variance over its poses. The
// poses of handStops have the variance 2.5e-4, those of the third target four times that.
func TestPooledPoseByHand(t *testing.T) {
	const q = .0879
	bare, err := EvaluatePoses(handStops(), Options{Replicas: 50, Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	const from = "ISO 9283:1998, 7.2, by hand"
	if len(bare.Poses) != 10 {
		t.Fatalf("%d poses, want 5 targets from 2 sides", len(bare.Poses))
	}
	ref.Near(t, "pooled", bare.Pooled.Value, 3*math.Sqrt((4*2.5e-4+1e-3)/5), 1e-12, from)
	ref.Near(t, "worst", bare.Worst.Value, 3*math.Sqrt(1e-3), 1e-12, from)
	r, err := EvaluatePoses(handStops(), Options{Replicas: 50, Seed: 1, Quantum: q})
	if err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "u of pooled", r.Pooled.U, math.Hypot(bare.Pooled.U, 3*q/math.Sqrt(12)), 1e-9, "three times what a quantum leaves in a stop")
	ref.Near(t, "u of worst", r.Worst.U, math.Hypot(bare.Worst.U, 3*q/math.Sqrt(12)), 1e-9, "three times what a quantum leaves in a stop")
}
