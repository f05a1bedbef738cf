package analyze

import (
	"math"
	"slices"

	"limbgauge/analyze/drift"
	"limbgauge/analyze/segment"
	"limbgauge/rig"
)

const (
	// passWindowDeg is how near the command must be to a stop for a pass to be read there.
	passWindowDeg = 1.0
	// passReadS bounds how long that reading is.
	passReadS = 0.2
	// passEdgeS is left out at the ends of a pass, where the joint speeds up and slows down.
	passEdgeS = 0.3
	// placeDeg is how far apart passes are read where the run has no stair.
	placeDeg = 10.0
)

// visit is one reading with what it takes to compare it.
type visit struct {
	drift.Visit
	kind    rig.MoveKind
	rate    int // of a pass, as a class; 0 for a rest
	dir     int
	command float64
}

// targetAt returns the stop of the stair at a command, -1 for none.
func (c *subject) targetAt(command float64) int {
	for i, t := range c.targets {
		if math.Abs(t-command) < passWindowDeg {
			return i
		}
	}
	return -1
}

// visits returns the rests of a run that are long enough to be read, and its passes read at the stops,
// in time order, with the load in each.
func (c *subject) visits(p *path) (visits []visit, load []float64) {
	// A visit in passing, after a fast or slow approach, rests elsewhere in its friction: only like
	// moves are compared.
	type key struct {
		target, dir int
		kind        rig.MoveKind
		rate        int
	}
	groups := map[key]int{}
	var rates []float64
	add := func(from, to int, target float64, dir int, kind rig.MoveKind, rate int) {
		k := key{int(math.Round(target * 10)), dir, kind, rate}
		g, ok := groups[k]
		if !ok {
			g = len(groups)
			groups[k] = g
		}
		visits = append(visits, visit{Visit: drift.Visit{Group: g, TimeS: (c.s.Time[from] + c.s.Time[to-1]) / 2,
			From: c.s.Time[from], Defl: meanOf(p.raw(from, to))}, kind: kind, rate: rate, dir: dir, command: target})
		if c.load != nil {
			load = append(load, meanOf(c.load[from:to]))
		}
	}
	for _, q := range c.pieces {
		if q.Kind == rig.MoveRamp && q.TravelS > rampLeastS {
			rate := slices.IndexFunc(rates, func(r float64) bool { return math.Abs(q.Rate-r) < sameRate*r }) + 1
			if rate == 0 {
				rates = append(rates, q.Rate)
				rate = len(rates)
			}
			c.passing(q, func(from, to int, target float64) { add(from, to, target, q.Dir(), q.Kind, rate) })
		}
		n := q.Dwell[1] - q.Dwell[0]
		if n < restLeast || q.DwellS < 0.2 {
			continue
		}
		from, to := q.Dwell[0]+n*3/5, q.Dwell[1]
		if q.DwellS > 2 { // a hold is read where the shorter visits are read, not after its creep
			from, to = c.index(c.s.Time[q.Dwell[0]]+0.35), c.index(c.s.Time[q.Dwell[0]]+0.6)
		}
		if from < to { // else samples are missing there
			add(from, to, q.ToDeg, q.Dir(), q.Kind, 0)
		}
	}
	visits, load = c.undivided(p, visits, load)
	weigh(visits, p.quantum)
	return visits, load
}

// undivided leaves out readings in which something changed from the first half to the second: a step
// within a reading would count as two of half its size. Where many readings change, the joint sways,
// and all stay.
func (c *subject) undivided(p *path, visits []visit, load []float64) ([]visit, []float64) {
	least := math.Max(changedLeast, 4*p.quantum)
	var keep []visit
	var keptLoad []float64
	for i, v := range visits {
		from := c.index(v.From)
		mid := c.index(v.TimeS)
		to := c.index(2*v.TimeS - v.From)
		if math.Abs(meanOf(p.raw(mid, min(to+1, c.s.Len())))-meanOf(p.raw(from, max(mid, from+1)))) > least {
			continue
		}
		keep = append(keep, v)
		if load != nil {
			keptLoad = append(keptLoad, load[i])
		}
	}
	if len(visits)-len(keep) > max(3, len(visits)/20) {
		return visits, load
	}
	return keep, keptLoad
}

// changedLeast, deg, is less than a step worth naming and more than a joint at rest moves.
const changedLeast = 0.2

const (
	// restLeast is the least number of samples of a rest that is read.
	restLeast = 8
	// rampLeastS is the shortest travel that is read in passing.
	rampLeastS = 1.0
	// sameRate is how far the speeds of two passes may differ for them to be alike.
	sameRate = 0.1
)

// passing reads a pass where its command goes by the stops of the stair, or every ten degrees.
func (c *subject) passing(q segment.Piece, add func(from, to int, target float64)) {
	places := c.targets
	if len(places) < 3 {
		places = nil
		lo, hi := math.Min(q.FromDeg, q.ToDeg), math.Max(q.FromDeg, q.ToDeg)
		for at := placeDeg * math.Ceil(lo/placeDeg); at <= hi; at += placeDeg {
			places = append(places, at)
		}
	}
	if q.Dir() < 0 {
		places = slices.Clone(places)
		slices.Reverse(places)
	}
	first, last := c.s.Time[q.Travel[0]]+passEdgeS, c.s.Time[q.Travel[1]-1]-passEdgeS
	i := q.Travel[0]
	for _, at := range places {
		ahead := func(k int) float64 { return float64(q.Dir()) * (c.s.Command[k] - at) }
		for i < q.Travel[1] && !(ahead(i) > -passWindowDeg) {
			i++
		}
		to := i
		for to < q.Travel[1] && ahead(to) < passWindowDeg && c.s.Time[to]-c.s.Time[i] <= passReadS {
			to++
		}
		if i < to && to < q.Travel[1] && c.s.Time[i] >= first && c.s.Time[to-1] <= last {
			add(i, to, at)
		}
	}
}

// weigh gives the visits of each kind the spread that they show from one to the next of a group.
func weigh(visits []visit, quantum float64) {
	type kind struct {
		move rig.MoveKind
		rate int
	}
	last := map[int]float64{}
	diff := map[kind][]float64{}
	var all []float64
	for _, v := range visits {
		if math.IsNaN(v.Defl) {
			continue
		}
		if before, ok := last[v.Group]; ok {
			k := kind{v.kind, v.rate}
			diff[k] = append(diff[k], math.Abs(v.Defl-before))
			all = append(all, math.Abs(v.Defl-before))
		}
		last[v.Group] = v.Defl
	}
	// Steps are in the differences too, so only the smaller ones tell: a quarter of the differences of
	// normal readings lies below 0.3186 of their deviation.
	least := math.Max(spreadLeast, quantum/4)
	spread := func(d []float64) float64 { return math.Max(least, quantile(d, 0.25)/0.3186/math.Sqrt2) }
	if len(all) == 0 {
		return
	}
	usual, own := spread(all), map[kind]float64{}
	for k, d := range diff {
		if len(d) >= 8 {
			own[k] = spread(d)
		}
	}
	for i, v := range visits {
		visits[i].Spread = usual
		if s, ok := own[kind{v.kind, v.rate}]; ok {
			visits[i].Spread = s
		}
	}
}

// spreadLeast, deg, is what no reading repeats better than.
const spreadLeast = 0.01
