package analyze

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"limbgauge/rig"
)

// leastSamples is the least that anything can be concluded from.
const leastSamples = 50

// usable returns the series as the analysis may take it: columns of one length, time that runs on,
// readings that are numbers or missing (NaN), and nil for a column without any. The series handed in
// is not changed.
func usable(s *rig.Series) (*rig.Series, error) {
	n := s.Len()
	if n < leastSamples {
		return nil, fmt.Errorf("there are %d samples; at least %d are needed", n, leastSamples)
	}
	out := *s
	columns := []struct {
		name   string
		col    *[]float64
		needed bool
	}{
		{"command", &out.Command, true}, {"joint angle", &out.Angle, true}, {"motor angle", &out.Motor, false},
		{"current", &out.Current, false}, {"supply voltage", &out.Supply, false}, {"torque", &out.Torque, false}, {"temperature", &out.Temp, false},
	}
	for _, c := range columns {
		*c.col = numbers(*c.col)
		if *c.col == nil && c.needed {
			return nil, fmt.Errorf("the column of the %s holds no number; command and joint angle are needed", c.name)
		}
		if *c.col != nil && len(*c.col) != n {
			return nil, fmt.Errorf("the column of the %s has %d values for %d samples", c.name, len(*c.col), n)
		}
	}
	if out.Move != nil && len(out.Move) != n {
		return nil, fmt.Errorf("there are %d move marks for %d samples", len(out.Move), n)
	}
	still := 0
	for i, t := range s.Time {
		if math.IsNaN(t) || math.IsInf(t, 0) {
			return nil, fmt.Errorf("the time of sample %d is no number", i+1)
		}
		if i > 0 && t < s.Time[i-1] {
			return nil, fmt.Errorf("the time runs back at sample %d, from %g to %g s", i+1, s.Time[i-1], t)
		}
		if i > 0 && t == s.Time[i-1] {
			still++
		}
	}
	if still > (n-1)/2 {
		return nil, errors.New("the time stands still over most samples")
	}
	return &out, nil
}

// numbers returns a column with NaN for what is infinite, nil when no number is left.
func numbers(col []float64) []float64 {
	infinite := func(v float64) bool { return math.Abs(v) > math.MaxFloat64 }
	if !slices.ContainsFunc(col, func(v float64) bool { return v == v && !infinite(v) }) {
		return nil
	}
	if !slices.ContainsFunc(col, infinite) {
		return col
	}
	out := slices.Clone(col)
	for i, v := range out {
		if infinite(v) {
			out[i] = math.NaN()
		}
	}
	return out
}
