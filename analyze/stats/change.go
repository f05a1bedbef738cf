package stats

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// Change is the best single step of the mean in a row of readings.
type Change struct {
	K             int      // readings before the step
	Before, After float64  // means
	Step          Estimate // After - Before; U from the scatter within both parts
	RSS0, RSS1    float64  // residual sums of squares without and with the step
	GLR           float64  // n·ln(RSS0/RSS1)
	P             float64  // share of shuffles with a step as good, NaN without shuffles
}

// minPart is the least number of readings on either side of a step.
const minPart = 2

// FindChange looks for one step of the mean, by the generalised likelihood ratio of normal
// readings with one variance: n·ln(RSS0/RSS1(k)) at the k of least RSS1. Because k is searched for,
// the probability comes from shuffling the readings `shuffles` times, not from a table; it holds
// for readings whose order does not matter without a step. It needs eight readings.
func FindChange(x []float64, shuffles int, seed uint64) (Change, error) {
	n := len(x)
	if n < 8 {
		return Change{}, fmt.Errorf("step in %d readings, 8 are needed: %w", n, ErrTooFew)
	}
	m := Mean(x)
	y := make([]float64, n)
	for i, v := range x {
		y[i] = v - m
	}
	c := Change{P: math.NaN()}
	for _, v := range y {
		c.RSS0 += v * v
	}
	var gain float64
	c.K, gain = bestSplit(y)
	c.Before, c.After = Mean(x[:c.K]), Mean(x[c.K:])
	for i, v := range x {
		d := v - c.Before
		if i >= c.K {
			d = v - c.After
		}
		c.RSS1 += d * d
	}
	if c.RSS0 > 0 {
		c.GLR = float64(n) * math.Log(c.RSS0/c.RSS1)
	}
	k, df := float64(c.K), float64(n-2)
	c.Step = Estimate{Value: c.After - c.Before, DF: df,
		U: math.Sqrt(c.RSS1 / df * (1/k + 1/(float64(n)-k)))}
	if shuffles > 0 {
		rng := rand.New(rand.NewPCG(seed, 0x73746570))
		as := 1 // the order seen counts as one of the shuffles
		for range shuffles {
			rng.Shuffle(n, func(i, j int) { y[i], y[j] = y[j], y[i] })
			if _, g := bestSplit(y); g >= gain*(1-1e-12) {
				as++
			}
		}
		c.P = float64(as) / float64(shuffles+1)
	}
	return c, nil
}

// bestSplit returns the k that takes the most from the sum of squares of centred readings: with
// the mean of all zero the gain is S_k²·n/(k(n-k)), S_k the sum of the first k.
func bestSplit(y []float64) (k int, gain float64) {
	n := len(y)
	k, gain = minPart, -1
	var s float64
	for i := range n - minPart {
		s += y[i]
		if g := s * s * float64(n) / (float64(i+1) * float64(n-i-1)); i+1 >= minPart && g > gain {
			k, gain = i+1, g
		}
	}
	return k, gain
}
