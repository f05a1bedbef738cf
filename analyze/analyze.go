package analyze

import (
	"fmt"
	"math"

	"limbgauge/analyze/diagnose"
	"limbgauge/analyze/health"
	"limbgauge/analyze/play"
	"limbgauge/rig"
)

// Run analyses one joint of one run: every measure with its doubt, judged against the joint's
// limits, and the findings they add up to. The same series always gives the same answer.
//
// It returns an error only when the series cannot be analysed at all: too few samples, or no
// command or joint angle. All else that is missing shows as measures that are not observable.
func Run(s *rig.Series, j rig.Joint) (health.Joint, error) {
	s, err := usable(s)
	if err != nil {
		return health.Joint{}, fmt.Errorf("analyse joint %q: %w", j.Name, err)
	}
	seen := inspect(s, j)
	s = seen.series
	c := prepare(s, j)
	c.jitter = seen.clock.JitterS
	out := health.Joint{Joint: j.Name}
	e := &diagnose.Evidence{Belt: j.Belt != nil, MotorAngle: s.Motor != nil, Current: s.Current != nil,
		Load: c.load != nil, RestVolts: c.restVolts(), Sensors: seen.faults, Hunting: c.hunting()}

	raw := c.stretches()
	d := c.drivenOf(raw)
	points := c.rubbing(d, raw)
	rub := c.totalFriction(d, points)

	fits := map[health.Path]*loops{}
	for i := range c.paths {
		p := &c.paths[i]
		l := c.fitLoop(p, rub.Value+rub.Expanded())
		fits[p.name] = &l
		out.Measures = append(out.Measures, c.positioning(p)...)
		out.Measures = append(out.Measures, c.loopMeasures(l)...)
		ms, steps := c.offsetMeasures(p)
		out.Measures = append(out.Measures, ms...)
		e.Steps = append(e.Steps, steps...)
		ms, creep := c.creepMeasures(p)
		out.Measures = append(out.Measures, ms...)
		if creep != nil && p == c.stretch() {
			e.Creep = creep
		}
		out.Curves = appendCurve(out.Curves)(c.loopCurve(l))
		out.Curves = appendCurve(out.Curves)(c.errorCurve(p))
	}
	stretch := fits[c.stretch().name]
	if j.Belt != nil {
		ms, hidden := c.beltMeasures(*stretch)
		out.Measures = append(out.Measures, ms...)
		e.KneeHidden = hidden
	}
	out.Measures = append(out.Measures, c.frictionMeasures(d, points, rub, fits[health.Transmission])...)
	out.Measures = append(out.Measures, c.tightMeasures(d, points)...)
	ms, use := c.torqueMeasures(d, rub.Value)
	out.Measures = append(out.Measures, ms...)
	e.NominalUse = use
	out.Measures = append(out.Measures, c.stallMeasure(), c.sagMeasure(), c.lostSamples())
	out.Measures = append(out.Measures, c.responseMeasures()...)

	out.Measures = c.limits(seen.withhold(figures(out.Measures)))
	e.Measures = out.Measures
	out.Findings = diagnose.Diagnose(e)

	out.Curves = appendCurve(out.Curves)(rubCurve(points))
	out.Curves = appendCurve(out.Curves)(c.timeCurve("current", "Supply current", "current in A", s.Current, j.CurrentMaxA))
	out.Curves = appendCurve(out.Curves)(c.timeCurve("supply", "Supply voltage", "voltage in V", s.Supply, 0))
	out.Curves = appendCurve(out.Curves)(c.holdCurve(c.stretch()))
	out.Curves = appendCurve(out.Curves)(c.stepCurve())
	out.Curves = seen.pictures(out.Curves)
	out.Notes = append(c.notes(d), seen.notes...)
	return out, nil
}

// figures makes what missing readings left without a figure not observable: whatever was computed,
// no measure leaves here that says it was measured and is no number.
func figures(ms []health.Measure) []health.Measure {
	for i, m := range ms {
		silent := m.Status == health.NotObservable && m.Reason == ""
		if silent || m.Status != health.NotObservable && (math.IsNaN(m.Value) || math.IsInf(m.Value, 0)) {
			ms[i] = health.Unseen(m.Name, m.Path, m.Method, "readings are missing where it would show")
		}
		if math.IsInf(m.Uncertainty, 0) {
			ms[i].Uncertainty = math.NaN()
		}
	}
	return ms
}

func appendCurve(all []health.Curve) func(health.Curve, bool) []health.Curve {
	return func(cv health.Curve, ok bool) []health.Curve {
		if ok {
			return append(all, cv)
		}
		return all
	}
}

// notes says what the reader should know of the data and the assumptions.
func (c *subject) notes(d driven) []string {
	var out []string
	if c.s.Move == nil {
		out = append(out, "The log carries no move marks; moves were told from the command.")
	}
	if c.s.Motor == nil {
		out = append(out, "There is no motor-side angle: servo, horn and transmission add up in the path total, and causes in them cannot always be told apart.")
	}
	if d.law != "" {
		out = append(out, fmt.Sprintf("Supply current is read by the %s law (%s).", d.law, d.from))
	} else if d.why != "" {
		out = append(out, "Torque was not taken from current: "+d.why+".")
	}
	for i := range c.paths {
		if p := &c.paths[i]; len(p.steps) > 0 {
			out = append(out, fmt.Sprintf("A lasting step of the %s offset was taken out before the other figures of that path were made.", p.name))
		}
	}
	if len(c.stalls) > 0 {
		out = append(out, "Stretches in stall were left out of the deflection loop and of friction.")
	}
	return out
}

// slackLeast is the least dead zone, deg, that is taken for a belt without tension: printed parts
// and pulleys have some hundredths of their own [common practice].
const slackLeast = 0.1

// servoPlayUsual is the gear play, deg, that a good servo may have beside its dead band [data sheets
// and hand measurements: 0.15 to 0.5 deg]: in the path total so much says nothing of the belt.
const servoPlayUsual = 0.35

const tensionMethod = "torque at which the deflection line grows steeper, over twice the pitch radius of the joint's pulley: T0 = M/(2r)"

// beltMeasures turns the knee of the loop into span-slack torque and pretension. hidden is true
// where a knee below the torques seen cannot be excluded.
func (c *subject) beltMeasures(l loops) (out []health.Measure, hidden bool) {
	p, r := l.path.name, c.j.Belt.JointRadiusM()
	both := func(status health.Status, m, u float64, why string) []health.Measure {
		return []health.Measure{
			health.Bound("span_slack_torque", p, status, m, u, tensionMethod, why),
			health.Bound("belt_tension", p, status, m/(2*r), u/(2*r), tensionMethod, why),
		}
	}
	unseen := func(why string) []health.Measure {
		return []health.Measure{
			health.Unseen("span_slack_torque", p, tensionMethod, why),
			health.Unseen("belt_tension", p, tensionMethod, why),
		}
	}
	if l.loop.N == 0 {
		return unseen(l.err.Error()), true
	}
	if !math.IsNaN(l.loop.Knee) {
		return both(health.Measured, l.loop.Knee, math.Hypot(l.loop.KneeU, 2*loadU*l.loop.Knee), ""), false
	}
	if limit, ok := c.j.Limits["compliance"]; ok && l.loop.Compliance.Value > limit {
		// One slack span from the start and a soft part give the same straight, steep line.
		why := "the line is steep over all torques seen: a span may be slack from the start, or a part gives; without a knee the two look alike"
		return unseen(why), true
	}
	// No knee was found between these torques; the ends are not to be trusted.
	least := math.Max(l.loop.LoadMin, play.KneeLow*l.loop.LoadMax)
	low, high := l.loop.KneeFrom, l.loop.KneeTo
	width, wide := l.loop.Play.Value, math.Max(slackLeast, l.path.quantum)
	if p == health.Total {
		band, _ := c.deadBand()
		width, wide = width-band, servoPlayUsual
	}
	slack := l.err == nil && width-l.loop.Play.U > wide
	seen := low < high // false where a knee is excluded nowhere
	switch {
	case l.err != nil && seen:
		// Without a change of sign the smallest torque seen may already lie beyond the knee.
		why := fmt.Sprintf("no change of slope between %.3f and %.3f N·m: the span goes slack below or above, which a load that reverses would tell", low, high)
		return unseen(why), true
	case slack && p == health.Transmission:
		return both(health.BoundHigh, least, math.NaN(), "a dead zone has opened, as it does when the pretension is gone; play of a hub looks alike"), true
	case slack:
		why := "the dead zone of the servo and a slack belt cannot be told apart without a motor-side angle"
		return unseen(why), true
	}
	if !seen {
		why := "the load is too small, or the loop scatters too much, for a slack span to show; hang more on the joint"
		return unseen(why), true
	}
	why := fmt.Sprintf("no span goes slack between %.3f and %.3f N·m; more load would show the tension itself. A belt slack from the start (below %.1f N) would show by a greater compliance alone",
		low, high, low/(2*r))
	return both(health.BoundLow, high, math.NaN(), why), p == health.Total
}
