package stats

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"limbgauge/analyze/internal/ref"
)

func TestShiftAgainstEnumeration(t *testing.T) {
	var oracle struct {
		Shifts []struct {
			X, Y                    []float64
			Value, Lo, Hi, Coverage float64
		}
		Powers []struct{ DF, Errors float64 }
	}
	ref.JSON(t, "oracle/compare.json", &oracle)
	if len(oracle.Shifts) != 5 || len(oracle.Powers) != 8 {
		t.Fatalf("%d shifts, %d powers", len(oracle.Shifts), len(oracle.Powers))
	}
	const from = "compare.py"
	for _, c := range oracle.Shifts {
		s := HodgesLehmann(c.X, c.Y)
		name := fmt.Sprintf("%d against %d", len(c.X), len(c.Y))
		closeTo(t, name, s.Value, c.Value, 1e-12, from)
		closeTo(t, name+", low end", s.Lo, c.Lo, 1e-12, from)
		closeTo(t, name+", high end", s.Hi, c.Hi, 1e-12, from)
		closeTo(t, name+", coverage", s.Coverage, c.Coverage, 1e-12, from)
		if s.Exact != (len(c.X)*len(c.Y) <= exactShift) {
			t.Errorf("%s: exact %v", name, s.Exact)
		}
	}
	for _, c := range oracle.Powers {
		closeTo(t, fmt.Sprintf("detectable with %g degrees of freedom", c.DF), Detectable(c.DF, .8), c.Errors, 1e-6, from)
	}
	// The normal law: 1.959964 + 0.841621, less what the other tail, 1e-6, saves of a density of 0.28.
	ref.Near(t, "detectable with all", Detectable(math.Inf(1), .8), 2.801585-0.000003, 1e-6, "tables of the normal law")
	if !math.IsNaN(Detectable(0.5, .8)) || !math.IsNaN(Detectable(5, 1)) {
		t.Error("a power of 1, or less than one degree of freedom, can be had")
	}
}

// Counting finds the same ranks as laying out and sorting every difference, ties and all.
func TestDifferencesFoundByCounting(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		step := rapid.SampledFrom([]float64{1e-9, 0.01, 1}).Draw(t, "step")
		draw := func(name string) []float64 {
			n := rapid.IntRange(1, 400).Draw(t, name+" size")
			wild := rapid.Bool().Draw(t, name+" wild")
			seed := rapid.Uint64().Draw(t, name)
			out := make([]float64, n)
			for i := range out {
				seed = seed*6364136223846793005 + 1442695040888963407
				v := float64(seed>>11) / (1 << 53)
				if wild {
					v = math.Tan(math.Pi * (v - .5)) // Cauchy's law: tails that no grid foresees
				}
				out[i] = math.Round(v/step) * step
			}
			slices.Sort(out)
			return out
		}
		p := pairs{draw("x"), draw("y")}
		var all []float64
		for _, a := range p.x {
			for _, b := range p.y {
				all = append(all, a-b)
			}
		}
		slices.Sort(all)
		k := rapid.IntRange(0, len(all)-1).Draw(t, "rank")
		l := min(k+rapid.IntRange(0, 1).Draw(t, "and the next"), len(all)-1)
		if low, high := p.nth(k, l); low != all[k] || high != all[l] {
			t.Fatalf("ranks %d and %d of %d: %g, %g, want %g, %g", k, l, len(all), low, high, all[k], all[l])
		}
	})
}

// The normal law of all deals is what many of them come to.
func TestPermutationsOfMany(t *testing.T) {
	var x, y []float64
	for i := range dealtReadings/2 + 10 {
		x, y = append(x, math.Mod(float64(i)*.618, 1)+.03), append(y, math.Mod(float64(i)*.414, 1))
	}
	law, err := PermutationTest(x, y, 0, 1)
	if err != nil || !law.Normal || law.Of != 0 {
		t.Fatalf("%+v, %v", law, err)
	}
	dealt, err := PermutationTest(x[:dealtReadings/2], y[:dealtReadings/2], 20000, 1)
	if err != nil || dealt.Normal {
		t.Fatalf("%+v, %v", dealt, err)
	}
	ref.Near(t, "p by the normal law", law.P, PooledT(x, y).P, .003, "pooled t of the same readings")
	ref.Near(t, "p by deals of nearly the same", dealt.P, PooledT(x[:dealtReadings/2], y[:dealtReadings/2]).P, .012, "pooled t of the same readings")
}

func BenchmarkShiftOfThousands(b *testing.B) {
	var x, y []float64
	for i := range 5000 {
		x, y = append(x, math.Mod(float64(i)*math.Phi, 1)), append(y, math.Mod(float64(i)*math.Sqrt2, 1))
	}
	for b.Loop() {
		HodgesLehmann(x, y)
	}
}
