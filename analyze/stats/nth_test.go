package stats

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// Sorting is the yardstick: a reading at a rank is the one that stands there when all are sorted.
func TestNthIsWhatSortingPutsThere(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	draw := map[string]func(i int) float64{
		"normal":           func(int) float64 { return rnd.NormFloat64() },
		"few values":       func(int) float64 { return float64(rnd.IntN(3)) },
		"one value":        func(int) float64 { return 7 },
		"far outliers":     func(i int) float64 { return rnd.Float64() + 1e12*float64(i%997/996) },
		"over many powers": func(int) float64 { return math.Exp(700 * (2*rnd.Float64() - 1)) },
		"infinite":         func(i int) float64 { return 1 / float64(i%5) },
		"to the last":      func(int) float64 { return math.MaxFloat64 * (2*rnd.Float64() - 1) },
		"spacing":          func(i int) float64 { return float64(i+1)*1e-3 - float64(i)*1e-3 },
	}
	for name, f := range draw {
		x := make([]float64, 20011)
		for i := range x {
			if x[i] = f(i); i%11 == 3 {
				x[i] = math.NaN()
			}
		}
		before := slices.Clone(x)
		sorted := Sorted(x)
		if Seen(x) != len(sorted) {
			t.Errorf("%s: %d readings seen, want %d", name, Seen(x), len(sorted))
		}
		for _, k := range []int{0, 1, len(sorted) / 4, len(sorted) / 2, len(sorted) - 2, len(sorted) - 1} {
			if got := Nth(x, k); got != sorted[k] {
				t.Errorf("%s: reading %d is %v, want %v", name, k, got, sorted[k])
			}
		}
		n := len(sorted)
		if got, want := Median(x), (sorted[(n-1)/2]+sorted[n/2])/2; got != want && !(math.IsNaN(got) && math.IsNaN(want)) {
			t.Errorf("%s: median %v, want %v", name, got, want)
		}
		for i := range x {
			if x[i] != before[i] && !math.IsNaN(before[i]) {
				t.Fatalf("%s: reading %d was changed", name, i)
			}
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64(), 1, 2000).Draw(t, "x")
		k := rapid.IntRange(0, len(x)-1).Draw(t, "k")
		if got, want := Nth(x, k), Sorted(x)[k]; got != want {
			t.Errorf("reading %d is %v, want %v", k, got, want)
		}
	})
}

func BenchmarkMedian(b *testing.B) {
	rnd := rand.New(rand.NewPCG(1, 2))
	x := make([]float64, 3_600_000)
	for i := range x {
		x[i] = rnd.NormFloat64()
	}
	for b.Loop() {
		Median(x)
	}
	b.ReportMetric(float64(len(x))*float64(b.N)/b.Elapsed().Seconds(), "values/s")
}
