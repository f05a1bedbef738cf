package compare

import (
	"math"

	"limbgauge/analyze/health"
	"limbgauge/analyze/stats"
)

const (
	// power is how surely a difference of Evidence.Detectable shows.
	power = 0.80
	// marginShare of a limit is a difference that does not matter [common practice].
	marginShare = 0.25
	// level is how improbable chance must be before a difference counts.
	level = 0.05
	// mostDeals and dealtWork bound the deals of the permutation test: so many, and so many readings.
	mostDeals, leastDeals, dealtWork = 9999, 999, 500_000
	// fewUnits is from how many units on the smaller side on Welch's degrees of freedom are taken as they are.
	fewUnits = 10
	// rounding is the share of a figure below which scatter is that of the arithmetic.
	rounding = 1e-12
	// seed makes the deals the same from call to call.
	seed = 1
)

// evidence fills in difference and probabilities of a row.
func (s rowSides) evidence(r *Row, o Options) {
	nan := math.NaN()
	r.Evidence = Evidence{DF: nan, P: nan, Adjusted: nan, Permuted: nan, Margin: nan, SameP: nan, Detectable: nan, Apart: nan, ApartU: nan,
		Shift: stats.Shift{Value: nan, Lo: nan, Hi: nan, Coverage: nan}}
	if m, ok := o.Margins[s.name]; ok {
		r.Margin, r.MarginFrom = m, GivenMargin
	} else if l := limitOf(*r); l > 0 {
		r.Margin, r.MarginFrom = marginShare*l, LimitMargin
	}
	switch {
	case s.a.n() == 0 || s.b.n() == 0:
	case s.a.bounds > 0 || s.b.bounds > 0:
		s.boundEvidence(r)
	default:
		a, b := s.a.values(), s.b.values()
		r.Diff = r.B.Value - r.A.Value
		d := differ(a, b, s.a, s.b)
		r.U, r.DF = d.expanded(), d.welch.DF
		if len(a) < 2 || len(b) < 2 {
			return // how much re-assembly scatters is not known, so nothing is proven
		}
		r.P, r.ByDoubt, r.SameP, r.Detectable = d.p(), d.byDoubt(), d.same(r.Margin), d.detectable()
		r.Permuted, r.Deals = permuted(a, b)
		r.Shift = stats.HodgesLehmann(b, a)
	}
}

// limitOf returns what is accepted now: that of the second side, else of the first.
func limitOf(r Row) float64 {
	if !math.IsNaN(r.B.Limit) {
		return r.B.Limit
	}
	return r.A.Limit
}

// careful takes no more degrees of freedom from a few units than twice what the smaller side has: when two
// or three of them happen to lie close together, Welch's formula believes the many of the other side, and
// of alike sides of 2 and 20 units 7 % instead of 1 % pass the 1 % level. With this it is 0.1 %, and at most
// 1.5 % with 3 units and more whose scatter is up to twice the other's (by simulation; a smaller side that
// scatters four times as much comes to 2 or 3 %). Sides of equal size keep Welch's.
func careful(e stats.Estimate, n, m int) stats.Estimate {
	if k := min(n, m); k < fewUnits {
		e.DF = math.Min(e.DF, 2*float64(k-1))
	}
	return e
}

// difference is one of two sides, twice: by the scatter of the units, and by what the runs themselves
// are unsure of. Units may agree better than a run is sure of itself, as when all read the same step
// of an encoder. What is common to both sides, such as the stand, cancels in the difference, so what is
// left of a run's own doubt averages over the units. The wider of the two holds.
type difference struct {
	welch, own stats.Estimate // U is NaN where it cannot be had
	none       bool           // all readings of both sides are one, and exact
}

func differ(a, b []float64, ca, cb *column) difference {
	d := difference{welch: stats.Estimate{Value: stats.Mean(b) - stats.Mean(a), U: math.NaN(), DF: math.NaN()}}
	if len(a) >= 2 && len(b) >= 2 {
		d.welch = careful(stats.WelchT(b, a).Diff, len(a), len(b))
		if d.welch.U <= rounding*math.Max(math.Abs(stats.Mean(a)), math.Abs(stats.Mean(b))) {
			d.welch.U, d.welch.DF = math.NaN(), math.NaN() // no scatter is none that was seen
		}
	}
	inf := math.Inf(1)
	d.own = stats.Estimate{Value: d.welch.Value, U: math.Hypot(ca.averaged(), cb.averaged()) / stats.T95(inf), DF: inf}
	if d.own.U == 0 {
		d.none = math.IsNaN(d.welch.U) && d.own.Value == 0
		d.own.U = math.NaN()
	}
	return d
}

// widest returns the greatest of what both say, NaN where neither says anything.
func (d difference) widest(f func(stats.Estimate) float64) float64 {
	switch {
	case math.IsNaN(d.welch.U):
		return f(d.own)
	case math.IsNaN(d.own.U):
		return f(d.welch)
	}
	return math.Max(f(d.welch), f(d.own))
}

func (d difference) expanded() float64 {
	if d.none {
		return 0
	}
	return d.widest(stats.Estimate.Expanded)
}

func (d difference) p() float64 {
	if d.none {
		return 1
	}
	return d.widest(pOf)
}

func pOf(e stats.Estimate) float64 { return stats.TwoSidedP(e.Value/e.U, e.DF) }

// byDoubt says whether p is that of the runs' own doubt.
func (d difference) byDoubt() bool {
	return !math.IsNaN(d.own.U) && !(pOf(d.own) < pOf(d.welch))
}

func (d difference) same(margin float64) float64 {
	if !(margin > 0) {
		return math.NaN()
	}
	if d.none {
		return 0
	}
	return d.widest(func(e stats.Estimate) float64 { return stats.Equivalent(e, margin).P })
}

func (d difference) detectable() float64 {
	return d.widest(func(e stats.Estimate) float64 { return stats.Detectable(e.DF, power) * e.U })
}

func permuted(a, b []float64) (p float64, deals int) {
	t, err := stats.PermutationTest(b, a, min(mostDeals, max(leastDeals, dealtWork/min(len(a), len(b)))), seed)
	if err != nil {
		return math.NaN(), 0
	}
	return t.P, t.Of
}

// boundEvidence tests the least by which sides with bounds differ: every unit of the one by its lower
// end, every unit of the other by its upper end. True means lie further apart than these, so what is
// shown of the ends holds for them.
func (s rowSides) boundEvidence(r *Row) {
	low := func(e entry) float64 { lo, _ := ends(s.key, e); return lo }
	high := func(e entry) float64 { _, hi := ends(s.key, e); return hi }
	for _, side := range []struct {
		below, above *column
	}{{s.a, s.b}, {s.b, s.a}} {
		under, over := side.below.units(high), side.above.units(low)
		gap := stats.Mean(over) - stats.Mean(under)
		if !(gap > 0) || math.IsInf(gap, 0) {
			continue
		}
		r.Apart = gap
		if side.above == s.a {
			r.Apart = -gap
		}
		if len(under) < 2 || len(over) < 2 {
			return
		}
		d := differ(under, over, side.below, side.above)
		r.P, r.ByDoubt, r.DF, r.ApartU = d.p(), d.byDoubt(), d.welch.DF, d.expanded()
		r.Permuted, r.Deals = permuted(under, over)
	}
}

// ends returns where a unit's figure lies, without the doubt of the ends.
func ends(k key, e entry) (lo, hi float64) {
	v := e.value
	if !k.def.More {
		v = math.Abs(v)
	}
	lo, hi = v, v
	switch e.status {
	case health.BoundLow:
		hi = math.Inf(1)
	case health.BoundHigh:
		lo = math.Inf(-1)
	}
	return lo, hi
}
