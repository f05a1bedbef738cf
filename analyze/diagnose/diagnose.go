package diagnose

import (
	"math"
	"sort"
	"strings"

	"limbgauge/analyze/health"
)

// look reads one sign off the evidence; ok is false where it is not there.
type look func(e *Evidence) (text string, ok bool)

// sign is one observation that speaks for or against a cause.
type sign struct {
	weight float64 // log-odds
	look   look
}

// row is one cause with all that is known of it.
type row struct {
	cause    health.Cause
	severity health.Severity
	part     func(e *Evidence) string
	// forIt raise the odds and become the evidence; against lower them.
	forIt, against []sign
	// explains lists causes whose signs follow from this one: they are not named beside it.
	explains func(e *Evidence) []health.Cause
	// alike lists what these sensors cannot tell from it.
	alike func(e *Evidence) []health.Cause
	next  func(e *Evidence) string
}

const (
	// prior is the log-odds of a cause before anything is seen: about 1 in 20.
	prior = -3.0
	// named is the least confidence at which a cause is named.
	named = 0.5
)

// Diagnose weighs the evidence. It always returns at least one finding; a joint without fault gets
// the cause none. The cause that explains the rest comes first.
func Diagnose(e *Evidence) []health.Finding {
	type hit struct {
		row      row
		odds     float64
		evidence []string
	}
	var hits []hit
	for _, r := range table() {
		h := hit{row: r, odds: prior}
		for _, s := range r.forIt {
			if text, ok := s.look(e); ok {
				h.odds += s.weight
				h.evidence = append(h.evidence, text)
			}
		}
		for _, s := range r.against {
			if text, ok := s.look(e); ok && len(h.evidence) > 0 {
				h.odds -= s.weight
				h.evidence = append(h.evidence, "against it: "+text)
			}
		}
		if len(h.evidence) > 0 && confidence(h.odds) >= named {
			hits = append(hits, h)
		}
	}
	explained := map[health.Cause]int{} // cause -> how many of the hits it would explain
	gone := map[health.Cause]bool{}
	present := map[health.Cause]bool{}
	for _, h := range hits {
		present[h.row.cause] = true
	}
	for _, h := range hits {
		if gone[h.row.cause] {
			continue
		}
		for _, c := range h.row.explains(e) {
			if present[c] && c != h.row.cause {
				gone[c] = true
				explained[h.row.cause]++
			}
		}
	}
	var out []health.Finding
	for _, h := range hits {
		if gone[h.row.cause] {
			continue
		}
		also := []string{}
		for _, c := range h.row.alike(e) {
			also = append(also, string(c))
		}
		out = append(out, health.Finding{Cause: h.row.cause, Severity: h.row.severity,
			Confidence: math.Round(confidence(h.odds)*100) / 100, Part: h.row.part(e),
			Evidence: h.evidence, CouldAlsoBe: also, Next: h.row.next(e)})
	}
	rank := map[health.Severity]int{health.SeverityFault: 3, health.SeverityWarning: 2, health.SeverityHint: 1}
	sort.SliceStable(out, func(i, k int) bool {
		a, b := out[i], out[k]
		if explained[a.Cause] != explained[b.Cause] {
			return explained[a.Cause] > explained[b.Cause]
		}
		if rank[a.Severity] != rank[b.Severity] {
			return rank[a.Severity] > rank[b.Severity]
		}
		return a.Confidence > b.Confidence
	})
	if len(out) == 0 {
		out = append(out, healthy(e))
	}
	return out
}

func confidence(odds float64) float64 { return 1 / (1 + math.Exp(-odds)) }

// healthy says that nothing was found, and what was not looked at.
func healthy(e *Evidence) health.Finding {
	f := health.Finding{Cause: health.None, Severity: health.SeverityOK, Confidence: 0.95,
		Evidence: []string{}, CouldAlsoBe: []string{}, Next: "nothing to do; repeat the routine after the next hours of use"}
	passed := 0
	var reasons, unproven []string
	names := map[string][]string{}
	for _, m := range e.Measures {
		switch {
		case m.Verdict == health.Pass:
			passed++
		case m.Verdict == health.Unproven && m.Status != health.NotObservable:
			unproven = append(unproven, say(m))
		case m.Status == health.NotObservable && !math.IsNaN(m.Limit):
			if _, ok := names[m.Reason]; !ok {
				reasons = append(reasons, m.Reason)
			}
			d, _ := health.DefinitionOf(m.Name)
			name := lower(d.Title)
			if m.Path != health.NoPath {
				name += " (" + string(m.Path) + ")"
			}
			names[m.Reason] = append(names[m.Reason], name)
		}
	}
	if passed > 0 {
		f.Evidence = append(f.Evidence, plural(passed, "measure passes its limit", "measures pass their limits"))
	} else {
		f.Evidence = append(f.Evidence, "no sign of a fault; no limit is set that a measure could pass")
		f.Confidence = 0.7
	}
	for _, u := range unproven {
		f.Evidence = append(f.Evidence, "neither passed nor failed: "+u)
	}
	if len(reasons) > 0 {
		for _, r := range reasons {
			f.Evidence = append(f.Evidence, strings.Join(names[r], ", ")+" could not be seen: "+r)
		}
		f.Confidence = 0.6
		f.Next = "see why each was not seen, and repeat with a routine, sensor or mounting that shows it"
	}
	return f
}
