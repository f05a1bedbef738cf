package rhythm

import (
	"math"
	"slices"

	"limbgauge/analyze/stats"
)

// Pace is how evenly one joint's samples were taken, by the stand's own clock. Figures are NaN where
// there were too few samples.
type Pace struct {
	Samples int
	SpanS   float64 // from the first to the last
	PerS    float64 // samples that came, per second of the stand
	// Interval between samples that follow each other without a gap, s.
	Mean, SD, Least, Most float64
	Gaps                  int // intervals of more than one and a half periods
}

// PaceOf measures times in us, in rising order. hz is the rate asked for; 0: the median interval serves.
func PaceOf(timeUS []int64, hz float64) Pace {
	nan := math.NaN()
	r := Pace{Samples: len(timeUS), SpanS: nan, PerS: nan, Mean: nan, SD: nan, Least: nan, Most: nan}
	if len(timeUS) < 2 {
		return r
	}
	r.SpanS = float64(timeUS[len(timeUS)-1]-timeUS[0]) / 1e6
	if r.SpanS > 0 {
		r.PerS = float64(len(timeUS)-1) / r.SpanS
	}
	steps := make([]float64, 0, len(timeUS)-1)
	for i := 1; i < len(timeUS); i++ {
		steps = append(steps, float64(timeUS[i]-timeUS[i-1])/1e6)
	}
	period := 1 / hz
	if !(hz > 0) {
		period = stats.Median(steps)
	}
	whole := steps[:0]
	for _, s := range steps {
		if s > 1.5*period {
			r.Gaps++
			continue
		}
		whole = append(whole, s)
	}
	if len(whole) == 0 {
		return r
	}
	r.Mean, r.Least, r.Most = stats.Mean(whole), slices.Min(whole), slices.Max(whole)
	if len(whole) > 1 {
		r.SD = stats.SD(whole)
	}
	return r
}
