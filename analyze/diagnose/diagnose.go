package diagnose

import (
	"math"
	"slices"
	"sort"

	"limbgauge/analyze/health"
)

// sign is one observation that speaks for or against a cause.
type sign struct {
	weight float64 // log-odds; what the look carries counts up to this
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
	// aside is true of a cause that lies in the run and leaves the figures of the joint whole: it
	// comes after the causes in the joint. Nil is never.
	aside func(e *Evidence) bool
}

const (
	// prior is the log-odds of a cause before anything is seen: about 1 in 20.
	prior = -3.0
	// named is the least confidence at which a cause is named.
	named = 0.5
	// ownDoubt is taken off a sign that speaks only against the joint's own baseline: that a joint is
	// no longer what it was need not mean that it is no longer good enough [common practice].
	ownDoubt = 1.0
)

// hit is a cause that the evidence speaks for.
type hit struct {
	row      row
	odds     float64
	evidence []string
	// proven is true where a sign that can name the cause carried its whole weight.
	proven bool
}

// Diagnose weighs the evidence. It always returns at least one finding; a joint without fault gets
// the cause none. The cause that explains the rest comes first.
func Diagnose(e *Evidence) []health.Finding {
	var hits []hit
	for _, r := range table() {
		if h := weigh(r, e); len(h.evidence) > 0 && confidence(h.odds) >= named {
			hits = append(hits, h)
		}
	}
	left, explained := explain(hits, e)
	if len(left) == 0 {
		return []health.Finding{healthy(e)}
	}
	out := make([]health.Finding, len(left))
	aside := map[health.Cause]bool{}
	for i, h := range left {
		out[i] = h.finding(e)
		aside[h.row.cause] = h.row.aside != nil && h.row.aside(e)
	}
	sort.SliceStable(out, func(i, k int) bool {
		a, b := out[i], out[k]
		if aside[a.Cause] != aside[b.Cause] {
			return aside[b.Cause]
		}
		if explained[a.Cause] != explained[b.Cause] {
			return explained[a.Cause] > explained[b.Cause]
		}
		if ra, rb := rank(a.Severity), rank(b.Severity); ra != rb {
			return ra > rb
		}
		return a.Confidence > b.Confidence
	})
	return out
}

// weigh adds up the signs for and against one cause. A sign too light to name a cause by itself only
// supports: it says of what kind a fault is, not that there is one, and counts where that is proven.
// What speaks against counts only where something speaks for it.
func weigh(r row, e *Evidence) hit {
	h, support := hit{row: r, odds: prior}, 0.0
	stated := e.stated()
	for _, s := range r.forIt {
		text, odds := s.look(stated)
		weight, firm := s.weight, true
		if !(odds > 0) {
			text, odds = s.look(e)
			weight, firm = weight-ownDoubt, false
		}
		if odds > 0 {
			h.evidence = append(h.evidence, text)
			if s.weight < -prior {
				support += math.Min(weight, odds)
				continue
			}
			h.odds += math.Min(weight, odds)
			h.proven = h.proven || firm && math.IsInf(odds, 1)
		}
	}
	if h.proven {
		h.odds += support
	}
	if len(h.evidence) == 0 {
		return h
	}
	for _, s := range r.against {
		if text, odds := s.look(e); odds > 0 {
			h.odds -= math.Min(s.weight, odds)
			h.evidence = append(h.evidence, "against it: "+text)
		}
	}
	return h
}

// explain takes out the causes that follow from another one, and counts for each that stays how
// many it explains. What is only likely does not explain away what is proven, unless that is a milder
// form of it, as low tension is of a slack belt.
func explain(hits []hit, e *Evidence) (left []hit, explained map[health.Cause]int) {
	explained = map[health.Cause]int{}
	gone := map[health.Cause]bool{}
	for _, h := range hits {
		if gone[h.row.cause] {
			continue
		}
		follow := h.row.explains(e)
		for _, o := range hits {
			if o.row.cause != h.row.cause && slices.Contains(follow, o.row.cause) && (h.proven || !o.proven || severer(h, o)) {
				gone[o.row.cause] = true
				explained[h.row.cause]++
			}
		}
	}
	for _, h := range hits {
		if !gone[h.row.cause] {
			left = append(left, h)
		}
	}
	return left, explained
}

// rank orders severities, the worst last.
func rank(s health.Severity) int {
	return slices.Index([]health.Severity{health.SeverityOK, health.SeverityHint, health.SeverityWarning, health.SeverityFault}, s)
}

func severer(a, b hit) bool { return rank(a.row.severity) > rank(b.row.severity) }

func (h hit) finding(e *Evidence) health.Finding {
	f := health.Finding{Cause: h.row.cause, Severity: h.row.severity, Confidence: rounded(h.odds),
		Part: h.row.part(e), Evidence: h.evidence, CouldAlsoBe: []string{}, Next: h.row.next(e)}
	if !h.proven && f.Severity == health.SeverityFault {
		f.Severity = health.SeverityWarning // likely is not enough to call it broken
	}
	for _, c := range h.row.alike(e) {
		f.CouldAlsoBe = append(f.CouldAlsoBe, string(c))
	}
	return f
}

func confidence(odds float64) float64 { return 1 / (1 + math.Exp(-odds)) }

// rounded is a confidence to the two digits it is worth.
func rounded(odds float64) float64 { return math.Round(100*confidence(odds)) / 100 }
