package analyze

import (
	"cmp"
	"math"
	"slices"

	"limbgauge/analyze/drive"
	"limbgauge/analyze/stats"
)

// scaleFit is a law's scale as the raising ramps show it.
type scaleFit struct {
	ok       bool // believed
	tried    bool // there were points enough
	slope    float64
	idleA    float64
	rel      float64 // relative standard uncertainty of the slope
	miss     float64 // A, mean size of the residuals
	n        int
	friction float64 // N·m at the motor
}

// movingScale fits a law's scale to the ramps that raise the load. There friction is steady and its
// sign is sure, so current against load is a line (or the law's curve) whose slope is the scale and
// whose foot is friction; standing currents, which friction may hold either way, show less.
//
// Slope and foot lean on each other, most of all where friction is large beside the load. So the
// rated scale (0 when there is none), known to ratedU, has its say, and the uncertainty is read off
// all slopes that explain the currents nearly as well as the best.
func (c *subject) movingScale(d driven, raw []rubPoint, rated float64) scaleFit {
	pts := slowBins(raw, true)
	var load, y []float64
	for _, p := range pts {
		load, y = append(load, p.load/c.j.Ratio()), append(y, p.amps-d.idleA)
	}
	if len(load) < 10 || span(load) < 0.4*slices.Max(load) || d.idleA == 0 {
		return scaleFit{}
	}
	lag, volts := make([]float64, len(pts)), c.restVolts()
	for i, p := range pts {
		lag[i] = d.drive(1, p.rate*c.j.Ratio(), volts) - 1
	}
	x, ratio := make([]float64, len(load)), make([]float64, len(load))
	// For a given friction the scale is a straight line through the idle current. Sizes of residuals
	// are added, not their squares, so that a tight spot moves neither.
	fit := func(f float64) (slope, miss, cost float64) {
		for i := range load {
			x[i] = load[i] + f
			if d.law == drive.LawDuty {
				x[i] *= x[i] + lag[i]
			}
			ratio[i] = y[i] / x[i]
		}
		slope = weightedMedian(ratio, x)
		for i := range load {
			miss += math.Abs(y[i] - slope*x[i])
		}
		miss /= float64(len(load))
		cost = scaleShare * float64(len(load)) * math.Log(math.Max(miss, 1e-12))
		if rated > 0 && slope > 0 {
			off := math.Log(slope/rated) / ratedU
			cost += off * off / 2
		}
		return slope, miss, cost
	}
	// The first grid finds the valley of the cost, the second its width.
	const grid = 60
	best, least := 0.0, math.Inf(1)
	lo, hi := 0.0, 3*slices.Max(load)
	for range 3 {
		step := (hi - lo) / grid
		for k := 0; k <= grid; k++ {
			if _, _, cost := fit(lo + float64(k)*step); cost < least {
				best, least = lo+float64(k)*step, cost
			}
		}
		lo, hi = math.Max(0, best-2*step), best+2*step
	}
	s := scaleFit{tried: true, idleA: d.idleA, n: len(load), friction: best}
	s.slope, s.miss, _ = fit(best)
	s.miss = c.withLowering(d, raw, s)
	flat, steep := s.slope, s.slope
	for k := 0; k <= 4*grid; k++ {
		// Two is the fall of the log likelihood at the ends of a 95 % interval.
		if slope, _, cost := fit(3 * slices.Max(load) * float64(k) / (4 * grid)); cost < least+2 {
			flat, steep = math.Min(flat, slope), math.Max(steep, slope)
		}
	}
	s.rel = math.Max(0.01, (steep-flat)/4/s.slope)
	s.ok = s.slope > 0 && s.rel < scaleKnown
	return s
}

// withLowering returns the mean size of the residuals with those of the lowering ramps counted in
// where the load is small beside friction. There the motor still drives, under little torque, where
// the two laws differ most; where the load overhauls, drivers differ and nothing is concluded.
func (c *subject) withLowering(d driven, raw []rubPoint, s scaleFit) float64 {
	const little = 0.7
	sum, n := s.miss*float64(s.n), float64(s.n)
	for _, p := range slowBins(raw, false) {
		if load := p.load / c.j.Ratio(); load < little*s.friction {
			sum += math.Abs(p.amps - d.idleA - s.slope*d.drive(s.friction-load, p.rate*c.j.Ratio(), c.restVolts()))
			n++
		}
	}
	return sum / n
}

// scaleKnown is the relative standard uncertainty up to which a run's own scale is believed; the data
// sheet's own is ratedU [common practice].
const scaleKnown = 0.15

// scaleShare is the share of neighbouring stretches that count as independent: they have their
// vibration and their quanta in common [common practice].
const scaleShare = 1.0 / 3

// slowBins returns the stretches that raise or lower the load, one for each place and direction:
// medians over the cycles. Only the slow ramps count.
func slowBins(raw []rubPoint, raising bool) []rubPoint {
	type key struct{ bin, dir int }
	slow, at := slowest(raw), map[key][]rubPoint{}
	var order []key
	for _, p := range raw {
		if p.raising != raising || p.rate > slow*1.2 {
			continue
		}
		k := key{p.bin, p.dir}
		if len(at[k]) == 0 {
			order = append(order, k)
		}
		at[k] = append(at[k], p)
	}
	var out []rubPoint
	for _, k := range order {
		of := func(read func(rubPoint) float64) float64 {
			var v []float64
			for _, p := range at[k] {
				v = append(v, read(p))
			}
			return stats.Median(v)
		}
		p := at[k][0]
		p.load, p.amps = of(func(p rubPoint) float64 { return p.load }), of(func(p rubPoint) float64 { return p.amps })
		out = append(out, p)
	}
	return out
}

// weightedMedian returns the value at which half of the weight (sizes of w) is reached: the slope of
// the line through the origin with the least sum of sizes of residuals, when v are y/x and w are x.
func weightedMedian(v, w []float64) float64 {
	order := make([]int, len(v))
	total := 0.0
	for i := range v {
		order[i] = i
		total += math.Abs(w[i])
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(v[a], v[b]) })
	sum := 0.0
	for _, i := range order {
		if sum += math.Abs(w[i]); sum >= total/2 {
			return v[i]
		}
	}
	return math.NaN()
}

// standing returns load torque on the motor and supply current at each target, averaged over both
// ways of reaching it so that friction cancels.
func (c *subject) standing() (torque, amps []float64) {
	for _, t := range c.targets {
		var load, current [2][]float64
		for _, s := range c.stops {
			if s.Target != t || c.stalledIn(s.Tail[0], s.Tail[1]) {
				continue
			}
			k := (s.Dir + 1) / 2
			load[k] = append(load[k], meanOf(c.load[s.Tail[0]:s.Tail[1]]))
			current[k] = append(current[k], meanOf(c.s.Current[s.Tail[0]:s.Tail[1]]))
		}
		if len(load[0]) == 0 || len(load[1]) == 0 {
			continue
		}
		torque = append(torque, (meanOf(load[0])+meanOf(load[1]))/2/c.j.Ratio())
		amps = append(amps, (meanOf(current[0])+meanOf(current[1]))/2)
	}
	return torque, amps
}

// lawOf weighs how well each law fits the currents against how near its scale comes to the rated
// lines: friction bends a straight line into something like a square, but moves its scale far away
// from the data sheet. The raising ramps speak before the standing currents.
func lawOf(stand drive.LawFit, moving map[drive.Law]scaleFit, rated drive.Motor, known bool) drive.Law {
	const (
		spread = 0.35 // standard deviation of ln(scale/rated): data sheets are off by a third at worst
		most   = 20.0 // a fit alone never says more than this in log-odds
		least  = 3.0
	)
	lin, sq, odds := stand.Linear.Value, stand.Square.Value, stand.BICGap/2
	if m, q := moving[drive.LawMotor], moving[drive.LawDuty]; m.tried && q.tried {
		// Neighbouring stretches share their vibration; a third of them count.
		lin, sq, odds = m.slope, q.slope, scaleShare*float64(m.n)*math.Log(q.miss/m.miss)
	}
	if !known {
		if math.IsNaN(odds) {
			return stand.Law
		}
	} else if !(lin > 0) || !(sq > 0) {
		return stand.Law
	}
	odds = math.Max(-most, math.Min(most, odds))
	if known {
		perNm := (rated.StallA - rated.IdleA) / rated.StallNm
		miss := func(slope, want float64) float64 { x := math.Log(slope/want) / spread; return x * x / 2 }
		odds += miss(sq, perNm/rated.StallNm) - miss(lin, perNm)
	}
	switch {
	case odds > least:
		return drive.LawMotor
	case odds < -least:
		return drive.LawDuty
	}
	return drive.LawUnknown
}
