package stats

import (
	"math"
	"sort"
)

// Mean returns the arithmetic mean, refined once so that a large common offset costs no digits;
// NaN for no values.
func Mean(x []float64) float64 {
	n := float64(len(x))
	if n == 0 {
		return math.NaN()
	}
	var sum float64
	for _, v := range x {
		sum += v
	}
	m := sum / n
	var rest float64
	for _, v := range x {
		rest += v - m
	}
	return m + rest/n
}

// Variance returns Σ(x-x̄)²/(n-1) by the corrected two-pass formula (Chan, Golub, LeVeque, The
// American Statistician 37 (1983) 242-247); NaN for fewer than two values.
func Variance(x []float64) float64 {
	return variance(x, Mean(x))
}

func variance(x []float64, m float64) float64 {
	n := float64(len(x))
	if n < 2 {
		return math.NaN()
	}
	var ss, c float64
	for _, v := range x {
		d := v - m
		ss += d * d
		c += d
	}
	return (ss - c*c/n) / (n - 1)
}

// SD returns the standard deviation with divisor n-1; NaN for fewer than two values.
func SD(x []float64) float64 { return math.Sqrt(Variance(x)) }

// MeanOf returns the mean of independent readings with u = s/√n and n-1 degrees of freedom
// (JCGM 100:2008, 4.2.3). One reading alone has a value and no uncertainty.
func MeanOf(x []float64) Estimate {
	e, _ := MeanSD(x)
	return e
}

// MeanSD is MeanOf and SD in fewer passes.
func MeanSD(x []float64) (mean Estimate, sd float64) {
	if len(x) == 0 {
		return Unseen("no readings"), math.NaN()
	}
	n, m := float64(len(x)), Mean(x)
	sd = math.Sqrt(variance(x, m))
	return Estimate{Value: m, U: sd / math.Sqrt(n), DF: n - 1}, sd
}

// Sorted returns a sorted copy without the NaNs.
func Sorted(x []float64) []float64 {
	s := make([]float64, 0, len(x))
	for _, v := range x {
		if !math.IsNaN(v) {
			s = append(s, v)
		}
	}
	sort.Float64s(s)
	return s
}

// Median returns the middle value, the mean of the two middle ones when their number is even; NaNs
// are left out, and NaN is returned when nothing is left.
func Median(x []float64) float64 {
	n := Seen(x)
	if n == 0 {
		return math.NaN()
	}
	a, b := nths(x, (n-1)/2, n/2)
	return (a + b) / 2
}

func middle(sorted []float64) float64 {
	n := len(sorted)
	if n == 0 {
		return math.NaN()
	}
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}

// MAD returns the median absolute deviation from the median, not scaled.
func MAD(x []float64) float64 {
	m := Median(x)
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = math.Abs(v - m)
	}
	return Median(d)
}

// RobustSD returns 1.4826·MAD, which estimates the standard deviation of normal readings and is
// not moved by outliers (Rousseeuw and Croux, JASA 88 (1993) 1273-1283).
func RobustSD(x []float64) float64 { return 1.4826 * MAD(x) }

// Quantile returns the p quantile by linear interpolation between order statistics (rule 7 of
// Hyndman and Fan, The American Statistician 50 (1996) 361-365). sorted must be in rising order.
func Quantile(p float64, sorted []float64) float64 {
	n := len(sorted)
	if n == 0 {
		return math.NaN()
	}
	h := p * float64(n-1)
	i := int(math.Floor(h))
	if i >= n-1 {
		return sorted[n-1]
	}
	if i < 0 {
		return sorted[0]
	}
	return sorted[i] + (h-float64(i))*(sorted[i+1]-sorted[i])
}

// Lag1 returns the lag-one autocorrelation Σ(x_i-x̄)(x_{i+1}-x̄)/Σ(x_i-x̄)², the certified figure
// of the NIST univariate sets.
func Lag1(x []float64) float64 {
	m := Mean(x)
	var num, den float64
	for i, v := range x {
		den += (v - m) * (v - m)
		if i > 0 {
			num += (v - m) * (x[i-1] - m)
		}
	}
	return num / den
}

// Sign returns -1, 0 or 1 as x is below, at or above zero, and 0 for NaN.
func Sign(x float64) float64 {
	switch {
	case x > 0:
		return 1
	case x < 0:
		return -1
	}
	return 0
}

// Reach returns how far x goes from its least to its greatest value; NaNs are left out, and 0 is
// returned when nothing is left.
func Reach(x []float64) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range x {
		if !math.IsNaN(v) {
			lo, hi = math.Min(lo, v), math.Max(hi, v)
		}
	}
	return math.Max(0, hi-lo)
}

// Blocks returns the means of every k values, x itself for k of 1 or less; an incomplete last block is
// left out.
func Blocks(x []float64, k int) []float64 {
	if k <= 1 {
		return x
	}
	out := make([]float64, len(x)/k)
	for i := range out {
		out[i] = Mean(x[i*k : (i+1)*k])
	}
	return out
}
