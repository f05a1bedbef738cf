package analyze

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"limbgauge/analyze/diagnose"
	"limbgauge/analyze/drift"
	"limbgauge/analyze/health"
	"limbgauge/analyze/segment"
	"limbgauge/rig"
)

const (
	stepMethod  = "shift of the offset between repeated rests at the same command and side, by likelihood ratio; greatest step of the run"
	setMethod   = "rest at the same command and load after the longest hold less that before it"
	creepMethod = "deflection at the end of the longest hold less that after its first half second"
)

// splines lists the spline counts usual on hobby servos [common practice; data sheets].
var splines = [...]int{23, 24, 25}

// offsetMeasures reports the greatest lasting step of each path.
func (c *subject) offsetMeasures(p *path) ([]health.Measure, []diagnose.Step) {
	if len(c.stops) < 8 {
		if st, ok := c.jumpOf(p); ok {
			at := (st.After + st.Before) / 2
			return []health.Measure{
				health.Of("offset_step", p.name, st.Size, st.SizeU, jumpMethod),
				health.Of("offset_step_time", p.name, at, (st.Before-st.After)/2, jumpMethod),
			}, []diagnose.Step{c.stepFact(p, st, at)}
		}
		why := "too few rests at the same command were repeated"
		return []health.Measure{health.Unseen("offset_step", p.name, stepMethod, why)}, nil
	}
	var facts []diagnose.Step
	best := -1
	for i, s := range p.steps {
		s = c.widen(s, p.name)
		if best < 0 || math.Abs(s.Size) > math.Abs(p.steps[best].Size) {
			best = i
		}
		facts = append(facts, c.stepFact(p, s, p.at[i]))
	}
	if best < 0 {
		least := drift.DefaultOptions(p.quantum).LeastDeg
		return []health.Measure{health.Bound("offset_step", p.name, health.BoundHigh, least, math.NaN(), stepMethod,
			"no lasting step was found; smaller ones are not looked for")}, nil
	}
	s := c.widen(p.steps[best], p.name)
	return []health.Measure{
		health.Of("offset_step", p.name, s.Size, s.SizeU, stepMethod),
		health.Of("offset_step_time", p.name, p.at[best], p.atU[best], stepMethod),
	}, facts
}

func (c *subject) stepFact(p *path, s drift.Step, at float64) diagnose.Step {
	f := diagnose.Step{Path: p.name, Size: s.Size, SizeU: s.SizeU, TimeS: at, ToothRatio: math.NaN()}
	if c.j.Belt != nil {
		t := drift.ComparePitch(s.Size, math.Max(s.SizeU, p.quantum), 360/c.j.Belt.JointTeeth())
		f.Teeth, f.ToothRatio = t.Whole, t.Ratio
	}
	for _, n := range splines {
		// A horn sits before the belt: its pitch shows at the joint divided by the ratio.
		pitch := 360 / float64(n) / c.j.Ratio()
		if d := drift.ComparePitch(s.Size, s.SizeU, pitch); d.Matches && math.Abs(d.Ratio-float64(d.Whole)) < 0.03 {
			f.Spline = splineText(d.Whole, n)
			break
		}
	}
	return f
}

func splineText(whole, n int) string {
	if whole == 1 {
		return "one tooth of a " + itoa(n) + "-tooth spline"
	}
	return itoa(whole) + " teeth of a " + itoa(n) + "-tooth spline"
}

// creepMeasures reports growth in the longest hold.
func (c *subject) creepMeasures(p *path) ([]health.Measure, *diagnose.Creep) {
	hold, ok := longestHold(c.pieces)
	if !ok {
		return []health.Measure{health.Unseen("creep", p.name, creepMethod, "the run has no hold of 4 s or more")}, nil
	}
	t, w := c.s.Time[hold.Dwell[0]:hold.Dwell[1]], p.defl(hold.Dwell[0], hold.Dwell[1])
	g, ok := drift.Hold(t, w, p.quantum)
	if !ok {
		return []health.Measure{health.Unseen("creep", p.name, creepMethod, "the hold is shorter than 4 s")}, nil
	}
	m := health.Of("creep", p.name, g.Size, g.SizeU, creepMethod)
	fact := &diagnose.Creep{Path: p.name, LogShare: g.LogShare, LinearShare: g.LinearShare}
	if c.s.Current != nil {
		n := hold.Dwell[1] - hold.Dwell[0]
		i := c.s.Current[hold.Dwell[0]:hold.Dwell[1]]
		early, late := meanOf(i[n/10:n/5]), meanOf(i[n*9/10:])
		if early != 0 {
			fact.CurrentChange = (late - early) / early
		}
	}
	if c.load != nil && math.Abs(meanOf(c.load[hold.Dwell[0]:hold.Dwell[1]])) < lightHold*c.loadPeak() {
		m.Reason = "the hold stands where the load hardly pulls; hold it near level to press the part"
	}
	return []health.Measure{m}, fact
}

const (
	// setRestS is the shortest rest that is compared with another.
	setRestS = 0.3
	// setReadS is the part at its end that is read.
	setReadS = 2.0
	// setNearDeg is how far two commands may lie apart to be the same.
	setNearDeg = 0.1
	// repeatDeg is taken for the deviation of one visit from the next where the run has no stair.
	repeatDeg = 0.05
)

// setMeasure reports what did not come back after the longest hold.
func (c *subject) setMeasure(p *path) health.Measure {
	unseen := func(why string) health.Measure { return health.Unseen("permanent_set", p.name, setMethod, why) }
	hold, ok := longestHold(c.pieces)
	if !ok {
		return unseen("the run has no hold of 4 s or more")
	}
	h := slices.IndexFunc(c.pieces, func(q segment.Piece) bool { return q.Dwell == hold.Dwell })
	if h == 0 || c.pieces[h-1].DwellS < setRestS {
		return unseen("the joint was at no rest before the hold")
	}
	before := c.pieces[h-1]
	a := slices.IndexFunc(c.pieces[h+1:], func(q segment.Piece) bool {
		return q.DwellS >= setRestS && math.Abs(q.ToDeg-before.ToDeg) <= setNearDeg
	})
	if a < 0 {
		return unseen("after the hold the joint did not come back to where it was before")
	}
	after := c.pieces[h+1+a]
	repeat, reversal := c.visitsDiffer(p)
	o := drift.SetOptions{Quantum: p.quantum, Repeat: repeat}
	why := ""
	if before.Dir() != after.Dir() || math.Abs(before.Rate-after.Rate) > 0.3*before.Rate {
		if math.IsNaN(reversal) {
			return unseen("the rests before and after the hold were reached from unlike sides, and the run does not show what that makes")
		}
		o.Reversal = reversal
		why = "the rests before and after the hold were reached from unlike sides, which may differ by the reversal error; "
	}
	last := func(q segment.Piece) []float64 {
		from := max(q.Dwell[0]+(q.Dwell[1]-q.Dwell[0])*2/5, c.index(c.s.Time[q.Dwell[1]-1]-setReadS))
		return p.defl(from, q.Dwell[1])
	}
	s := drift.SetAfter(last(before), last(after), o)
	m := health.Of("permanent_set", p.name, s.Size, s.SizeU, setMethod)
	wait := c.s.Time[after.Dwell[1]-1] - c.s.Time[hold.Dwell[1]-1]
	if wait < hold.DwellS {
		why += fmt.Sprintf("read %.0f s after the hold of %.0f s; what comes back later is still in it", wait, hold.DwellS)
	}
	m.Reason = strings.TrimSuffix(why, "; ")
	return m
}

// visitsDiffer returns the standard deviation of visits of one stop from one side, and the greatest
// difference between both sides of a stop (NaN without a stair).
func (c *subject) visitsDiffer(p *path) (repeat, reversal float64) {
	type stop struct {
		target float64
		dir    int
	}
	at := map[stop][]float64{}
	for _, s := range c.stops {
		k := stop{s.Target, s.Dir}
		at[k] = append(at[k], meanOf(p.defl(s.Tail[0], s.Tail[1])))
	}
	sum, df := 0.0, 0
	reversal = math.NaN()
	for _, t := range c.targets {
		up, down := at[stop{t, 1}], at[stop{t, -1}]
		for _, x := range [][]float64{up, down} {
			if sd := sdOf(x); !math.IsNaN(sd) {
				sum += sd * sd * float64(len(x)-1)
				df += len(x) - 1
			}
		}
		if d := math.Abs(meanOf(up) - meanOf(down)); !(d <= reversal) && !math.IsNaN(d) {
			reversal = d
		}
	}
	if df < 4 {
		return repeatDeg, reversal
	}
	return math.Sqrt(sum / float64(df)), reversal
}

// lightHold is the share of the greatest load below which a hold says little of creep.
const lightHold = 0.3

func longestHold(pieces []segment.Piece) (segment.Piece, bool) {
	best := segment.Piece{}
	for _, p := range pieces {
		if (p.Kind == rig.MoveHold || p.Kind == rig.MoveRock) && p.DwellS > best.DwellS {
			best = p
		}
	}
	return best, best.DwellS >= 4
}

// loadPeak returns the greatest torque of the load in the run, N·m.
func (c *subject) loadPeak() float64 {
	return greatest(c.load)
}
