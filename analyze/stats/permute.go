package stats

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// Shuffled is a test by rearranging the readings seen.
type Shuffled struct {
	Value   float64 // the figure as seen
	Of      int     // arrangements tried, the one seen among them
	Upper   int     // those with a figure as large or larger
	Beyond  int     // those with a figure as far from 0, either way
	Exact   bool    // every arrangement was tried
	Normal  bool    // none was tried: probabilities are from the normal law, Of is 0
	P, POne float64 // Beyond/Of, Upper/Of
}

// dealtReadings is the greatest number of readings that are dealt out: of more, the sum of a group is
// as good as normal.
const dealtReadings = 1000

// exactArrangements is the greatest number of arrangements that are all tried.
const exactArrangements = 40_000

// PermutationTest asks whether the difference of two means, x less y, is larger than labels dealt at
// random give (Efron and Tibshirani 1993, chapter 15). Every deal is tried up to exactArrangements,
// else `deals` of them, drawn with seed; above dealtReadings the normal law stands for all deals (Wald
// and Wolfowitz, Annals of Mathematical Statistics 15 (1944) 358-372). Of five against five the least
// two-sided P is 2/252.
// ErrTooFew: an empty group.
func PermutationTest(x, y []float64, deals int, seed uint64) (Shuffled, error) {
	n, m := len(x), len(y)
	if n == 0 || m == 0 {
		return Shuffled{}, fmt.Errorf("permutation of %d and %d readings: %w", n, m, ErrTooFew)
	}
	all := append(append([]float64(nil), x...), y...)
	mean := Mean(all)
	var size, sum, squares float64
	for i := range all {
		all[i] -= mean
		size += math.Abs(all[i])
		squares += all[i] * all[i]
		if i < n {
			sum += all[i]
		}
	}
	// The sum of the first group decides: with mean 0 over all, the difference is sum·(1/n + 1/m).
	t := tally{seen: sum, tol: 1e-12 * size}
	if deal(n+m, n) <= exactArrangements {
		pick := make([]int, n)
		choose(pick, 0, 0, n+m, func() {
			var s float64
			for _, k := range pick {
				s += all[k]
			}
			t.count(s)
		})
		return t.shuffled(sum*(1/float64(n)+1/float64(m)), true), nil
	}
	if n+m > dealtReadings {
		sd := math.Sqrt(squares * float64(n) * float64(m) / float64(n+m) / float64(n+m-1))
		return Shuffled{Value: sum * (1/float64(n) + 1/float64(m)), Normal: true, P: 2 * normalTail(math.Abs(sum)/sd), POne: normalTail(sum / sd)}, nil
	}
	t.count(sum)
	rng := rand.New(rand.NewPCG(seed, 0x6465616c))
	for range deals {
		// Drawing the smaller group deals out the greater as well: its sum is the other's, negative.
		var s float64
		for i := range min(n, m) {
			k := i + rng.IntN(n+m-i)
			all[i], all[k] = all[k], all[i]
			s += all[i]
		}
		if n > m {
			s = -s
		}
		t.count(s)
	}
	return t.shuffled(sum*(1/float64(n)+1/float64(m)), false), nil
}

// SignFlipTest asks whether paired differences lie further from 0 than signs dealt at random give
// (Fisher, The Design of Experiments, 1935, section 21). Value is their sum. Every deal is tried up to
// exactArrangements, else `deals` of them, drawn with seed. ErrTooFew: no differences.
func SignFlipTest(d []float64, deals int, seed uint64) (Shuffled, error) {
	n := len(d)
	if n == 0 {
		return Shuffled{}, fmt.Errorf("sign flips of no differences: %w", ErrTooFew)
	}
	var size, sum float64
	for _, v := range d {
		size += math.Abs(v)
		sum += v
	}
	t := tally{seen: sum, tol: 1e-12 * size}
	flipped := func(bit func(i int) bool) (s float64) {
		for i, v := range d {
			if bit(i) {
				v = -v
			}
			s += v
		}
		return s
	}
	if n < 16 && 1<<n <= exactArrangements {
		for b := range 1 << n {
			t.count(flipped(func(i int) bool { return b>>i&1 == 1 }))
		}
		return t.shuffled(sum, true), nil
	}
	t.count(sum)
	rng := rand.New(rand.NewPCG(seed, 0x666c6970))
	for range deals {
		t.count(flipped(func(int) bool { return rng.Uint64()&1 == 1 }))
	}
	return t.shuffled(sum, false), nil
}

// tally counts the arrangements that do as well as the one seen, to rounding.
type tally struct {
	seen, tol         float64
	of, upper, beyond int
}

func (t *tally) count(s float64) {
	t.of++
	if s >= t.seen-t.tol {
		t.upper++
	}
	if math.Abs(s) >= math.Abs(t.seen)-t.tol {
		t.beyond++
	}
}

func (t *tally) shuffled(value float64, exact bool) Shuffled {
	return Shuffled{Value: value, Of: t.of, Upper: t.upper, Beyond: t.beyond, Exact: exact,
		P: float64(t.beyond) / float64(t.of), POne: float64(t.upper) / float64(t.of)}
}

// deal returns how many ways k of n can be chosen.
func deal(n, k int) float64 {
	c := 1.0
	for i := 1; i <= k; i++ {
		c *= float64(n-k+i) / float64(i)
	}
	return math.Round(c)
}

// choose calls f with every choice of len(pick) numbers below n, in rising order.
func choose(pick []int, from, least, n int, f func()) {
	if from == len(pick) {
		f()
		return
	}
	for k := least; k <= n-len(pick)+from; k++ {
		pick[from] = k
		choose(pick, from+1, k+1, n, f)
	}
}
