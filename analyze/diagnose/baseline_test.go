package diagnose

import (
	"slices"
	"strings"
	"testing"

	"limbgauge/analyze/health"
)

// usual judges a measure by the joint's own first runs.
func usual(m health.Measure) health.Measure {
	m.LimitFrom = "baseline of runs 0001, 0002, 0003"
	return m
}

// What is worse than the joint was when new is named as against a limit, with less confidence, as a
// warning, and in words that say where the limit comes from.
func TestWorseThanWhenNew(t *testing.T) {
	for _, c := range alone {
		stated := Diagnose(c.e)[0]
		if !slices.ContainsFunc(c.e.Measures, func(m health.Measure) bool { return m.Verdict == health.Fail }) ||
			c.cause == health.LostSamples || c.cause == health.SupplySag { // no matter of the joint, so it has no baseline
			continue
		}
		own := *c.e
		own.Measures = slices.Clone(own.Measures)
		for i, m := range own.Measures {
			if m.Verdict != health.NoVerdict && m.Verdict != health.Unproven {
				own.Measures[i] = usual(m)
			}
		}
		f := Diagnose(&own)[0]
		if f.Cause != stated.Cause || !(f.Confidence < stated.Confidence) || f.Severity != health.SeverityWarning {
			t.Errorf("%s: %s, %s, confidence %g; against a limit %s with %g", c.title, f.Cause, f.Severity, f.Confidence, stated.Cause, stated.Confidence)
		}
		if text := strings.Join(f.Evidence, "\n"); !strings.Contains(text, "worse than this joint was when new") || !strings.Contains(text, "0001, 0002, 0003") {
			t.Errorf("%s: evidence %q", c.title, f.Evidence)
		}
	}
}

// A limit that is missed too weighs as before, near what is usual nothing is named, and a joint that
// is as it was says what that rests on.
func TestBaselineBesideLimits(t *testing.T) {
	slack := fig("play", trans, 0.8, 0.05, 0.5)
	got := Diagnose(joint(slack, usual(fig("compliance", trans, 9, 0.2, 4.5))))
	if len(got) != 1 || got[0].Severity != health.SeverityFault || got[0].Confidence != Diagnose(joint(slack))[0].Confidence {
		t.Errorf("%+v", got)
	}
	none := Diagnose(joint(usual(fig("play", trans, 0.52, 0.1, 0.5)), usual(fig("friction", trans, 0.05, 0.001, 0.06)), fig("compliance", trans, 2, 0.1, 4.5)))[0]
	text := strings.Join(none.Evidence, "\n")
	if none.Cause != health.None || !strings.Contains(text, "2 measures pass their limits, 1 of them no worse than in the joint's first good runs") ||
		!strings.Contains(text, "usual at most 0.5 deg") {
		t.Errorf("%+v", none)
	}
	alone := Diagnose(joint(usual(fig("friction", trans, 0.05, 0.001, 0.06))))[0]
	if alone.Cause != health.None || !(alone.Confidence < none.Confidence) {
		t.Errorf("%+v", alone)
	}
}

// Told apart by a bare-servo run, slack is the belt's and play the servo's; where that run is old, what
// looks like slack may be play the servo got since.
func TestBareServoTellsApart(t *testing.T) {
	bare := func(ms ...health.Measure) *Evidence {
		e := blind(joint(append(ms, fig("play", total, 1.2, 0.1, none))...))
		e.BareServo = true
		return e
	}
	slack := fig("play", trans, 0.9, 0.1, 0.5)
	for _, c := range []struct {
		what  string
		e     *Evidence
		cause health.Cause
		servo bool // could also be the servo's play
	}{
		{"slack", bare(slack, fig("play", servo, 0.2, 0.1, 0.5)), health.BeltSlack, false},
		{"servo play", bare(fig("play", trans, 0.1, 0.1, 0.5), fig("play", servo, 1.1, 0.1, 0.5)), health.ServoPlay, false},
		{"slack by an old run", func() *Evidence {
			e := bare(slack, fig("play", servo, 0.2, 0.1, 0.5))
			e.BareStale = true
			return e
		}(), health.BeltSlack, true},
	} {
		got := Diagnose(c.e)
		if len(got) != 1 || got[0].Cause != c.cause || slices.Contains(got[0].CouldAlsoBe, string(health.ServoPlay)) != c.servo ||
			slices.Contains(got[0].CouldAlsoBe, string(health.BeltSlack)) {
			t.Errorf("%s: %+v", c.what, got)
		}
		if c.servo && !strings.Contains(got[0].Next, "sweep the bare servo again") {
			t.Errorf("%s: next %q", c.what, got[0].Next)
		}
	}
}
