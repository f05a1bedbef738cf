package trend

import (
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"
)

// heights are the greatest chart values of one series.
type heights struct{ single, mean, sum, tilt float64 }

// play runs one healthy series of normal readings with scatter 1 through the charts. u is the standard
// uncertainty each reading states, NaN for none.
func play(rng *rand.Rand, u float64) heights {
	b, charts := base{sign: 1}, heads{weight: 1}
	h := heights{math.Inf(-1), math.Inf(-1), 0, math.Inf(-1)}
	for i := range Runs {
		v := rng.NormFloat64()
		f := bound{v, v, u}
		z := b.z(f)
		charts.tilt.add(float64(i+1), v, u)
		if s := charts.tilt.z(); s > h.tilt {
			h.tilt = s
		}
		if !math.IsNaN(z) {
			sum, mean := charts.step(z, limitRow{mean: 1})
			h.single = math.Max(h.single, z)
			h.mean = math.Max(h.mean, mean.Value/mean.Limit)
			h.sum = math.Max(h.sum, sum.Value)
		}
		if !b.full() && !(z > baseReach) {
			b.add("", f)
		}
	}
	return h
}

const limitSeriesVar = "LIMBGAUGE_LIMIT_SERIES"

// TestLimits plays healthy series anew and holds the table of limits against them: the share that
// passes a height must be what the table says. LIMBGAUGE_LIMIT_SERIES=4000000 prints the table itself.
func TestLimits(t *testing.T) {
	n := 200_000
	if v := os.Getenv(limitSeriesVar); v != "" {
		var err error
		if n, err = strconv.Atoi(v); err != nil {
			t.Fatalf("%s is %q, want a number", limitSeriesVar, v)
		}
	}
	rng := rand.New(rand.NewPCG(11, 0x74726e64))
	all := [4][]float64{}
	for range n {
		h := play(rng, math.NaN())
		for i, v := range []float64{h.single, h.mean, h.sum, h.tilt} {
			all[i] = append(all[i], v)
		}
	}
	for i := range all {
		slices.Sort(all[i])
	}
	above := func(i int, v float64) float64 {
		k, _ := slices.BinarySearch(all[i], v)
		return float64(n-k) / float64(n)
	}
	if os.Getenv(limitSeriesVar) != "" {
		for _, p := range []float64{0.3, 0.1, 0.03, 0.01, 0.003, 0.001, 3e-4, 1e-4, 3e-5, 1e-5} {
			at := func(i int) float64 { return all[i][min(n-1, int(math.Round(float64(n)*(1-p))))] }
			t.Logf("\t{%g, %.3f, %.3f, %.3f, %.3f},", p, at(0), at(1), at(2), at(3))
		}
	}
	for _, row := range limitTable {
		if row.p*float64(n) < 100 {
			continue
		}
		for i, v := range []float64{row.single, row.mean, row.sum, row.tilt} {
			sd := math.Sqrt(row.p * (1 - row.p) / float64(n))
			if got := above(i, v); math.Abs(got-row.p) > 4*sd+0.005*row.p {
				t.Errorf("chart %d passes %.3f in %.5f of series, want %g ± %.2g", i, v, got, row.p, 4*sd)
			}
		}
	}
}
