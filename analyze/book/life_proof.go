package book

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"limbgauge/analyze/alike"
	"limbgauge/analyze/health"
	"limbgauge/rig"
)

// shownBy says which measures show a cause: a cure needs one of them seen and passing, and none of
// them failing or unproven. A cause without measures is cured by a run in which it is not found.
var shownBy = map[health.Cause][]string{
	health.BeltTensionLow:   {"belt_tension"},
	health.BeltSlack:        {"play"},
	health.ServoPlay:        {"play"},
	health.ExcessCompliance: {"compliance"},
	health.Creep:            {"creep"},
	health.HornSlip:         {"offset_step"},
	health.ToothSkip:        {"offset_step"},
	health.TightSpot:        {"tight_spot"},
	health.HighFriction:     {"friction"},
	health.NearStall:        {"torque_use"},
	health.Stall:            {"stall_time", "torque_use"},
	health.SupplySag:        {"supply_sag"},
	health.LostSamples:      {"lost_samples"},
}

// proof says whether a run without the finding proves a cure, and by what.
type proof struct {
	ok  bool
	why string
	m   *health.Measure
}

func no(format string, args ...any) proof { return proof{why: fmt.Sprintf(format, args...)} }

// proves asks a run without the finding for the proof of a cure. It must be whole and repeat a run that
// showed the problem: the same routine, and conditions alike in all that the measure hangs on, but for
// what the answer changed. Then a measure that shows the cause must pass with its guard band, on the
// path on which it failed, and none may fail or be unproven.
func (l *Life) proves(p *Problem, e RunEvent, j health.Joint) proof {
	switch {
	case !e.Whole:
		return no("not found, but the routine did not run to its end")
	case blind(j):
		return no("not found, but the run's own readings are in doubt: a sensor fault was found")
	}
	var like *Showing
	for i := range p.Showing {
		if p.Showing[i].Routine == e.Routine {
			like = &p.Showing[i]
		}
	}
	if like == nil && len(p.Showing) > 0 {
		last := p.Showing[len(p.Showing)-1]
		return no("not found, but routine %q does not compare with %q of run %s, which showed it", e.Routine, last.Routine, last.Run)
	}
	names := shownBy[p.Cause]
	if len(names) == 0 {
		return proof{ok: true, why: "not found any more; no measure stands for it"}
	}
	open := no("not found, but %s was not measured", strings.Join(names, " or "))
	var passed proof
	for _, m := range j.Measures {
		if !slices.Contains(names, m.Name) || p.Path != "" && m.Path != p.Path {
			continue
		}
		m, said := l.likeThen(p, like, e, j, m)
		if p.Usual != nil && m.LimitFrom != health.FromBench {
			m = health.Judge(m, *p.Usual)
		}
		loosened := ""
		if p.Limit != nil && m.Verdict == health.Pass && stricter(m, *p.Limit) {
			loosened = fmt.Sprintf("the limit of %g, and only the one of %g, to which it was loosened since, is kept", *p.Limit, m.Limit)
			m = health.Judge(m, *p.Limit)
		}
		m.Method = ""
		word := words(m) + said
		title := titleOf(m.Name)
		switch m.Verdict {
		case health.Fail:
			return proof{why: fmt.Sprintf("not named, but %s still fails: %s", title, either(loosened, word)), m: &m}
		case health.Unproven:
			return proof{why: fmt.Sprintf("not found, but %s is unproven against its limit: %s", title, either(loosened, word)), m: &m}
		case health.NoVerdict:
			open = proof{why: fmt.Sprintf("not found, but %s has no limit to pass%s", title, limitHint(m.Name)), m: &m}
			if m.Status == health.NotObservable {
				open = no("not found, but %s could not be seen: %s", title, m.Reason)
			}
		case health.Pass:
			passed = proof{true, passWords(m) + said, &m}
		}
	}
	if passed.ok {
		return passed
	}
	return open
}

// likeThen brings a measure to the conditions of the run that showed the problem. Where they stand in
// the way it comes back as not observable, with what it would take. The load is the design's own where a
// revision answered and the measure is what the load costs: that is compared as it is, and said.
func (l *Life) likeThen(p *Problem, like *Showing, e RunEvent, j health.Joint, m health.Measure) (health.Measure, string) {
	if like == nil {
		return m, ""
	}
	at, known := e.Conditions[j.Joint]
	then, kept := l.seen[jointRun{like.Run, j.Joint}]
	if !known || !kept {
		return m, ""
	}
	at = seenUnder(at, j)
	said := ""
	if p.AnswerRevision != "" && e.Revision != like.Revision && alike.LoadCost(m.Name) {
		if differs(at, then) {
			said = "; under the load of its own revision, not that of run " + like.Run
		}
		then.Setup.Load, then.LoadNm = at.Setup.Load, at.LoadNm
	}
	out, a := alike.Figures(m, at, then)
	switch a.Kind {
	case alike.NotComparable:
		if m.Status == health.NotObservable {
			return m, ""
		}
		out.Verdict = health.NoVerdict // it says nothing of the limit, rather than too little
		out.Reason = a.Why + "; repeat run " + like.Run + " as it was made"
	case alike.Corrected:
		said += "; brought to the conditions of run " + like.Run + ": " + a.Why
	}
	return out, said
}

// differs says whether runs were made under other loads.
func differs(a, b alike.Conditions) bool {
	if a.Setup.Load == nil || b.Setup.Load == nil {
		return a.Setup.Load != b.Setup.Load
	}
	return *a.Setup.Load != *b.Setup.Load
}

// seenUnder adds to a run's conditions the load it saw.
func seenUnder(c alike.Conditions, j health.Joint) alike.Conditions {
	c.LoadNm = math.NaN()
	if m, ok := j.Find(loadTorque, health.NoPath); ok && m.Status == health.Measured {
		c.LoadNm = m.Value
	}
	return c
}

// blind says whether a run found fault with the sensors of a joint: a figure of theirs cures nothing.
func blind(j health.Joint) bool {
	return slices.ContainsFunc(j.Findings, func(f health.Finding) bool {
		return f.Cause == health.SensorFault && (f.Severity == health.SeverityWarning || f.Severity == health.SeverityFault)
	})
}

// stricter says whether a limit asks for more than the one a measure was judged by.
func stricter(m health.Measure, limit float64) bool {
	d, _ := health.DefinitionOf(m.Name)
	if d.More {
		return limit > m.Limit
	}
	return limit < m.Limit
}

func either(a, b string) string {
	if a != "" {
		return a + "; where that is meant, close it by hand"
	}
	return b
}

// limitHint names the key that states a limit for a measure.
func limitHint(measure string) string {
	for _, k := range rig.LimitKeys() {
		if k.Measure == measure {
			return "; state " + k.Key + " below [joint.limits]"
		}
	}
	return ""
}

// passWords says a passing measure with its doubt, or as the bound it is.
func passWords(m health.Measure) string {
	return titleOf(m.Name) + " passes: " + words(m)
}

// titleOf is a measure's title as it stands within a sentence.
func titleOf(measure string) string {
	d, _ := health.DefinitionOf(measure)
	return strings.ToLower(d.Title)
}

// words says a measure with its doubt, or as the bound it is, and its limit.
func words(m health.Measure) string {
	d, _ := health.DefinitionOf(m.Name)
	value := fmt.Sprintf("%.*f", d.Decimals, m.Value)
	switch {
	case m.Status == health.BoundLow:
		value = "at least " + value
	case m.Status == health.BoundHigh:
		value = "at most " + value
	case !math.IsNaN(m.Uncertainty):
		value += fmt.Sprintf(" ± %.*f", d.Decimals, m.Uncertainty)
	}
	if m.Unit != "1" {
		value += " " + m.Unit
	}
	return fmt.Sprintf("%s, limit %g", value, m.Limit)
}

// limits says whether a measure that shows a problem has a limit that it missed, or may have.
func limits(m *health.Measure) bool {
	return m != nil && (m.Verdict == health.Fail || m.Verdict == health.Unproven)
}

// shownMeasure returns the measure by which a joint shows a cause, nil where there is none: one that
// fails before one that is unproven before one that has a figure at all. Where several paths failed, each
// with a cause of its own, it is the one the cause speaks of: play in the servo is cured on the servo's
// path and nowhere else.
func shownMeasure(c health.Cause, j health.Joint) *health.Measure {
	order := []health.Path{health.Transmission, health.Total, health.Servo, health.NoPath}
	if c == health.ServoPlay {
		order = []health.Path{health.Servo, health.Total, health.Transmission, health.NoPath}
	}
	for _, v := range []health.Verdict{health.Fail, health.Unproven, health.NoVerdict} {
		for _, p := range order {
			for _, m := range j.Measures {
				if m.Path == p && m.Verdict == v && m.Status != health.NotObservable && slices.Contains(shownBy[c], m.Name) {
					m.Method = ""
					return &m
				}
			}
		}
	}
	return nil
}

func joined(list []string) string {
	if n := len(list); n > 1 {
		return strings.Join(list[:n-1], ", ") + " and " + list[n-1]
	}
	return strings.Join(list, "")
}
