package analyze

import (
	"math"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"

	"limbgauge/analyze/health"
	"limbgauge/analyze/stats"
)

const (
	// baselineLeast is how many runs must have measured a figure before they limit it: from fewer
	// no spread can be told.
	baselineLeast = 3
	// baselineMost runs make a baseline. It stays with the first ones, so that a slow drift never
	// becomes what is usual.
	baselineMost = 5
	// baselineK is how many standard deviations a limit lies from the mean of a joint's first good
	// runs [common practice].
	baselineK = 3.0
)

// room is the least distance between the mean of a baseline and its limit: what a builder would not
// call worse however well the runs agree. The greater of both counts [common practice, starting values].
type room struct {
	abs   float64 // in the measure's unit
	share float64 // of the mean
}

// rooms lists the measures that a baseline may limit: those in which one direction is worse and that
// a healthy joint shows in each run. Events (a step, a stall, a tight spot) need no baseline, and
// lost samples are no matter of the joint.
func rooms() map[string]room {
	return map[string]room{
		"reversal_error": {abs: 0.3},
		"repeatability":  {abs: 0.3},
		"accuracy":       {abs: 0.3},
		"play":           {abs: 0.3},
		"creep":          {abs: 0.3},
		"overshoot":      {abs: 0.3, share: 0.3},
		"settle_time":    {abs: 0.1, share: 0.3},
		"compliance":     {share: 0.2},
		"belt_tension":   {share: 0.2},
		"friction":       {abs: 0.01, share: 0.25},
		"torque_use":     {abs: 0.05, share: 0.1},
	}
}

// baseline returns the limit that the first good runs of a joint give for a measure, and the runs it
// rests on. ok is false where they give none: fewer than three measured it, or a baseline says nothing
// of such a measure. Bounds are no values, and figures without a known doubt are not taken.
func baseline(name string, path health.Path, usual []PastRun) (limit float64, from string, ok bool) {
	least, can := rooms()[name]
	if !can {
		return math.NaN(), "", false
	}
	var values, us []float64
	var runs []string
	for _, r := range usual {
		for _, m := range r.Measures {
			if m.Name == name && m.Path == path && m.Status == health.Measured && !math.IsNaN(m.Value+m.Uncertainty) && len(runs) < baselineMost {
				values, us, runs = append(values, m.Value), append(us, m.Uncertainty/2), append(runs, r.Run)
				break
			}
		}
	}
	if len(values) < baselineLeast {
		return math.NaN(), "", false
	}
	d, _ := health.DefinitionOf(name)
	mean := stats.Mean(values)
	if !d.More {
		mean = math.Abs(mean) // what has a sign is judged by its size
	}
	margin := math.Max(usualMargin(values, us), math.Max(least.abs, least.share*mean))
	unit := math.Pow10(-d.Decimals) // rounded to the good of the joint
	if d.More {
		limit = math.Floor((mean-margin)/unit) * unit
	} else {
		limit = math.Ceil((mean+margin)/unit) * unit
	}
	if limit <= 0 {
		return math.NaN(), "", false
	}
	limit = math.Round(limit*math.Pow10(d.Decimals)) / math.Pow10(d.Decimals)
	return limit, "baseline of runs " + strings.Join(runs, ", "), true
}

// usualMargin returns how far from the mean of n runs one more run of the same joint may lie: a
// prediction limit t(Φ(3), ν)·s_p·√(1 + 1/n), which for many runs is three standard deviations.
//
// Each run's own standard uncertainty u is known and covers scatter up to its size. Only what runs
// scatter beyond it has to be estimated from so few of them: s_p² = ū² + max(0, s² - ū²), where the
// second term alone has n - 1 degrees of freedom, so that ν follows by Welch and Satterthwaite
// (JCGM 100:2008, G.4). Three runs that agree within their uncertainties thus give 3·ū·√(4/3); three
// that do not give up to t = 19 times their own spread.
func usualMargin(values, us []float64) float64 {
	n := float64(len(values))
	own := 0.0
	for _, u := range us {
		own += u * u / n
	}
	s := stats.SD(values)
	beyond := math.Max(0, s*s-own)
	spread := math.Sqrt(own + beyond)
	df := stats.WelchSatterthwaite([]float64{math.Sqrt(own), math.Sqrt(beyond)}, []float64{math.Inf(1), n - 1})
	return stats.TQuantile(distuv.UnitNormal.CDF(baselineK), df) * spread * math.Sqrt(1+1/n)
}
