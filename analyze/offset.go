package analyze

import (
	"math"

	"limbgauge/analyze/diagnose"
	"limbgauge/analyze/drift"
	"limbgauge/analyze/health"
	"limbgauge/analyze/segment"
	"limbgauge/rig"
)

const (
	stepMethod  = "shift of the offset between repeated rests at the same command and side, by likelihood ratio; greatest step of the run"
	creepMethod = "deflection at the end of the longest hold less that after its first half second"
)

// splines lists the spline counts usual on hobby servos [common practice; data sheets].
var splines = [...]int{23, 24, 25}

// offsetMeasures reports the greatest lasting step of each path.
func (c *subject) offsetMeasures(p *path) ([]health.Measure, []diagnose.Step) {
	if len(c.stops) < 8 {
		why := "too few rests at the same command were repeated"
		return []health.Measure{health.Unseen("offset_step", p.name, stepMethod, why)}, nil
	}
	var facts []diagnose.Step
	best := -1
	for i, s := range p.steps {
		s = widen(s)
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
	s := widen(p.steps[best])
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
	t, w := c.s.Time[hold.Dwell[0]:hold.Dwell[1]], p.defl[hold.Dwell[0]:hold.Dwell[1]]
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
