package vibration

import (
	"math"
	"slices"

	"limbgauge/analyze/stats"
)

// PooledStep is the mean over several steps.
type PooledStep struct {
	N                                                    int
	DeadTime, RiseTime, Overshoot, SettleTime, PeakSpeed stats.Estimate
}

// leastAlike is how many steps must have their like before them for the scatter of steps alike to be a
// standard deviation worth the name.
const leastAlike = 3

// PoolSteps averages each figure over the steps that show it; a figure no step shows is unseen for
// the first step's reason. Steps of other size or direction differ by more than noise, and always by
// as much: only the scatter of steps alike makes the mean unsure, s/√n with their pooled s (one-way
// analysis of variance). Without three steps that have their like the mean may lie anywhere between
// the least and the greatest (even over the range, JCGM 100:2008, 4.3.7).
func PoolSteps(steps []Step) PooledStep {
	kinds := kindsOf(steps)
	pool := func(of func(Step) stats.Estimate) stats.Estimate {
		all := make([]stats.Estimate, len(steps))
		for i, s := range steps {
			all[i] = of(s)
		}
		return pooled(all, kinds)
	}
	return PooledStep{N: len(steps),
		DeadTime:   pool(func(s Step) stats.Estimate { return s.DeadTime }),
		RiseTime:   pool(func(s Step) stats.Estimate { return s.RiseTime }),
		Overshoot:  pool(func(s Step) stats.Estimate { return s.Overshoot }),
		SettleTime: pool(func(s Step) stats.Estimate { return s.SettleTime }),
		PeakSpeed:  pool(func(s Step) stats.Estimate { return s.PeakSpeed })}
}

// alikeShare is the share of their way by which steps alike may differ.
const alikeShare = 0.1

// kindsOf numbers the steps by kind: those of like size and direction have one number.
func kindsOf(steps []Step) []int {
	var ways []float64
	kinds := make([]int, len(steps))
	for i, s := range steps {
		way := s.ToDeg - s.FromDeg
		kinds[i] = slices.IndexFunc(ways, func(w float64) bool { return math.Abs(way-w) <= alikeShare*math.Abs(w) })
		if kinds[i] < 0 {
			kinds[i] = len(ways)
			ways = append(ways, way)
		}
	}
	return kinds
}

func pooled(all []stats.Estimate, kinds []int) stats.Estimate {
	if len(all) == 0 {
		return stats.Unseen("no step was measured")
	}
	groups := map[int][]float64{}
	var x []float64
	var one stats.Estimate
	own := 0.0
	for i, e := range all {
		if e.Seen() {
			x, one = append(x, e.Value), e
			groups[kinds[i]] = append(groups[kinds[i]], e.Value)
			own += e.U * e.U
		}
	}
	n := float64(len(x))
	switch len(x) {
	case 0:
		return all[0]
	case 1:
		return one
	}
	m := stats.Estimate{Value: stats.Mean(x), DF: n - float64(len(groups))}
	if m.DF >= leastAlike {
		within := 0.0
		for _, g := range groups {
			if len(g) > 1 {
				within += stats.Variance(g) * float64(len(g)-1)
			}
		}
		m.U = math.Sqrt(within / m.DF / n)
	} else {
		m.U, m.DF = (slices.Max(x)-slices.Min(x))/math.Sqrt(12), math.Inf(1)
	}
	// What each step cannot tell of itself (spacing, quantum) may be alike in all, as the stand's clock
	// makes both the steps and the samples: it does not average out.
	if own = math.Sqrt(own / n); own > m.U {
		m.U, m.DF = own, math.Inf(1)
	}
	return m
}
