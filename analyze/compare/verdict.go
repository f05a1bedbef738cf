package compare

import (
	"fmt"
	"math"
	"strings"

	"limbgauge/analyze/health"
)

const notComparable = "not comparable because "

// Words for what stands in the way of a verdict.
const (
	// oneUnit says what an interval without repeats lacks.
	oneUnit  = "one assembly or run on a side: how much re-assembly scatters is not known; two on each are the least"
	noDoubt  = "all runs of a side read the same and their own uncertainties are not known"
	noDoubt1 = "the uncertainty of a single run is not known"
	oneEnd   = "a side is known from one end only"
	alone    = "different by itself, not after adjusting for how many measures are looked at"
)

const noDirection = "neither more nor less of it is better"

// decide turns evidence into a verdict: the same where the difference is surely within the margin, else
// a difference where chance is ruled out after adjusting, else cannot tell.
func (s rowSides) decide(r *Row, o Options) {
	r.Verdict = Cannot
	var why []string
	say := func(w ...string) { why = append(why, w...) }
	if w := s.refusal(); w != "" {
		r.Why = notComparable + w
		return
	}
	shown := r.Adjusted < level
	switch {
	case r.A.Status == health.NotObservable && s.a.n() == 0 || r.B.Status == health.NotObservable && s.b.n() == 0:
		say(unseen(*r, o))
	case s.a.bounds > 0 || s.b.bounds > 0:
		say(s.decideBounds(r, shown, o)...)
	case math.IsNaN(r.U) && r.NA > 1 && r.NB > 1:
		say(noDoubt)
	case math.IsNaN(r.U):
		say(noDoubt1, oneUnit)
	case r.NA < 2 || r.NB < 2:
		say(oneUnit)
	case r.SameP < level:
		r.Verdict = Same
		if shown {
			say("a difference is shown, surely smaller than the margin")
		}
	case shown:
		var w string
		r.Verdict, w = directed(s.def, r.A.Value, r.B.Value, r.U)
		say(w)
	case r.P < level:
		say(alone)
	default:
		say(wouldShow(*r))
	}
	for _, c := range []*column{s.a, s.b} {
		if s.a.n()+s.b.n() > 0 {
			say(c.remarks()...)
		}
	}
	r.Why = joined(why)
}

// refusal says why a whole side does not compare, "" where it does.
func (s rowSides) refusal() string {
	var out []string
	for _, c := range []*column{s.a, s.b} {
		if c != nil && c.n() == 0 && c.refused > 0 {
			out = append(out, "in "+c.side+" "+strings.TrimPrefix(c.refusedWhy, notComparable))
		}
	}
	return joined(out)
}

// gain says by how much b is better than a. Deviations with a sign are better when they are nearer to
// zero.
func gain(d health.Definition, a, b float64) float64 {
	if d.More {
		return b - a
	}
	return math.Abs(a) - math.Abs(b)
}

// Gain says by how much the second side is better than the first, in the unit of the measure, NaN where
// a side has no figure or neither more nor less is better.
func (r Row) Gain() float64 {
	d, _ := health.DefinitionOf(r.A.Name)
	if health.Undirected(r.A.Name) || math.IsNaN(r.Diff) {
		return math.NaN()
	}
	return gain(d, r.A.Value, r.B.Value)
}

// directed says which way a difference that is no chance goes; u is its expanded uncertainty.
func directed(d health.Definition, a, b, u float64) (Verdict, string) {
	if health.Undirected(d.Name) {
		return Differs, noDirection
	}
	gain := gain(d, a, b)
	switch {
	case gain > 0 && !(gain < u):
		return Better, ""
	case gain < 0 && !(-gain < u):
		return Worse, ""
	}
	return Differs, "the sign changed, the size did not"
}

// decideBounds is the verdict where a side has only bounds: the ends that face each other decide.
func (s rowSides) decideBounds(r *Row, shown bool, o Options) (why []string) {
	ends := oneEnd
	if w := unseen(*r, o); w != "" {
		ends = w
	}
	if math.IsNaN(r.Apart) {
		return []string{ends, s.apart(o)}
	}
	far := fmt.Sprintf("by bounds, at least %.3g %s", math.Abs(r.Apart), r.A.Unit)
	switch {
	case r.NA < 2 || r.NB < 2:
		return []string{far, oneUnit}
	case math.IsNaN(r.P):
		return []string{far, noDoubt}
	case !shown && r.P < level:
		return []string{ends, far, alone, s.apart(o)}
	case !shown:
		return []string{ends, far, "which may be chance", s.apart(o)}
	}
	r.Verdict = Worse
	if r.Apart > 0 == s.def.More {
		r.Verdict = Better
	}
	if health.Undirected(s.name) {
		r.Verdict, why = Differs, []string{noDirection}
	}
	return append(why, far)
}

// apart says how many runs of the first side lie wholly beyond every run of the second, where the
// sides as wholes cannot be told apart. It decides nothing: the runs it counts are no fair choice.
func (s rowSides) apart(o Options) string {
	lowest, highest := math.Inf(1), math.Inf(-1)
	for _, e := range s.b.seen {
		lo, hi := reach(s.key, e)
		lowest, highest = math.Min(lowest, lo), math.Max(highest, hi)
	}
	below, above := 0, 0
	for _, e := range s.a.seen {
		lo, hi := reach(s.key, e)
		if hi < lowest {
			below++
		}
		if lo > highest {
			above++
		}
	}
	var out []string
	if below > 0 {
		out = append(out, fmt.Sprintf("%d of %d runs of %s lie wholly below %s", below, len(s.a.seen), o.A, o.B))
	}
	if above > 0 {
		out = append(out, fmt.Sprintf("%d of %d runs of %s lie wholly above %s", above, len(s.a.seen), o.A, o.B))
	}
	return joined(out)
}

func unseen(r Row, o Options) string {
	var out []string
	for _, s := range []struct {
		side string
		m    health.Measure
	}{{o.A, r.A}, {o.B, r.B}} {
		if s.m.Status == health.NotObservable {
			w := "not seen in " + s.side
			if s.m.Reason != "" {
				w += ": " + s.m.Reason
			}
			out = append(out, w)
		}
	}
	return strings.Join(out, "; ")
}

// wouldShow says what runs that show nothing could have shown.
func wouldShow(r Row) string {
	if math.IsNaN(r.Detectable) {
		return ""
	}
	d, _ := health.DefinitionOf(r.A.Name)
	w := fmt.Sprintf("a true difference of %.*f %s would have shown in 8 of 10 such comparisons", d.Decimals, r.Detectable, r.A.Unit)
	if r.A.Unit == "1" {
		w = fmt.Sprintf("a true difference of %.*f would have shown in 8 of 10 such comparisons", d.Decimals, r.Detectable)
	}
	if math.IsNaN(r.Margin) {
		w += "; no margin is given, so that the sides are the same is not shown either"
	}
	return w
}

func joined(parts []string) string {
	var kept []string
	for _, w := range parts {
		if w != "" {
			kept = append(kept, w)
		}
	}
	return strings.Join(kept, "; ")
}
