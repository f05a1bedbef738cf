package analyze

import (
	"math"
	"slices"

	"limbgauge/analyze/drift"
	"limbgauge/analyze/health"
	"limbgauge/analyze/play"
	"limbgauge/analyze/stats"
	"limbgauge/rig"
)

const (
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
	if len(steps) == 0 {
		steps = c.heldSteps(p, visits, o)
		c.takeOut(p, steps)
		return // found at one angle under one load: nothing to correct
	}
	c.takeOut(p, steps)
	if len(p.steps) == 0 || c.load == nil {
		return
	}
	// A joint that slipped stands elsewhere at the same command, and so under another load: what it
	// gives under that is no part of the step.
	loop := c.fitLoop(p, math.NaN()).loop
	give := loop.Compliance
	if !(give.Value > 0) {
		return
	}
	steps = c.pressed(steps, visits, load, loop.Play, o)
	c.takeOut(p, steps)
	for i := range visits {
		visits[i].Defl -= give.Value * load[i]
	}
	rough, steps := p.steps, c.pressed(c.allSteps(visits, o), visits, load, loop.Play, o)
	if len(steps) != len(rough) {
		return
	}
	for i := range steps {
		steps[i].SizeU = math.Hypot(steps[i].SizeU, give.U/give.Value*(steps[i].Size-rough[i].Size))
	}
	c.takeOut(p, steps)
}

// pressed leaves out the steps that a dead zone explains: where the load hardly pulls the joint rests
// anywhere in the gap, so a step no wider than the gap must also show at the visits where a flank is
// pressed.
func (c *subject) pressed(steps []drift.Step, visits []visit, load []float64, gap play.Interval, o drift.Options) []drift.Step {
	widest := gap.Value + gap.U
	inGap := func(st drift.Step) bool { return math.Abs(st.Size)-st.SizeU <= widest }
	if !slices.ContainsFunc(steps, inGap) {
		return steps
	}
	var firm []visit
	for i, v := range visits {
		if math.Abs(load[i]) >= play.DefaultLowest*c.loadPeak() {
			firm = append(firm, v)
		}
	}
	shown := c.allSteps(firm, o)
	return slices.DeleteFunc(steps, func(st drift.Step) bool {
		return inGap(st) && !slices.ContainsFunc(shown, func(f drift.Step) bool {
			return f.After < st.Before && f.Before > st.After && f.Size*st.Size > 0 && math.Abs(f.Size) > math.Abs(st.Size)/2
		})
	})
}

// dropEchoes leaves out the steps of the servo that follow from a slip behind it: the joint then stands
// under another load at the same command, and the servo droops otherwise, or lies on its other flank.
func (c *subject) dropEchoes() {
	servo, behind := c.path(health.Servo), c.path(health.Transmission)
	if servo == nil || behind == nil || len(behind.steps) == 0 {
		return
	}
	own := slices.DeleteFunc(slices.Clone(servo.steps), func(st drift.Step) bool {
		return slices.ContainsFunc(behind.steps, func(b drift.Step) bool {
			return b.After < st.Before+echoS && b.Before > st.After-echoS && math.Abs(st.Size) < math.Abs(b.Size)/2
		})
	})
	if len(own) < len(servo.steps) {
		c.takeOut(servo, own)
	}
}

// echoS is how far apart a slip and what it does to the servo may be read, between visits [common practice].
const echoS = 5.0

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

// heldSteps looks for a step inside the longest hold: there are few visits after it. A step that lasts
// is still there in the rests after the hold; one that is not was the joint settling in its friction, or the
// servo.
func (c *subject) heldSteps(p *path, visits []visit, o drift.Options) []drift.Step {
	hold, ok := longestHold(c.pieces)
	if !ok {
		return nil
	}
	w, ok := drift.FindWithin(c.s.Time[hold.Dwell[0]:hold.Dwell[1]], p.raw(hold.Dwell[0], hold.Dwell[1]), math.Max(o.LeastDeg, acrossLeast))
	if !ok {
		return nil
	}
	end := c.s.Time[hold.Dwell[1]-1]
	before, after := math.NaN(), math.NaN()
	for _, v := range visits {
		if v.rate > 0 {
			continue
		}
		switch {
		case v.TimeS < c.s.Time[hold.Dwell[0]]:
			before = v.Defl
		case v.TimeS > end && math.IsNaN(after):
			after = v.Defl
		}
	}
	// What the load gives between unlike rests, and the two sides of the loop, may hide a half.
	if d := after - before; math.IsNaN(d) || math.Abs(d-w.Size) > math.Abs(w.Size)/2 {
		return nil
	}
	return []drift.Step{{Size: w.Size, SizeU: w.SizeU, After: w.At - w.BinS, Before: w.At + w.BinS, Share: 1}}
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
// (friction and lag are alike in size both ways). Steps found already are taken out. It returns nil where
// all kinds have the same middle.
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
	var phase, middles []float64 // of the visits of one kind in a row
	for i, v := range visits {
		if i > 0 && (v.kind != visits[i-1].kind || v.rate != visits[i-1].rate) && len(phase) > 0 {
			middles, phase = append(middles, quantile(phase, 0.5)), nil
		}
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
		out, phase = append(out, w), append(phase, w.Defl)
	}
	if len(phase) > 0 {
		middles = append(middles, quantile(phase, 0.5))
	}
	if stats.Reach(middles) < acrossLeast/2 {
		return nil // a step that lasts would set them apart
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

// formApartDeg is how far apart two places of a sensor must be for their form errors to have
// nothing in common; nearer ones share them [common practice: harmonics one to four].
const formApartDeg = 20.0

// droopShare of a step is what the whole joint may give otherwise under the load of its new place: a
// servo's droop is no straight line [common practice].
const droopShare = 0.012

// widen adds to a step's uncertainty that the angle sensor is read in another place after it, and in
// the path total that the servo stands under another load there.
func (c *subject) widen(s drift.Step, p health.Path) drift.Step {
	form := 2 * math.Sqrt2 * c.jointForm() * math.Min(1, math.Abs(s.Size)/formApartDeg)
	s.SizeU = math.Hypot(s.SizeU, form)
	if p == health.Total {
		s.SizeU = math.Hypot(s.SizeU, droopShare*s.Size)
	}
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
