package analyze

import (
	"fmt"
	"math"
	"slices"

	"limbgauge/analyze/diagnose"
	"limbgauge/analyze/health"
	"limbgauge/rig"
)

// Run is RunAfter of a joint without a past.
func Run(s *rig.Series, j rig.Joint) (health.Joint, error) { return RunAfter(s, j, Past{}) }

// RunAfter analyses one joint of one run: every measure with its doubt, judged against the joint's
// limits, and the findings they add up to. Where no limit is stated the joint's own first runs serve,
// see Past. The same series and past always give the same answer.
//
// It returns an error only when the series cannot be analysed at all: too few samples, or no
// command or joint angle. All else that is missing shows as measures that are not observable.
func RunAfter(s *rig.Series, j rig.Joint, past Past) (health.Joint, error) {
	s, err := usable(s)
	if err != nil {
		return health.Joint{}, fmt.Errorf("analyse joint %q: %w", j.Name, err)
	}
	seen := inspect(s, j)
	s = seen.series
	c := prepare(seen, j)
	c.jitter = seen.clock.JitterS
	out := health.Joint{Joint: j.Name}
	e := &diagnose.Evidence{Belt: j.Belt != nil, MotorAngle: s.Motor != nil, Current: s.Current != nil,
		Load: c.load != nil, RestVolts: c.restVolts(), Sensors: seen.faults}

	form, bent := c.formFaults(seen)
	e.Sensors = append(e.Sensors, form...)

	raw := c.stretches()
	d := c.drivenOf(raw)
	points := c.rubbing(d, raw)
	rub := c.totalFriction(d, points)

	var response, shaken, heat []health.Measure
	var responses, currents, voltages []health.Curve
	var fit fitted
	var lost health.Measure
	paths := make([]pathAnswer, len(c.paths))
	var work []func()
	for i := range slices.Backward(c.paths) { // the transmission takes longest
		work = append(work, func() { paths[i] = c.ofPath(&c.paths[i], rub.Value+rub.Expanded()) })
	}
	together(append(work,
		func() { response = c.responseMeasures() },
		func() { fit = c.fitFriction(d, points) },
		func() { shaken, responses = c.shakeMeasures() },
		func() { e.Hunting = c.hunting() },
		func() { heat = c.heatMeasures(d) },
		func() { lost = c.lostSamples() },
		func() {
			currents = appendCurve(nil)(c.timeCurve("current", "Supply current", "current in A", s.Current, j.CurrentMaxA))
		},
		func() {
			voltages = appendCurve(nil)(c.timeCurve("supply", "Supply voltage", "voltage in V", s.Supply, 0))
		})...)

	fits := map[health.Path]*loops{}
	for i := range paths {
		p := &paths[i]
		fits[p.loops.path.name] = &p.loops
		out.Measures, out.Curves = append(out.Measures, p.measures...), append(out.Curves, p.curves...)
		e.Steps = append(e.Steps, p.steps...)
		if p.creep != nil && p.loops.path == c.stretch() {
			e.Creep = p.creep
		}
	}
	stretch := fits[c.stretch().name]
	if j.Belt != nil {
		ms, hidden := c.beltMeasures(*stretch)
		out.Measures = append(out.Measures, ms...)
		e.KneeHidden = hidden
	}
	tight := c.tightMeasures(d, points)
	fit = fit.beside(tight[0])
	out.Measures = append(out.Measures, c.frictionMeasures(d, points, rub, fits[health.Transmission], tight[0])...)
	out.Measures = append(out.Measures, tight...)
	out.Measures = append(out.Measures, fit.asymmetry(), fit.amplitude())
	ms, use := c.torqueMeasures(d, rub)
	out.Measures = append(append(out.Measures, ms...), heat...)
	e.NominalUse = use
	out.Measures = append(out.Measures, c.stallMeasure(), c.sag, lost)
	out.Measures = append(append(out.Measures, response...), shaken...)

	ms, apart, note := c.withoutServo(seen.withhold(figures(d.doubted(out.Measures))), past)
	if e.BareServo = apart; apart {
		e.BareStale, past.Usual = past.Bare.Stale, c.usualWithout(past)
	}
	out.Measures = c.limits(ms, past, apart)
	e.Measures = out.Measures
	out.Findings = diagnose.Diagnose(e)

	out.Curves = appendCurve(out.Curves)(rubCurve(points))
	out.Curves = append(append(out.Curves, currents...), voltages...)
	out.Curves = appendCurve(out.Curves)(c.holdCurve(c.stretch()))
	out.Curves = appendCurve(out.Curves)(c.stepCurve())
	out.Curves = append(out.Curves, responses...)
	out.Curves = seen.pictures(out.Curves)
	out.Notes = append(append(c.notes(d, note), seen.notes...), bent...)
	return out, nil
}

// pathAnswer is what one path says by itself.
type pathAnswer struct {
	loops    loops
	measures []health.Measure
	steps    []diagnose.Step
	creep    *diagnose.Creep
	curves   []health.Curve
}

func (c *subject) ofPath(p *path, frictionMax float64) (out pathAnswer) {
	together(func() { out.loops = c.fitLoop(p, frictionMax) }, func() { out.measures = c.positioning(p) })
	out.measures = append(out.measures, c.loopMeasures(out.loops)...)
	ms, steps := c.offsetMeasures(p)
	out.measures, out.steps = append(out.measures, ms...), steps
	ms, out.creep = c.creepMeasures(p)
	out.measures = append(append(out.measures, ms...), c.setMeasure(p))
	out.curves = appendCurve(out.curves)(c.loopCurve(out.loops))
	out.curves = appendCurve(out.curves)(c.errorCurve(p))
	return out
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
func (c *subject) notes(d driven, bare string) []string {
	var out []string
	if c.s.Move == nil {
		out = append(out, "The log carries no move marks; moves were told from the command.")
	}
	switch {
	case bare != "":
		out = append(out, bare)
	case c.s.Motor == nil:
		out = append(out, "There is no motor-side angle: servo, horn and transmission add up in the path total, and causes in them cannot always be told apart.")
	}
	if d.law != "" {
		out = append(out, fmt.Sprintf("Supply current is read by the %s law (%s).", d.law, d.from))
	} else if d.why != "" {
		out = append(out, "Torque was not taken from current: "+d.why+".")
	}
	if d.misses() {
		out = append(out, fmt.Sprintf("The current speaks for %.2f times the load that bench.toml states, more than a data sheet is off: weigh the load, measure its lever, or look whether the rated lines are those of this servo.", d.miss.Value))
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
