package diagnose

import (
	"fmt"
	"math"

	"limbgauge/analyze/health"
)

// look reads one sign off the evidence: what it says, and the most log-odds it can carry. That is 0
// where the sign is not there, and whole where it is there without doubt of its own.
type look func(e *Evidence) (text string, odds float64)

// whole is a sign that carries all its weight.
var whole = math.Inf(1)

// seen makes a look of a plain yes or no.
func seen(l func(e *Evidence) (string, bool)) look {
	return func(e *Evidence) (string, float64) {
		if text, ok := l(e); ok {
			return text, whole
		}
		return "", 0
	}
}

// verdict is a sign that speaks when a measure has that verdict on one of the paths.
func verdict(v health.Verdict, name string, paths ...health.Path) look {
	return seen(func(e *Evidence) (string, bool) {
		for _, p := range paths {
			if m, ok := e.find(name, p); ok && m.Verdict == v {
				return say(m), true
			}
		}
		return "", false
	})
}

func fails(name string, paths ...health.Path) look  { return verdict(health.Fail, name, paths...) }
func passes(name string, paths ...health.Path) look { return verdict(health.Pass, name, paths...) }

// beyond is a sign that speaks when a measure lies beyond its limit, as far as its interval lets it
// be told: whole where the guard band is passed, and where the limit lies inside the interval with
// the odds that the true value is beyond it (JCGM 106:2012, 7.2, normal distribution). It is silent
// below even odds, and for a figure whose own interval reaches zero.
func beyond(name string, paths ...health.Path) look {
	return func(e *Evidence) (string, float64) {
		for _, p := range paths {
			m, ok := e.find(name, p)
			if !ok {
				continue
			}
			if m.Verdict == health.Fail {
				return say(m), whole
			}
			p := chanceBeyond(m)
			if !(p > 0.5) || math.Abs(m.Value) <= m.Uncertainty {
				continue
			}
			return fmt.Sprintf("%s: %.0f %% likely beyond it", say(m), 100*math.Min(p, 0.99)), math.Log(p/(1-p)) - prior
		}
		return "", 0
	}
}

// chanceBeyond is the probability that a measured figure truly lies beyond its limit; NaN where
// nothing can be said of it. What is usual for a joint is no limit to be near to.
func chanceBeyond(m health.Measure) float64 {
	if m.Verdict != health.Unproven || m.FromBaseline() || !(m.Uncertainty > 0) {
		return math.NaN()
	}
	return 1 - m.Conforms()
}

func ifBelt(l look) look     { return when(func(e *Evidence) bool { return e.Belt }, l) }
func ifDirect(l look) look   { return when(func(e *Evidence) bool { return !e.Belt }, l) }
func ifApart(l look) look    { return when((*Evidence).apart, l) }
func ifNotApart(l look) look { return when(func(e *Evidence) bool { return !e.apart() }, l) }

func when(cond func(*Evidence) bool, l look) look {
	return func(e *Evidence) (string, float64) {
		if !cond(e) {
			return "", 0
		}
		return l(e)
	}
}
