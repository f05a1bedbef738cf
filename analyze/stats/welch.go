package stats

import "math"

// TTest is the comparison of two means.
type TTest struct {
	Diff Estimate // mean of x less mean of y
	T    float64
	P    float64 // two-sided
}

// WelchT compares the means of two groups of independent readings without assuming equal scatter
// (Welch, Biometrika 34 (1947) 28-35). Each group needs two readings; else Diff has no uncertainty.
func WelchT(x, y []float64) TTest {
	a, b := MeanOf(x), MeanOf(y)
	return tTest(Sum([]float64{1, -1}, a, b))
}

// PooledT compares the means of two groups that share one standard deviation.
func PooledT(x, y []float64) TTest {
	n, m := float64(len(x)), float64(len(y))
	df := n + m - 2
	var ss float64
	if n > 1 {
		ss += (n - 1) * Variance(x)
	}
	if m > 1 {
		ss += (m - 1) * Variance(y)
	}
	return tTest(Estimate{Value: Mean(x) - Mean(y), U: math.Sqrt(ss / df * (1/n + 1/m)), DF: df})
}

func tTest(d Estimate) TTest {
	t := d.Value / d.U
	return TTest{Diff: d, T: t, P: TwoSidedP(t, d.DF)}
}
