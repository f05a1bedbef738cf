package drive

import (
	"fmt"
	"math"

	"limbgauge/analyze/stats"
)

// Supply is what a run tells of its supply.
type Supply struct {
	NoLoadV   stats.Estimate // V_oc, the line's voltage at no current
	SourceOhm stats.Estimate // R_s of source and leads up to the voltage sensor
	LowestV   float64        // least median of three neighbouring readings: one alone may be noise
	Sag       stats.Estimate // NoLoadV less LowestV
	// AtLeast is true: samples miss dips shorter than their spacing, so the true sag is at least this.
	AtLeast bool
	Reason  string // why the source resistance could not be seen
}

// SupplyLine fits V = V_oc - R_s·I to the samples of a run and takes the sag as V_oc less the
// lowest voltage. Dips of a single reading are not told from noise and are left out. The samples of one run are correlated, so the line is fitted to means over bins of
// current. noiseV is the standard deviation of single voltage readings; 0 takes it from the fit.
// The current must vary by more than its noise; else R_s is unseen and V_oc is the median voltage at
// rest. It needs ten samples.
func SupplyLine(volts, amps []float64, noiseV float64) (Supply, error) {
	v, a := pairs(volts, amps)
	if len(v) < 10 {
		return Supply{}, fmt.Errorf("supply sag from %d samples: %w", len(v), stats.ErrTooFew)
	}
	s := Supply{LowestV: math.Inf(1), AtLeast: true}
	for i := 1; i+1 < len(v); i++ {
		s.LowestV = min(s.LowestV, middle(v[i-1], v[i], v[i+1]))
	}
	ba, bv, w := bins(a, v, 20)
	var one []float64
	for range ba {
		one = append(one, 1)
	}
	fit, err := stats.WLS([][]float64{one, ba}, bv, w)
	resid := noiseV
	switch {
	case err != nil || len(ba) < 4:
		s.SourceOhm = stats.Unseen("the current hardly changed")
		s.Reason = s.SourceOhm.Unseen
		s.NoLoadV = stats.Estimate{Value: stats.Median(v), U: stats.RobustSD(v), DF: math.Inf(1)}
	default:
		s.NoLoadV, s.SourceOhm = fit.Estimate(0), fit.Estimate(1).Scale(-1)
		if resid == 0 {
			resid = lineNoise(a, v, fit.Coef)
		}
	}
	low := stats.Estimate{Value: s.LowestV, U: resid, DF: math.Inf(1)}
	s.Sag = stats.Sum([]float64{1, -1}, s.NoLoadV, low)
	return s, nil
}

func lineNoise(a, v, coef []float64) float64 {
	r := make([]float64, len(a))
	for i := range a {
		r[i] = v[i] - coef[0] - coef[1]*a[i]
	}
	m := stats.Median(r)
	for i, v := range r {
		r[i] = math.Abs(v - m)
	}
	return 1.4826 * stats.Median(r) // the robust deviation of stats.RobustSD, in place
}

// middle returns the middle one of three.
func middle(a, b, c float64) float64 { return max(min(a, b), min(max(a, b), c)) }

// pairs keeps the samples where both were measured: the columns themselves where all were.
func pairs(x, y []float64) (a, b []float64) {
	if len(x) != len(y) {
		panic("drive: columns differ in length")
	}
	if stats.Seen(x) == len(x) && stats.Seen(y) == len(y) {
		return x, y
	}
	for i := range x {
		if !math.IsNaN(x[i]) && !math.IsNaN(y[i]) {
			a, b = append(a, x[i]), append(b, y[i])
		}
	}
	return a, b
}

// bins averages y over n equal bins of x and returns the means and the counts of the filled ones.
func bins(x, y []float64, n int) (mx, my, count []float64) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range x {
		if v < lo {
			lo = v
		}
		if v > hi {
			hi = v
		}
	}
	if !(hi > lo) {
		return nil, nil, nil
	}
	sx, sy, c := make([]float64, n), make([]float64, n), make([]float64, n)
	for i, v := range x {
		k := min(n-1, int(float64(n)*(v-lo)/(hi-lo)))
		sx[k], sy[k], c[k] = sx[k]+v, sy[k]+y[i], c[k]+1
	}
	for k := range c {
		if c[k] > 0 {
			mx, my, count = append(mx, sx[k]/c[k]), append(my, sy[k]/c[k]), append(count, c[k])
		}
	}
	return mx, my, count
}
