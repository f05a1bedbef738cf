package main

import (
	"bytes"
	"strings"
	"testing"

	"limbgauge/analyze/health"
)

// A reason for what has no limit is folded where another measure has one, and told on request.
func TestUnseenIsFolded(t *testing.T) {
	limited := health.Judge(health.Of("play", health.Total, 0.2, 0.1, ""), 0.5)
	open := health.Unseen("bandwidth", health.Total, "", "nothing shakes")
	wanted := health.Judge(health.Unseen("creep", health.Total, "", "no hold"), 0.5)
	for name, c := range map[string]struct {
		ms             []health.Measure
		all            bool
		shakes, folded bool
	}{
		"beside a limit":  {[]health.Measure{limited, open, wanted}, false, false, true},
		"on request":      {[]health.Measure{limited, open, wanted}, true, true, false},
		"without a limit": {[]health.Measure{open}, false, true, false},
		"nothing to fold": {[]health.Measure{limited, wanted}, false, false, false},
	} {
		var b bytes.Buffer
		printMeasures(&b, "0042", health.Joint{Measures: c.ms, Findings: []health.Finding{{Cause: health.None}}}, answerForm{all: c.all})
		s := b.String()
		if strings.Contains(s, "bandwidth, -3 dB (total): nothing shakes") != c.shakes || strings.Contains(s, "--all") != c.folded {
			t.Errorf("%s:\n%s", name, s)
		}
		if len(c.ms) > 1 && !strings.Contains(s, "no hold") {
			t.Errorf("%s: what has a limit is hidden:\n%s", name, s)
		}
	}
}

// After a sweep what has no limit is counted and not listed, and what was not seen is told once: by the
// findings of a joint without a fault, below the figures of any other.
func TestShortAnswer(t *testing.T) {
	limited := health.Judge(health.Of("play", health.Total, 0.2, 0.1, ""), 0.5)
	open := health.Of("friction", health.Total, 0.0444, 0.01, "")
	wanted := health.Judge(health.Unseen("creep", health.Total, "", "no hold"), 0.5)
	for name, c := range map[string]struct {
		ms           []health.Measure
		cause        health.Cause
		listed, told bool
	}{
		"no fault":        {[]health.Measure{limited, open, wanted}, health.None, false, false},
		"a fault":         {[]health.Measure{limited, open, wanted}, health.BeltSlack, false, true},
		"without a limit": {[]health.Measure{open}, health.None, true, false},
	} {
		var b bytes.Buffer
		printMeasures(&b, "0042", health.Joint{Measures: c.ms, Findings: []health.Finding{{Cause: c.cause}}}, answerForm{short: true})
		s := b.String()
		if strings.Contains(s, "0.044") != c.listed || strings.Contains(s, "1 figure without a limit") == c.listed || strings.Contains(s, "no hold") != c.told {
			t.Errorf("%s:\n%s", name, s)
		}
	}
}

// Of a joint of which nothing was seen nothing is said, and a run stopped by hand wants no search for what
// stopped it.
func TestNothingIsSaidOfWhatWasNotSeen(t *testing.T) {
	j := health.Joint{Joint: "knee", Findings: []health.Finding{{Cause: health.None, Confidence: 0.5, CouldAlsoBe: []string{"creep", "stall"}, Next: "run a whole routine"}},
		Measures: []health.Measure{health.Unseen("play", health.Total, "", "too short")}}
	for _, c := range []struct {
		form answerForm
		next string
	}{
		{answerForm{}, "  not excluded: creep, stall\n  next: run a whole routine\n"},
		{answerForm{broken: true, byHand: true}, "  next: run the routine again, to its end\n"},
		{answerForm{broken: true}, "  next: find out what stopped it, then run the routine again, to its end\n"},
	} {
		var b bytes.Buffer
		printHealth(&b, health.Health{Leg: "fore-left", Joints: []health.Joint{j}}, c.form)
		if s := b.String(); !strings.Contains(s, "knee: nothing can be said, too little was seen\n") || !strings.Contains(s, c.next) || strings.Contains(s, "no fault") {
			t.Errorf("%+v:\n%s", c.form, s)
		}
	}
}
