package drift

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

func rest(n int, at, noise, quantum float64, rng *rand.Rand) (out []float64) {
	for range n {
		w := at + noise*rng.NormFloat64()
		if quantum > 0 {
			w = math.Round(w/quantum) * quantum
		}
		out = append(out, w)
	}
	return out
}

func TestSet(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	s := SetAfter(rest(100, .3, 0, 0, rng), rest(80, -.12, 0, 0, rng), SetOptions{Repeat: .03})
	near(t, "set", s.Size, -.42, 1e-12)
	near(t, "u", s.SizeU, 2*math.Sqrt2*.03, 1e-12)
	s = SetAfter(rest(100, .3, 0, 0, rng), rest(80, -.12, 0, 0, rng), SetOptions{Repeat: .03, Reversal: .5})
	near(t, "u from unlike sides", s.SizeU, 2*math.Sqrt2*.03+.5, 1e-12)
}

// Intervals hold the truth with noise, quanta and visits that do not repeat.
func TestSetIntervals(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	for _, c := range []struct{ size, noise, repeat float64 }{{0, .04, .03}, {.4, .04, .03}, {-1, .004, .02}, {.2, .4, .05}} {
		const n = 300
		held, shown := 0, 0
		for range n {
			at := rng.Float64()
			s := SetAfter(rest(150, at+c.repeat*rng.NormFloat64(), c.noise, .0879, rng), rest(150, at+c.size+c.repeat*rng.NormFloat64(), c.noise, .0879, rng),
				SetOptions{Quantum: .0879, Repeat: c.repeat})
			if math.Abs(s.Size-c.size) <= s.SizeU {
				held++
			}
			if math.Abs(s.Size) > s.SizeU {
				shown++
			}
		}
		if held < n*90/100 {
			t.Errorf("%+v: %d of %d intervals held the truth", c, held, n)
		}
		if c.size == 0 && shown > n/10 {
			t.Errorf("%+v: a set claimed in %d of %d", c, shown, n)
		}
	}
}

func TestSetOfNothing(t *testing.T) {
	nan := math.NaN()
	for _, c := range [][2][]float64{{nil, {1, 2}}, {{1, 2}, nil}, {{nan, nan}, {1, 2}}} {
		if s := SetAfter(c[0], c[1], SetOptions{}); !math.IsNaN(s.Size) {
			t.Errorf("%+v of %v", s, c)
		}
	}
}

// A quiet reading that repeats to the same count may hide nearly a whole count either way: over sets
// drawn evenly the interval must still hold (JCGM 100:2008, F.2.2.1).
func TestSetOfAQuietReading(t *testing.T) {
	const q = 360.0 / 4096
	rng := rand.New(rand.NewPCG(3, 3))
	in := 0
	const draws = 2000
	for range draws {
		at, set := q*rng.Float64(), 3*q*rng.Float64()
		still := func(v float64) []float64 { return slices.Repeat([]float64{q * math.Round(v/q)}, 50) }
		if s := SetAfter(still(at), still(at+set), SetOptions{Quantum: q}); math.Abs(s.Size-set) <= s.SizeU {
			in++
		}
	}
	if in < draws*93/100 {
		t.Errorf("%d of %d intervals hold", in, draws)
	}
}
