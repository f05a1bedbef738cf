package friction

import (
	"math"

	"limbgauge/analyze/stats"
)

// TightRule says what counts as a tight spot; all of it is common practice.
type TightRule struct {
	Sigmas    float64 // above the median by this many robust standard deviations
	MinBins   int     // in this many neighbouring bins or more
	Share     float64 // in this share of the cycles
	MinHeight float64 // N·m, and at least this high
}

// DefaultTightRule is 4·1.4826·MAD above the median in two neighbouring bins, in both directions, in
// four cycles of five.
func DefaultTightRule() TightRule { return TightRule{Sigmas: 4, MinBins: 2, Share: 0.8} }

// Spot is one tight spot.
type Spot struct {
	Angle  stats.Estimate // deg, centre of the extra friction, over cycles
	Height stats.Estimate // N·m above the median, at the vertex between the bins; bins flatten a spot narrower than they are
	Width  stats.Estimate // deg, bins above half the height
	Cycles int            // cycles that show it
}

// TightSpots returns the spots of a profile, highest first. The reason is empty when the rule could
// be tried; else it says why no answer can be given.
//
// Friction either way is the pass's torque less a smooth load (offset, sin and cos fitted to the
// half sums, in which friction cancels), so a bump that only one direction feels is not friction.
func TightSpots(p Profile, rule TightRule) (spots []Spot, reason string) {
	switch {
	case p.Cycles < 2:
		return nil, "one cycle cannot show that a tight spot comes back"
	case len(p.Bins) < 3*rule.MinBins:
		return nil, "the travel is too short to have a level beside a tight spot"
	}
	load := p.smoothLoad()
	n := len(p.Bins)
	hits := make([]int, n)
	for c := range p.up {
		up, down := make([]float64, n), make([]float64, n)
		for b := range n {
			up[b], down[b] = p.up[c][b]-load[b], load[b]-p.down[c][b]
		}
		tu, td := above(up, load, rule), above(down, load, rule)
		for b := range n {
			if tu[b] && td[b] {
				hits[b]++
			}
		}
	}
	need := int(math.Ceil(rule.Share*float64(p.Cycles) - 1e-9))
	for from := 0; from < n; from++ {
		if hits[from] < need {
			continue
		}
		to, least := from, hits[from]
		for to < n && hits[to] >= need {
			least = min(least, hits[to])
			to++
		}
		if to-from >= rule.MinBins {
			s := p.spot(from, to)
			s.Cycles = least
			if s.Height.Value >= rule.MinHeight {
				spots = append(spots, s)
			}
		}
		from = to
	}
	for i := range spots {
		for k := i; k > 0 && spots[k].Height.Value > spots[k-1].Height.Value; k-- {
			spots[k], spots[k-1] = spots[k-1], spots[k]
		}
	}
	return spots, ""
}

// aroundBins on either side make the level a bin is held against beside that of the whole travel: wide
// beside any spot, and near enough that a level which differs between the raising and the lowering
// half of a pass (as a supply current's does, which has no sign) does not hide one.
const aroundBins = 5

// lightShare of the greatest load: where it pulls less, raising turns to lowering, and what is usual
// around a place is no one level.
const lightShare = 0.25

// above tells the bins that stand out of the whole travel, or of what is usual around them.
func above(f, load []float64, rule TightRule) []bool {
	limit := stats.Median(f) + rule.Sigmas*stats.RobustSD(f)
	over := make([]float64, len(f))
	for i, v := range f {
		over[i] = v - stats.Median(f[max(0, i-aroundBins):min(len(f), i+aroundBins+1)])
	}
	near := rule.Sigmas * stats.RobustSD(over)
	heavy := 0.0
	for _, l := range load {
		heavy = math.Max(heavy, math.Abs(l))
	}
	out := make([]bool, len(f))
	for i, v := range f {
		out[i] = v > limit || over[i] > near && math.Abs(load[i]) >= lightShare*heavy
	}
	return out
}

// smoothLoad fits offset, sin and cos to the half sums, leaving out bins that stick out.
func (p Profile) smoothLoad() []float64 {
	n := len(p.Bins)
	keep := make([]bool, n)
	for b, x := range p.Bins {
		keep[b] = x.Load.Seen()
	}
	row := func(b int) []float64 {
		a := p.Bins[b].Angle * math.Pi / 180
		return []float64{1, math.Sin(a), math.Cos(a)}
	}
	out := make([]float64, n)
	for range 5 {
		cols, y := make([][]float64, 3), []float64(nil)
		for b := range n {
			if keep[b] {
				for j, v := range row(b) {
					cols[j] = append(cols[j], v)
				}
				y = append(y, p.Bins[b].Load.Value)
			}
		}
		fit, err := stats.OLS(cols, y)
		if err != nil { // a short travel: its mean is the best load there is
			m := stats.Mean(y)
			for b := range out {
				out[b] = m
			}
			return out
		}
		limit := 3 * stats.RobustSD(fit.Resid)
		for b := range n {
			out[b] = fit.At(row(b)).Value
			keep[b] = p.Bins[b].Load.Seen() && math.Abs(p.Bins[b].Load.Value-out[b]) <= math.Max(limit, 1e-12)
		}
	}
	return out
}

// mostVertex is the most by which the vertex may stand above the highest bin: a spot as narrow as a bin
// with its peak on the border of two.
const mostVertex = 1.25

// vertex returns how far the peak between the bins stands above the highest bin, as a factor: the
// bell (parabola of logarithms) through it and its neighbours. 1 where a neighbour is missing or
// shows nothing.
func vertex(f []float64, base float64, peak int) float64 {
	if peak == 0 || peak+1 == len(f) {
		return 1
	}
	a, b, c := f[peak-1]-base, f[peak]-base, f[peak+1]-base
	if !(a > 0 && b >= a && c > 0 && b >= c) {
		return 1
	}
	la, lb, lc := math.Log(a), math.Log(b), math.Log(c)
	slope, bend := (lc-la)/2, 2*lb-la-lc
	if !(bend > 0) {
		return 1
	}
	return math.Min(mostVertex, math.Exp(slope*slope/(2*bend)))
}

// spot measures the bins [from, to) of a tight spot cycle by cycle.
func (p Profile) spot(from, to int) Spot {
	// The flanks of a spot lie in its neighbours, below the threshold.
	lo, hi := max(0, from-1), min(len(p.Bins), to+1)
	peak := from
	for b := from; b < to; b++ {
		if p.Bins[b].Friction.Value > p.Bins[peak].Friction.Value {
			peak = b
		}
	}
	var angle, height, width []float64
	for c := range p.up {
		f := make([]float64, len(p.Bins))
		for b := range f {
			f[b], _ = Halves(p.up[c][b], p.down[c][b])
		}
		base := stats.Median(f)
		h := f[peak] - base
		var sum, moment, wide float64
		for b := lo; b < hi; b++ {
			e := math.Max(0, f[b]-base)
			if math.IsNaN(e) {
				continue
			}
			sum, moment = sum+e, moment+e*p.Bins[b].Angle
			if e > h/2 {
				wide += p.BinDeg
			}
		}
		if sum > 0 && !math.IsNaN(h) {
			angle, height, width = append(angle, moment/sum), append(height, h*vertex(f, base, peak)), append(width, wide)
		}
	}
	s := Spot{Angle: stats.MeanOf(angle), Height: stats.MeanOf(height), Width: stats.MeanOf(width)}
	s.Width.U = math.Hypot(s.Width.U, p.BinDeg/math.Sqrt(6)) // both ends are known to one bin
	s.Angle.U = math.Hypot(s.Angle.U, p.BinDeg/math.Sqrt(12)/math.Sqrt(float64(max(1, to-from))))
	return s
}
