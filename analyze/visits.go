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
	// acrossLeast is the least step, deg, that is looked for between unlike moves, whose rests differ
	// by friction and lag even without a step [common practice].
	acrossLeast = 0.5
	// acrossSpread, deg, is how unlike moves repeat; halfWidthDeg what half the width of a loop may be.
	acrossSpread = 0.05
	halfWidthDeg = 0.5
	// acrossU, deg, is how well the middles of their loops are taken to agree (expanded) [common practice].
	acrossU = 0.12
)

// findSteps finds the lasting steps of a path's offset from all its rests and passes and takes them
// out, so that one slip does not drown every other figure.
//
// Rests at the same command, after the same kind of approach, and passes of the same stop at the same
// speed repeat themselves best: they are compared first. A step that falls between two kinds of move
// leaves no such pair; what is left is then compared across kinds.
func (c *subject) findSteps(p *path) {
	visits, load := c.visits(p)
	o := drift.DefaultOptions(p.quantum)
	steps := c.allSteps(visits, o)
	c.takeOut(p, steps)
	if len(p.steps) == 0 || c.load == nil {
		return
	}
	// A joint that slipped stands elsewhere at the same command, and so under another load: what it
	// gives under that is no part of the step.
	give := c.fitLoop(p, math.NaN()).loop.Compliance
	if !(give.Value > 0) {
		return
	}
	for i := range visits {
		visits[i].Defl -= give.Value * load[i]
	}
	rough, steps := p.steps, c.allSteps(visits, o)
	if len(steps) != len(rough) {
		return
	}
	for i := range steps {
		steps[i].SizeU = math.Hypot(steps[i].SizeU, give.U/give.Value*(steps[i].Size-rough[i].Size))
	}
	c.takeOut(p, steps)
}

// visit is one reading with what it takes to compare it.
type visit struct {
	drift.Visit
	kind    rig.MoveKind
	rate    int // of a pass, as a class; 0 for a rest
	dir     int
	command float64
}

// allSteps finds steps among like visits, then those between unlike ones.
func (c *subject) allSteps(visits []visit, o drift.Options) []drift.Step {
	like := make([]drift.Visit, len(visits))
	for i, v := range visits {
		like[i] = v.Visit
	}
	steps := drift.Steps(like, o)
	if len(steps) >= o.Most {
		return steps
	}
	o.Most -= len(steps)
	o.LeastDeg = math.Max(o.LeastDeg, acrossLeast)
	for _, st := range drift.Steps(c.acrossKinds(visits, steps), o) {
		// Between visits of one kind the closer look has the word.
		if !likeAround(visits, st) {
			st.SizeU = math.Hypot(st.SizeU, acrossU)
			steps = append(steps, st)
		}
	}
	slices.SortStableFunc(steps, func(a, b drift.Step) int {
		switch {
		case math.Abs(a.Size) > math.Abs(b.Size):
			return -1
		case math.Abs(a.Size) < math.Abs(b.Size):
			return 1
		}
		return 0
	})
	return steps
}

// likeAround reports whether some group of like visits was seen on both sides of a step, often enough
// for it to have shown there.
func likeAround(visits []visit, st drift.Step) bool {
	before, after := map[int]int{}, map[int]int{}
	for _, v := range visits {
		if v.TimeS <= st.After {
			before[v.Group]++
		} else {
			after[v.Group]++
		}
	}
	pairs := 0
	for g, n := range before {
		pairs += min(n, after[g])
	}
	return pairs >= likeLeast
}

// likeLeast is how many pairs of like visits show a step surely.
const likeLeast = 6

// acrossKinds makes visits of all kinds comparable: the deviation of the stair's stops, mean of both
// directions, is taken off at every command, and each kind of move has its own half width of the loop
// (friction and lag are alike in size both ways). Steps found already are taken out.
func (c *subject) acrossKinds(visits []visit, steps []drift.Step) []drift.Visit {
	type kind struct {
		move rig.MoveKind
		rate int
	}
	defl := func(v visit) float64 {
		d := v.Defl
		for _, s := range steps {
			if v.TimeS > s.After {
				d -= s.Size
			}
		}
		return d
	}
	sum, n := map[[2]int]float64{}, map[[2]int]float64{} // by target and direction
	kinds, ways := []kind{}, map[kind][2]int{}
	for _, v := range visits {
		k := kind{v.kind, v.rate}
		if !slices.Contains(kinds, k) {
			kinds = append(kinds, k)
		}
		w := ways[k]
		w[(v.dir+1)/2]++
		ways[k] = w
		if at := c.targetAt(v.command); v.kind == rig.MoveStair && at >= 0 && !math.IsNaN(v.Defl) {
			sum[[2]int{at, v.dir}] += defl(v)
			n[[2]int{at, v.dir}]++
		}
	}
	var x, y []float64
	for i, t := range c.targets {
		if up, down := n[[2]int{i, 1}], n[[2]int{i, -1}]; up > 0 && down > 0 {
			x, y = append(x, t), append(y, (sum[[2]int{i, 1}]/up+sum[[2]int{i, -1}]/down)/2)
		}
	}
	if len(x) < 3 {
		return nil
	}
	out := c.halfWidths(len(kinds))
	for _, v := range visits {
		k := kind{v.kind, v.rate}
		// A kind that only ever came from one side says nothing of where its middle lies.
		if w := ways[k]; w[0] == 0 || w[1] == 0 || v.command < x[0]-passWindowDeg || v.command > x[len(x)-1]+passWindowDeg {
			continue
		}
		also := make([]float64, len(kinds))
		also[slices.Index(kinds, k)] = float64(v.dir)
		w := v.Visit
		w.Group, w.Spread, w.Also = 0, acrossSpread, also
		w.Defl = defl(v) - between(x, y, v.command)
		out = append(out, w)
	}
	return out
}

// halfWidths says beforehand that each kind's half width is some tenths of a degree, as two visits
// either way that differ by no more: where a kind was seen once each way, with a step between, nothing
// else tells the step from a wide loop.
func (c *subject) halfWidths(kinds int) (out []drift.Visit) {
	for k := range kinds {
		for _, dir := range []float64{1, -1} {
			also := make([]float64, kinds)
			also[k] = dir
			out = append(out, drift.Visit{Group: k + 1, TimeS: c.s.Time[0], From: c.s.Time[0], Spread: halfWidthDeg, Also: also})
		}
	}
	return out
}

// between is the straight line through the neighbours of at; x rises.
func between(x, y []float64, at float64) float64 {
	i := min(max(1, sortedAfter(x, at)), len(x)-1)
	return y[i-1] + (y[i]-y[i-1])*(at-x[i-1])/(x[i]-x[i-1])
}

func sortedAfter(x []float64, at float64) int {
	i, _ := slices.BinarySearch(x, at)
	return i
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

// formApartDeg is how far apart two places of a sensor must be for their form errors to have
// nothing in common; nearer ones share them [common practice: harmonics one to four].
const formApartDeg = 20.0

// widen adds to a step's uncertainty that the angle sensor is read in another place after it.
func widen(s drift.Step) drift.Step {
	form := 2 * math.Sqrt2 * sensorForm * math.Min(1, math.Abs(s.Size)/formApartDeg)
	s.SizeU = math.Hypot(s.SizeU, form)
	return s
}

// slipS is how long a slip may take: so much is read before and after it to find its time, and its time
// is known to as much [common practice; some hundredths of a second].
const slipS = 0.048

// takeOut keeps the steps of a path and takes them out of its deflection.
func (c *subject) takeOut(p *path, steps []drift.Step) {
	p.steps, p.at, p.atU, p.since = steps, nil, nil, nil
	for _, st := range steps {
		from, to := c.index(st.After), c.index(st.Before)
		w := max(4, int(math.Round(slipS/c.dt)))
		begin := max(0, from-w)
		at := drift.Locate(p.raw(begin, to), from-begin, to-begin, w, st.Size)
		time, u := (st.After+st.Before)/2, (st.Before-st.After)/2
		if at >= 0 {
			time, u = c.s.Time[begin+at], float64(w)*c.dt+2*c.jitter
		}
		p.at, p.atU, p.since = append(p.at, time), append(p.atU, u), append(p.since, c.index(time))
	}
}
