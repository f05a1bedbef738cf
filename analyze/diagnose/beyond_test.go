package diagnose

import (
	"math"
	"slices"
	"strings"
	"testing"

	"limbgauge/analyze/health"
)

// Where the limit lies inside the interval, the confidence is the chance that the true value is
// beyond it. Chances from the table of the normal distribution (NIST/SEMATECH e-Handbook, 1.3.6.7.1):
// 0.8413 at one standard deviation, 0.6915 at half of one.
func TestLikelyButNotProven(t *testing.T) {
	const u = 0.2 // expanded, k = 2: a standard uncertainty of 0.1
	for _, c := range []struct {
		title string
		e     *Evidence
		cause health.Cause
		want  float64
	}{
		{"friction", joint(fig("friction", trans, 1.10, u, 1)), health.HighFriction, 0.8413},
		{"play of the belt", joint(fig("play", trans, 0.55, u, 0.5)), health.BeltSlack, 0.6915},
		{"play of the servo", joint(fig("play", servo, 0.60, u, 0.5)), health.ServoPlay, 0.8413},
		{"creep, falling", joint(fig("creep", trans, -0.60, u, 0.5)), health.Creep, 0.8413},
		{"tension, where more is better", joint(fig("belt_tension", trans, 24.9, u, 25)), health.BeltTensionLow, 0.8413},
		{"compliance", joint(fig("compliance", trans, 4.55, u, 4.5)), health.ExcessCompliance, 0.6915},
	} {
		got := Diagnose(c.e)
		if len(got) != 1 || got[0].Cause != c.cause {
			t.Errorf("%s: %v, want %s", c.title, causesOf(got), c.cause)
			continue
		}
		f := got[0]
		if math.Abs(f.Confidence-c.want) > 0.006 || f.Severity != health.SeverityWarning {
			t.Errorf("%s: confidence %g, %s, want %.3f and a warning", c.title, f.Confidence, f.Severity, c.want)
		}
	}
}

// What lies beyond its limit but may as well be nothing at all is not named.
func TestNoiseIsNotLikely(t *testing.T) {
	for title, m := range map[string]health.Measure{
		"an interval over zero":    fig("friction", trans, 0.1, 0.12, 0.06),
		"a doubt that is unknown":  fig("friction", trans, 0.1, none, 0.06),
		"a bound":                  atLeast("play", trans, 0.1, 0.5),
		"the greater part beneath": fig("play", trans, 0.49, 0.1, 0.5),
	} {
		if got := Diagnose(joint(m)); got[0].Cause != health.None {
			t.Errorf("%s: %v", title, causesOf(got))
		}
	}
}

// What is only likely does not explain away what is proven, and comes after it.
func TestLikelyExplainsNothingProven(t *testing.T) {
	e := joint(fig("creep", trans, -0.52, 0.1, 0.5), fig("compliance", trans, 8, 0.3, 4.5))
	if got := causesOf(Diagnose(e)); !slices.Equal(got, []health.Cause{health.ExcessCompliance, health.Creep}) {
		t.Errorf("%v, want compliance, then creep", got)
	}
	e = joint(fig("creep", trans, -0.7, 0.1, 0.5), fig("compliance", trans, 8, 0.3, 4.5))
	if got := causesOf(Diagnose(e)); !slices.Equal(got, []health.Cause{health.Creep}) {
		t.Errorf("%v, want creep alone", got)
	}
}

// The course of a creep says of what kind it is; it does not prove that there is too much of it.
func TestSupportProvesNothing(t *testing.T) {
	e := joint(fig("creep", trans, -0.52, 0.1, 0.5))
	bare := Diagnose(e)[0]
	e.Creep = &Creep{LogShare: 0.95, CurrentChange: 0.01}
	full := Diagnose(e)[0]
	if full.Confidence != bare.Confidence || len(full.Evidence) != 3 {
		t.Errorf("with support %+v, without %+v", full, bare)
	}
	e.Measures = nil
	if got := Diagnose(e); got[0].Cause != health.None {
		t.Errorf("support alone names %v", causesOf(got))
	}
}

// A sound joint says which causes its sensors and its load could not exclude, and the cheapest test
// that would tell: load that changes sides shows play, more load or a plucked span shows tension.
func TestWhatCouldNotBeExcluded(t *testing.T) {
	slackAt := func(m float64) health.Measure {
		return health.Bound("span_slack_torque", trans, health.BoundLow, m, none, "test", "test")
	}
	for _, c := range []struct {
		title string
		e     *Evidence
		also  []health.Cause
		next  string
	}{
		{"all seen", joint(fig("play", trans, 0.04, 0.03, 0.5), atLeast("belt_tension", trans, 30, 25)), nil, "nothing to do"},
		{"play of a belt", joint(fig("compliance", trans, 2, 0.1, 4.5), hidden("play", trans, 0.5)), []health.Cause{health.BeltSlack}, "straight down"},
		{"play of a belt or servo", blind(joint(fig("compliance", total, 2, 0.1, 4.5), hidden("play", total, 0.5))), []health.Cause{health.BeltSlack, health.ServoPlay}, "straight down"},
		{"play of a direct joint", blind(direct(joint(fig("compliance", total, 2, 0.1, 4.5), hidden("play", total, 0.5)))), []health.Cause{health.ServoPlay}, "straight down"},
		// 10 N at 0.127 N·m (20 teeth of 2 mm: r 6.366 mm, M = 2·T0·r); 25 N need 0.318 N·m.
		{"a knee out of reach", joint(fig("play", trans, 0.04, 0.03, 0.5), atLeast("belt_tension", trans, 10, 25), slackAt(0.12732)), []health.Cause{health.BeltTensionLow}, "0.32 N·m"},
		{"no current", joint(fig("play", trans, 0.04, 0.03, 0.5), hidden("stall_time", health.NoPath, none), hidden("friction", trans, 0.06)),
			[]health.Cause{health.Stall, health.HighFriction}, "current"},
		{"no limit, and not seen for all that", joint(fig("compliance", trans, 2, 0.1, none), hidden("play", trans, none), hidden("friction", total, none)),
			[]health.Cause{health.HighFriction, health.BeltSlack}, "then sweep under more load"},
		{"no limit, all seen", joint(fig("play", trans, 0.04, 0.03, none)), nil, "set what you accept under [joint.limits]"},
		{"limits, one measure without", joint(fig("compliance", trans, 2, 0.1, 4.5), hidden("play", trans, none)), []health.Cause{health.BeltSlack}, "straight down"},
		{"no stops to compare", joint(fig("play", trans, 0.04, 0.03, 0.5), hidden("offset_step", trans, none)), []health.Cause{health.HornSlip, health.ToothSkip}, "before and after the load"},
	} {
		got := Diagnose(c.e)
		if len(got) != 1 || got[0].Cause != health.None {
			t.Errorf("%s: %v, want none", c.title, causesOf(got))
			continue
		}
		f := got[0]
		var also []health.Cause
		for _, a := range f.CouldAlsoBe {
			also = append(also, health.Cause(a))
		}
		if !slices.Equal(also, c.also) || !strings.Contains(f.Next, c.next) {
			t.Errorf("%s: could also be %v, next %q; want %v and %q", c.title, also, f.Next, c.also, c.next)
		}
		if sure := len(c.also) == 0 && c.title != "no limit, all seen"; sure != (f.Confidence > 0.9) {
			t.Errorf("%s: confidence %g", c.title, f.Confidence)
		}
	}
}

// A run too short for any measure that shows a fault says nothing, whether limits are set or not; that it
// neither stalled nor sagged in that time says nothing either. Of a joint without a belt no belt is named.
func TestNothingCanBeSaid(t *testing.T) {
	still := fig("stall_time", health.NoPath, 0, 0.37, none)
	for title, e := range map[string]*Evidence{
		"without limits": joint(hidden("play", trans, none), hidden("friction", total, none), hidden("torque_use", health.NoPath, none), still, atLeast("supply_sag", health.NoPath, 0.1, none)),
		"with limits":    joint(hidden("play", trans, 0.5), hidden("friction", total, 0.06), still, atLeast("supply_sag", health.NoPath, 0.1, 0.9)),
		"a kept loss":    joint(hidden("play", trans, none), still, fig("lost_samples", health.NoPath, 0, 0, 0.01)),
		"no belt":        direct(joint(hidden("play", trans, none), still)),
	} {
		f := Diagnose(e)[0]
		if f.Cause != health.None || !strings.HasPrefix(f.Evidence[0], "nothing can be said") || f.Confidence != 0.5 {
			t.Errorf("%s: %+v", title, f)
		}
		for _, c := range []health.Cause{health.ServoPlay, health.Creep, health.HornSlip, health.Stall, health.BeltSlack} {
			if want := c != health.BeltSlack || e.Belt; slices.Contains(f.CouldAlsoBe, string(c)) != want {
				t.Errorf("%s: not excluded are %v", title, f.CouldAlsoBe)
			}
		}
	}
	for title, e := range map[string]*Evidence{
		"a tight spot's bound":   joint(hidden("play", trans, none), health.Bound("tight_spot", total, health.BoundHigh, 0.02, none, "", "")),
		"reversal error is kept": joint(hidden("play", trans, none), fig("reversal_error", total, 0.1, 0.02, 1.2)),
	} {
		if f := Diagnose(e)[0]; strings.HasPrefix(f.Evidence[0], "nothing") || f.CouldAlsoBe[0] != string(health.BeltSlack) {
			t.Errorf("%s: %+v", title, f)
		}
	}
}

// That no limit is set is said only where that is so.
func TestWhyNothingPassed(t *testing.T) {
	near := func(limit float64) health.Measure { return fig("play", trans, 0.1, 0.2, limit) }
	for _, c := range []struct {
		title, want string
		e           *Evidence
	}{
		{"no limit", "no limit is set", joint(near(none))},
		{"one limit, not proven", "the one limit that is set is not proven kept", joint(near(0.2))},
		{"two limits, not proven", "of 2 limits that are set none is proven kept", joint(near(0.2), hidden("creep", trans, 0.5))},
		{"two limits, one kept", "1 measure passes its limit", joint(near(0.5), hidden("creep", trans, 0.5))},
	} {
		if f := Diagnose(c.e)[0]; !strings.Contains(f.Evidence[0], c.want) || c.want != "no limit is set" && strings.Contains(strings.Join(f.Evidence, " "), "no limit") {
			t.Errorf("%s: %q", c.title, f.Evidence)
		}
	}
}

// A figure is written to two digits of its doubt (JCGM 100:2008, 7.2.6), one with a sign with its size too, as
// it is by that that it is judged; how likely it lies beyond its limit is said in plain words.
func TestWordsOfAFigure(t *testing.T) {
	for _, c := range []struct {
		m    health.Measure
		want string
	}{
		{fig("creep", trans, -2.57, 0.33, 0.5), "creep in the hold (transmission) −2.57 ± 0.33 deg, 2.57 in size, accepted at most 0.5 deg"},
		{fig("creep", trans, 2.57, 0.33, 0.5), "creep in the hold (transmission) 2.57 ± 0.33 deg, accepted at most 0.5 deg"},
		{fig("creep", trans, -2.57, 0.33, none), "creep in the hold (transmission) −2.57 ± 0.33 deg"},
		{fig("play", trans, 0.70349, 0.1042, 0.5), "play (transmission) 0.70 ± 0.10 deg, accepted at most 0.5 deg"},
		{fig("creep", trans, -0.60, 0.2, 0.5), "creep in the hold (transmission) −0.60 ± 0.20 deg, 0.60 in size, accepted at most 0.5 deg: 84 % likely beyond it"},
		{atLeast("supply_sag", health.NoPath, 2.2, 0.6), "supply sag at least 2.200 V, accepted at most 0.6 V"},
	} {
		figure, likely, _ := strings.Cut(c.want, ": ")
		if got := say(c.m); got != figure {
			t.Errorf("%q, want %q", got, figure)
		}
		if f := Diagnose(joint(c.m))[0]; likely != "" && f.Evidence[0] != c.want {
			t.Errorf("%q, want %q", f.Evidence[0], c.want)
		}
	}
}
