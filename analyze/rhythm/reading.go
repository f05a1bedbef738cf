package rhythm

import "math"

// Reading is what one column of a joint's samples showed, in the column's unit.
type Reading struct {
	N       int // values
	Missing int // samples without
	Mean    float64
	Least   float64
	Most    float64
	// Noise is the standard deviation of one value about its neighbours, √(Σ(x_{i+1}-x_i)²/(2(n-1))): the mean
	// square successive difference, which slow motion does not inflate (J. von Neumann and others, Annals
	// of Mathematical Statistics 12 (1941) 153).
	Noise float64
	// Constant says that there were at least ten values, and not two that differ.
	Constant bool
}

// constantLeast is how many equal values are worth mention [common practice].
const constantLeast = 10

// ReadingOf measures whole numbers of which one unit is worth so much; missing marks what was not measured.
func ReadingOf(x []int32, missing int32, unit float64) Reading {
	nan := math.NaN()
	r := Reading{Mean: nan, Least: nan, Most: nan, Noise: nan}
	var sum, squares float64
	least, most, last := int32(math.MaxInt32), int32(math.MinInt32), int32(0)
	for _, v := range x {
		if v == missing {
			r.Missing++
			continue
		}
		if r.N > 0 {
			d := float64(v) - float64(last)
			squares += d * d
		}
		last = v
		r.N++
		sum += float64(v)
		least, most = min(least, v), max(most, v)
	}
	if r.N == 0 {
		return r
	}
	r.Mean, r.Least, r.Most = sum/float64(r.N)*unit, float64(least)*unit, float64(most)*unit
	if r.N > 1 {
		r.Noise = math.Sqrt(squares/float64(2*(r.N-1))) * unit
	}
	r.Constant = r.N >= constantLeast && least == most
	return r
}
