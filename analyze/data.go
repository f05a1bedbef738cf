package analyze

import (
	"math"
	"slices"
	"strconv"

	"limbgauge/analyze/health"
)

func itoa(n int) string { return strconv.Itoa(n) }

const lostMethod = "samples numbered by the stand and not received, or gaps in time where the log has no numbers; a count"

// lostSamples reports the share of samples that should be there and are not. Where times scatter as
// times taken on arrival do, a single loss looks like a late sample, and the share is a least one.
func (c *subject) lostSamples() health.Measure {
	lost, n := c.s.Losses.Lost, c.s.Len()
	unsure := lost == 0 && c.jitter > jitterLeast*c.dt
	if lost == 0 {
		lost = gaps(c.s.Time, c.dt, c.jitter)
	}
	share := float64(lost) / float64(lost+n)
	if unsure {
		return health.Bound("lost_samples", health.NoPath, health.BoundLow, share, math.NaN(), lostMethod,
			"the times of the samples scatter, so that single losses can not be told from late samples")
	}
	return health.Of("lost_samples", health.NoPath, share, 0, lostMethod)
}

// gaps counts samples missing from a grid of spacing dt, about which times scatter by jitter.
func gaps(t []float64, dt, jitter float64) int {
	lost := 0
	for i := 1; i < len(t); i++ {
		if d := t[i] - t[i-1]; d > 1.6*dt+6*jitter {
			lost += int(math.Round(d/dt)) - 1
		}
	}
	return lost
}

// limits judges the measures against the joint's limits, and where the builder states none against
// what the joint itself was at first. What the builder accepts of a joint is
// applied where the joint shows it best: to the parts of the joint where a motor-side angle tells
// them apart, else to the whole; the whole alone counts for errors of position. Friction is judged
// without the servo's own. apart says that play and compliance of servo and transmission are told
// apart without a motor-side angle.
func (c *subject) limits(ms []health.Measure, past Past, apart bool) []health.Measure {
	parts := []health.Path{health.Total}
	shared := parts
	if c.s.Motor != nil || apart {
		shared = []health.Path{health.Servo, health.Transmission}
	}
	if c.s.Motor != nil {
		parts = []health.Path{health.Servo, health.Transmission}
	}
	where := map[string][]health.Path{
		"play": shared, "compliance": shared, "creep": parts, "offset_step": parts,
		"reversal_error": {health.Total}, "repeatability": {health.Total}, "accuracy": {health.Total},
		"friction": {health.Transmission},
	}
	for i, m := range ms {
		if paths, only := where[m.Name]; only && !slices.Contains(paths, m.Path) {
			continue
		}
		limit, ok := c.j.Limits[m.Name]
		from := health.FromBench
		if !ok && m.Status != health.NotObservable {
			limit, from, ok = baseline(m.Name, m.Path, past.Usual)
		}
		if !ok {
			continue
		}
		judged := health.Judge(m, limit)
		judged.LimitFrom = from
		if judged.FromBaseline() && judged.Verdict == health.Unproven && m.Status != health.Measured {
			continue // a bound that decides nothing is no news against a limit that nobody stated
		}
		ms[i] = judged
	}
	return ms
}
