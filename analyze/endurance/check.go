package endurance

import (
	"fmt"
	"slices"
	"strings"

	"limbgauge/analyze/health"
)

// Alarm is a trend over the check sweeps that warns.
type Alarm struct{ Text string }

// Verdict is what a check sweep says of going on.
type Verdict struct {
	Stop *Stop // nil to go on
	// Again says that the sweep is to be repeated before it counts; Why what it showed.
	Again bool
	Why   string
}

// Judge holds a check sweep against the rules. again says that it is the repetition of one that was to
// be confirmed. despite names causes and measures the builder knows of and accepts.
func Judge(j health.Joint, alarms []Alarm, again bool, despite []string) Verdict {
	for _, r := range Rules() {
		if r.Kind != Check {
			continue
		}
		why := broken(r.Key, j, alarms, despite)
		switch {
		case why == "":
		case r.Twice && !again:
			return Verdict{Again: true, Why: why}
		default:
			return Verdict{Stop: &Stop{r, why}, Why: why}
		}
	}
	return Verdict{}
}

// broken says how a check sweep breaks a rule, "" when it does not.
func broken(k Key, j health.Joint, alarms []Alarm, despite []string) string {
	switch k {
	case Limit:
		return overLimits(j, despite)
	case Fault:
		return found(j, health.SeverityFault, despite)
	case Warning:
		return found(j, health.SeverityWarning, despite)
	case TrendAlarm:
		var texts []string
		for _, a := range alarms {
			texts = append(texts, a.Text)
		}
		return strings.Join(texts, "; ")
	}
	return ""
}

// overLimits lists the measures that fail what the builder states. Those judged by the joint's own first
// runs show as warnings, and as trends.
func overLimits(j health.Joint, despite []string) string {
	var out []string
	for _, m := range j.Measures {
		if m.Verdict != health.Fail || m.FromBaseline() || slices.Contains(despite, m.Name) {
			continue
		}
		d, _ := health.DefinitionOf(m.Name)
		unit := ""
		if m.Unit != "1" {
			unit = " " + m.Unit
		}
		side := "at most"
		if d.More {
			side = "at least"
		}
		out = append(out, fmt.Sprintf("%s %.3g%s, accepted %s %.3g%s", strings.ToLower(d.Title[:1])+d.Title[1:], m.Value, unit, side, m.Limit, unit))
	}
	return strings.Join(out, "; ")
}

func found(j health.Joint, s health.Severity, despite []string) string {
	var out []string
	for _, f := range j.Findings {
		if f.Severity != s || f.Cause == health.None || slices.Contains(despite, string(f.Cause)) {
			continue
		}
		what := strings.ReplaceAll(string(f.Cause), "_", " ")
		if len(f.Evidence) > 0 {
			what += ": " + f.Evidence[0]
		}
		out = append(out, what)
	}
	return strings.Join(out, "; ")
}
