package segment

import (
	"math"
	"sort"

	"limbgauge/rig"
)

// Stop is one visit of a target of a stair, reached by motion in one direction.
type Stop struct {
	Target  float64 // deg, as commanded
	Dir     int     // +1 when reached by rising angle
	Cycle   int     // from 0: how often this target was reached in this direction before
	Tail    [2]int  // samples of the last part of the dwell, where readings are taken
	Start   int     // first sample of the dwell
	Piece   int     // index into the pieces
	TimeS   float64 // start of the dwell
	Settled bool
}

const (
	// tailShare is the last part of a dwell that counts as settled.
	tailShare = 0.4
	// tailMin is the least number of samples a reading is averaged over [ISO 230-2 practice].
	tailMin = 12
	// sameTargetDeg is how near two commands must be to be one target: below the resolution of
	// any servo pulse, above rounding.
	sameTargetDeg = 0.06
)

// Stops returns the visits of every stair target that was reached at least once from each side,
// in time order, and the sorted targets. Targets reached from one side only are left out: they
// say nothing of reversal.
func Stops(time []float64, pieces []Piece) (stops []Stop, targets []float64) {
	for i, p := range pieces {
		if p.Kind != rig.MoveStair || p.Dir() == 0 || p.Dwell[1]-p.Dwell[0] < tailMin {
			continue
		}
		n := p.Dwell[1] - p.Dwell[0]
		tail := max(tailMin, int(tailShare*float64(n)))
		stops = append(stops, Stop{Target: p.ToDeg, Dir: p.Dir(), Piece: i, TimeS: time[p.Dwell[0]],
			Start: p.Dwell[0], Tail: [2]int{p.Dwell[1] - tail, p.Dwell[1]}})
	}
	targets = cluster(stops)
	seen := map[float64]map[int]int{}
	for i := range stops {
		s := &stops[i]
		s.Target = nearest(targets, s.Target)
		if seen[s.Target] == nil {
			seen[s.Target] = map[int]int{}
		}
		s.Cycle = seen[s.Target][s.Dir]
		seen[s.Target][s.Dir]++
	}
	keep := stops[:0]
	for _, s := range stops {
		if seen[s.Target][1] > 0 && seen[s.Target][-1] > 0 {
			keep = append(keep, s)
		}
	}
	var both []float64
	for _, t := range targets {
		if seen[t][1] > 0 && seen[t][-1] > 0 {
			both = append(both, t)
		}
	}
	return keep, both
}

func cluster(stops []Stop) []float64 {
	var all []float64
	for _, s := range stops {
		all = append(all, s.Target)
	}
	sort.Float64s(all)
	var out []float64
	for _, t := range all {
		if len(out) == 0 || t-out[len(out)-1] > sameTargetDeg {
			out = append(out, t)
		}
	}
	return out
}

func nearest(sorted []float64, x float64) float64 {
	best := math.NaN()
	for _, t := range sorted {
		if math.IsNaN(best) || math.Abs(t-x) < math.Abs(best-x) {
			best = t
		}
	}
	return best
}

// Pass is one long travel at constant speed in one direction.
type Pass struct {
	Dir   int
	Rate  float64 // deg/s
	Cycle int     // from 0, per direction
	Span  [2]int
}

// Passes returns the ramps of a run.
func Passes(pieces []Piece) []Pass {
	var out []Pass
	count := map[int]int{}
	for _, p := range pieces {
		if p.Kind != rig.MoveRamp || p.TravelS < rampS/2 || p.Dir() == 0 {
			continue
		}
		out = append(out, Pass{Dir: p.Dir(), Rate: p.Rate, Cycle: count[p.Dir()], Span: p.Travel})
		count[p.Dir()]++
	}
	return out
}
