package diagnose

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"limbgauge/analyze/health"
)

// blindSpot is a measure that decides on causes and was not seen: where it says nothing, those
// causes are neither found nor excluded.
type blindSpot struct {
	measure string
	paths   []health.Path
	// open says whether a figure that was seen leaves the causes open nevertheless.
	open   func(m health.Measure) bool
	causes func(e *Evidence) []health.Cause
	// next is the cheapest test that would show it.
	next func(m health.Measure, e *Evidence) string
}

// blindSpots lists them, the cheapest test first [order of isolation: common practice].
func blindSpots() []blindSpot {
	const reverse = "mount the joint so that the sweep passes through the angle at which the load hangs straight down, and repeat: play opens only where the load changes sides"
	current := func(m health.Measure, e *Evidence) string {
		if e.Current {
			return "sweep under more load, or state servo.current_law, so that torque can be read from the current"
		}
		return "log the supply current, and repeat"
	}
	return []blindSpot{
		{"stall_time", []health.Path{health.NoPath}, nil, causes(health.Stall), current},
		{"torque_use", []health.Path{health.NoPath, total}, nil, causes(health.NearStall), current},
		{"supply_sag", []health.Path{health.NoPath}, nil, causes(health.SupplySag),
			func(health.Measure, *Evidence) string {
				return "log the supply voltage at the servo's plug, and repeat"
			}},
		{"tight_spot", []health.Path{trans, total}, nil, causes(health.TightSpot), current},
		{"friction", []health.Path{trans, total}, nil, causes(health.HighFriction), current},
		{"compliance", []health.Path{trans, total}, nil, causes(health.ExcessCompliance),
			func(health.Measure, *Evidence) string {
				return "hang a known load on the joint, state it, and repeat the staircase"
			}},
		{"play", []health.Path{trans, total}, nil, hiddenPlay,
			func(health.Measure, *Evidence) string { return reverse }},
		{"creep", []health.Path{trans, total},
			func(m health.Measure) bool { return m.Status == health.Measured && m.Verdict == health.Unproven },
			causes(health.Creep),
			func(m health.Measure, _ *Evidence) string {
				if m.Status == health.Measured { // near its limit
					return "hold the load still for several minutes: creep that goes on will pass its limit"
				}
				return "hold the load still for 20 s or longer, and repeat"
			}},
		{"belt_tension", []health.Path{trans, total},
			func(m health.Measure) bool { return m.Status == health.BoundLow && m.Verdict == health.Unproven },
			causes(health.BeltTensionLow), moreLoad},
		{"offset_step", []health.Path{trans, total}, nil, hiddenStep,
			func(health.Measure, *Evidence) string {
				return "come to rest at the same angles before and after the load, as assembly does"
			}},
	}
}

func hiddenStep(e *Evidence) []health.Cause {
	if e.Belt {
		return []health.Cause{health.HornSlip, health.ToothSkip}
	}
	return []health.Cause{health.HornSlip}
}

func hiddenPlay(e *Evidence) []health.Cause {
	switch {
	case !e.Belt:
		return []health.Cause{health.ServoPlay}
	case e.apart():
		return []health.Cause{health.BeltSlack}
	}
	return []health.Cause{health.BeltSlack, health.ServoPlay}
}

// moreLoad says what load would show a tension at its limit. The torque at which a span goes slack
// is proportional to the tension, T0 = M/(2r).
func moreLoad(m health.Measure, e *Evidence) string {
	const pluck = "pluck a span and compare its tone with a newly tensioned belt"
	s, ok := e.find("span_slack_torque", m.Path)
	if !ok || m.Status != health.BoundLow || !(m.Value > 0) || !(s.Value > 0) {
		return pluck
	}
	return fmt.Sprintf("%s; or load the joint with %.2f N·m, at which a span of %g N goes slack: this run shows no more than %.2f N·m",
		pluck, s.Value*m.Limit/m.Value, m.Limit, s.Value)
}

// isOpen finds the measure of a blind spot and says whether it leaves its causes open.
func (b blindSpot) isOpen(e *Evidence) (health.Measure, bool) {
	m, ok := e.find(b.measure, b.paths...)
	if !ok {
		return m, false
	}
	return m, m.Status == health.NotObservable || b.open != nil && b.open(m)
}

// Odds of a joint without a sign of a fault [common practice].
const (
	soundOdds = 3.0 // all that decides was seen: about 20 to 1
	bareOdds  = 0.8 // no limit is set, or none is proven kept
	blindOdds = 1.0 // taken off for each blind spot
	leastOdds = 0.0 // never less than even
)

// healthy says that nothing was found, what that rests on, and what could not be excluded.
func healthy(e *Evidence) health.Finding {
	f := health.Finding{Cause: health.None, Severity: health.SeverityOK,
		Evidence: []string{}, CouldAlsoBe: []string{}, Next: "nothing to do; repeat the routine after the next hours of use"}
	if health.Silent(e.Measures) {
		return silent(e, f)
	}
	passed, own, limits := 0, 0, 0
	var unproven, reasons []string
	hidden := map[string][]string{} // reason -> what it hides
	for _, m := range e.Measures {
		if !math.IsNaN(m.Limit) && !m.FromBaseline() {
			limits++
		}
		switch {
		case m.Verdict == health.Pass:
			passed++
			if m.FromBaseline() {
				own++
			}
		case m.Verdict == health.Unproven && m.Status != health.NotObservable:
			unproven = append(unproven, say(m))
		case m.Status == health.NotObservable && !math.IsNaN(m.Limit):
			if _, ok := hidden[m.Reason]; !ok {
				reasons = append(reasons, m.Reason)
			}
			hidden[m.Reason] = append(hidden[m.Reason], called(m))
		}
	}
	odds := soundOdds
	switch {
	case passed > own:
		text := plural(passed, "measure passes its limit", "measures pass their limits")
		if own > 0 {
			text += fmt.Sprintf(", %d of them no worse than in the joint's first good runs", own)
		}
		f.Evidence = append(f.Evidence, text)
	case own > 0:
		f.Evidence = append(f.Evidence, plural(own, "measure is", "measures are")+" no worse than in the joint's first good runs; "+noneKept(limits))
		odds = bareOdds
	default:
		f.Evidence = append(f.Evidence, "no sign of a fault; "+noneKept(limits))
		odds = bareOdds
	}
	for _, u := range unproven {
		f.Evidence = append(f.Evidence, "neither passed nor failed: "+u)
	}
	for _, r := range reasons {
		f.Evidence = append(f.Evidence, strings.Join(hidden[r], ", ")+" could not be seen: "+r)
	}
	if limits == 0 && own == 0 {
		f.Next = "set what you accept under [joint.limits] in bench.toml, and analyse the run again"
	}
	first := true
	for _, b := range blindSpots() {
		m, open := b.isOpen(e)
		if !open {
			continue
		}
		for _, c := range b.causes(e) {
			f.CouldAlsoBe = append(f.CouldAlsoBe, string(c))
		}
		odds -= blindOdds
		if first {
			first = false
			if test := b.next(m, e); limits == 0 && own == 0 {
				f.Next += "; then " + test
			} else {
				f.Next = test
			}
		}
	}
	// More load or another sensor shows nothing that the routine never asked for.
	if slices.ContainsFunc(reasons, func(r string) bool { return strings.HasPrefix(r, lacking) }) {
		f.Next = "run a routine that has what this run lacks: assembly has all of it"
	}
	f.Confidence = rounded(math.Max(odds, leastOdds))
	return f
}

// noneKept says why no measure passes a limit that is stated.
func noneKept(limits int) string {
	switch limits {
	case 0:
		return "no limit is set that a measure could pass"
	case 1:
		return "the one limit that is set is not proven kept"
	}
	return fmt.Sprintf("of %d limits that are set none is proven kept", limits)
}

// silent says of a joint of which nothing was seen that nothing is excluded: neither a hidden cause nor one
// that did not show in the little there is.
func silent(e *Evidence, f health.Finding) health.Finding {
	f.Evidence = append(f.Evidence, "nothing can be said: no measure that would show a fault was seen")
	var reasons []string
	hidden := map[string][]string{} // reason -> what it hides
	for _, m := range e.Measures {
		if !m.Tells() {
			continue
		}
		if _, ok := hidden[m.Reason]; !ok {
			reasons = append(reasons, m.Reason)
		}
		d, _ := health.DefinitionOf(m.Name)
		if name := lower(d.Title); !slices.Contains(hidden[m.Reason], name) {
			hidden[m.Reason] = append(hidden[m.Reason], name)
		}
	}
	for _, r := range reasons {
		f.Evidence = append(f.Evidence, strings.Join(hidden[r], ", ")+" could not be seen: "+r)
	}
	for _, c := range health.Causes() {
		belt := c == health.BeltTensionLow || c == health.BeltSlack || c == health.ToothSkip
		if c == health.None || c == health.SensorFault || c == health.LostSamples || belt && !e.Belt {
			continue // what a log of any length shows, and what the joint does not have
		}
		f.CouldAlsoBe = append(f.CouldAlsoBe, string(c))
	}
	f.Next = "run a whole routine under load: assembly shows all that can be seen"
	f.Confidence = rounded(leastOdds)
	return f
}

// lacking begins the reason of a measure that was not seen since the run's moves do not show it.
const lacking = "the run has no "
