package trend

import (
	"math"

	"limbgauge/analyze/stats"
)

// The charts that watch a measure. Each gets the same part of the probability of a false warning.
const (
	charts = 5
	// lambda weighs the newest run in the moving average; NIST/SEMATECH e-Handbook 6.3.2.4: 0.2 to 0.3.
	lambda = 0.25
	// slack is what each run must lie beyond the baseline to add to the sum, half the shift of one
	// standard deviation that is looked for (e-Handbook 6.3.2.3).
	slack = 0.5
	// tiltLeast readings are needed for a slope to warn.
	tiltLeast = 5
)

// limitRow is how far each chart of a healthy series goes within Runs runs with that probability.
type limitRow struct{ p, single, mean, sum, tilt float64 }

// limitTable holds, for one series of Runs healthy runs, the heights that each chart passes with the
// probability p. They were found by playing 1.5 million series of normal readings that state no
// uncertainty through the same baseline, which grows from three runs to eight, so that the doubt of its
// centre and scatter is in them; TestLimits plays them again. Readings that state one warn less often as
// long as they scatter at most twice as much as it says, see TestFalseWarnings.
var limitTable = []limitRow{
	{0.3, 1.870, 1.768, 2.034, 1.538},
	{0.1, 2.322, 2.514, 3.688, 2.171},
	{0.03, 2.699, 3.242, 6.067, 2.676},
	{0.01, 2.990, 3.902, 8.636, 3.060},
	{0.003, 3.292, 4.595, 11.714, 3.419},
	{0.001, 3.552, 5.258, 14.660, 3.716},
	{0.0003, 3.818, 6.038, 18.394, 4.017},
	{0.0001, 4.052, 6.859, 22.249, 4.277},
	{3e-05, 4.305, 7.829, 28.201, 4.575},
	{1e-05, 4.553, 8.648, 33.638, 4.766},
}

// againstBound is the height that the greatest of Runs normal deviates passes with the probability p.
func againstBound(p float64) float64 { return stats.TQuantile(1-p/Runs, math.Inf(1)) }

// limitsAt keeps the limits of the probability asked for last.
type limitsAt struct{ row limitRow }

func (l *limitsAt) of(p float64) limitRow {
	if l.row.p != p {
		l.row = limitsFor(p)
	}
	return l.row
}

// limitsFor returns the heights for the probability p per chart, in between by the logarithm of p.
func limitsFor(p float64) limitRow {
	last := limitTable[len(limitTable)-1]
	if p <= last.p {
		// Beyond the table heights grow as those of a normal law do: with √(-2·ln p).
		k := math.Sqrt(math.Log(p) / math.Log(last.p))
		return limitRow{p, k * last.single, k * last.mean, k * k * last.sum, k * last.tilt}
	}
	for i := 1; i < len(limitTable); i++ {
		a, b := limitTable[i-1], limitTable[i]
		if p >= b.p {
			s := math.Min(1, (math.Log(p)-math.Log(a.p))/(math.Log(b.p)-math.Log(a.p)))
			s = math.Max(0, s)
			in := func(x, y float64) float64 { return x + s*(y-x) }
			return limitRow{p, in(a.single, b.single), in(a.mean, b.mean), in(a.sum, b.sum), in(a.tilt, b.tilt)}
		}
	}
	return last
}
