package play

import (
	"math"
	"slices"
)

// Thresholds of the knee [common practice, starting values].
const (
	// KneeLow and KneeHigh keep the knee away from the ends of the torque seen, as shares of it.
	KneeLow, KneeHigh = 0.05, 0.90
	// kneeGain is the least growth of the slope that counts: less is the soft tooth of any belt.
	kneeGain = 1.15
	// kneeBIC is the least gain in BIC over the straight line.
	kneeBIC = 10
	// suspectBIC is the gain from which a knee is not excluded either.
	suspectBIC = 6
	// kneeSure is the share of itself that a knee may be unsure by to be named.
	kneeSure = 0.5
	// kneeOdds are the odds of a knee within the loads before the run is looked at.
	kneeOdds = 0.25
	// kneeMost: two spans that become one double the belt's own compliance; parts in series only
	// dilute that. More than this is something else.
	kneeMost = 2.6
	// SpansShare is the share of a stretch's compliance that a belt's spans have at the least, beside
	// part and bearing: what the slope grows by when one goes slack.
	SpansShare = 0.3
)

// hidden is what knees that were not found leave open.
type hidden struct {
	from, to float64 // N·m: a knee is excluded between; NaN where it is nowhere
	// Standard deviations of play, compliance and friction over the knees that are not excluded, each
	// as likely as the loop makes it, about the line without one.
	play, compliance, friction float64
}

// excludeKnee tells where a knee of the usual growth of slope does not fit: there it would have been
// seen. Below, all readings lie beyond it and the line is merely steeper; above, too few lie beyond it.
// What a sensor's form could hide of a knee is in the model, as the bow.
func excludeKnee(line *solution, tmax float64) hidden {
	out := hidden{from: math.NaN(), to: math.NaN()}
	rows := pool(line.rows, tmax)
	base := line.fit(rows, line.cols, want{opens: true})
	if base == nil {
		return out
	}
	one := line.rss / line.independent() // what one independent reading adds to the sum of squares
	most := base.rss + kneeBIC*one
	worst := most
	ms := grid(KneeLow*tmax, KneeTop*tmax, 38)
	fits := make([]*solution, len(ms))
	rss := make([]float64, len(ms))
	at := -1
	for i, m := range ms {
		rss[i] = math.Inf(1)
		// the spans give twice as much when one is slack
		if fits[i] = base.fit(rows, line.cols, want{m: m, bend: SpansShare, opens: true}); fits[i] != nil {
			rss[i] = fits[i].rss
		}
		if rss[i] > worst {
			worst, at = rss[i], i
		}
	}
	lo, hi := at, at
	if at >= 0 {
		for lo > 0 && rss[lo-1] > most {
			lo--
		}
		for hi+1 < len(ms) && rss[hi+1] > most {
			hi++
		}
		out.from, out.to = ms[lo], ms[hi]
		// Between two torques of the grid the sum of squares goes nearly straight.
		if lo > 0 && !math.IsInf(rss[lo], 1) {
			out.from -= (ms[1] - ms[0]) * (rss[lo] - most) / (rss[lo] - rss[lo-1])
		}
		if hi+1 < len(ms) && !math.IsInf(rss[hi], 1) {
			out.to += (ms[1] - ms[0]) * (rss[hi] - most) / (rss[hi] - rss[hi+1])
		}
	}
	if slices.Min(rss) < base.rss-suspectBIC*one {
		out.from, out.to = math.NaN(), math.NaN() // a knee fits better, though not surely enough to be named
	}
	// A knee lies within the loads of few belts, so all knees together weigh kneeOdds against none. One below those excluded is not counted: all
	// readings lie beyond it, and the slope found is the one a slack span has.
	sum, share := 1.0, kneeOdds/float64(len(ms))
	for i, s := range fits {
		if s == nil || i < lo {
			continue
		}
		w := share * math.Exp(-math.Max(0, rss[i]-base.rss)/one/2)
		sum += w
		out.play += w * square(2*(s.get(cStep)-line.get(cStep)))
		out.compliance += w * square(s.get(cSlope)-line.get(cSlope))
		out.friction += w * square(s.f-line.f)
	}
	out.play, out.compliance, out.friction = math.Sqrt(out.play/sum), math.Sqrt(out.compliance/sum), math.Sqrt(out.friction/sum)
	return out
}

func square(x float64) float64 { return x * x }

// KneeTop is how far a knee is looked for to be excluded, as a share of the greatest torque.
const KneeTop = 0.98

// searchKnee compares the loop with a knee against the loop without. In both the play may not be
// negative: a knee at a small torque looks like a straight line with a negative play, which no
// joint has.
func searchKnee(line *solution, tmax, blur float64) *solution {
	cols := line.cols
	base := line.fit(line.rows, cols, want{opens: true})
	if base == nil {
		return nil
	}
	rows := pool(line.rows, tmax)
	var best *solution
	try := func(m float64) {
		if s := base.fit(rows, cols, want{m: m, opens: true}); s != nil && (best == nil || s.rss < best.rss) {
			best = s
		}
	}
	for _, m := range grid(KneeLow*tmax, KneeHigh*tmax, 44) {
		try(m)
	}
	if best == nil {
		return nil
	}
	width := tmax / 50
	for range 3 {
		for _, m := range grid(math.Max(KneeLow*tmax, best.m-width), math.Min(KneeHigh*tmax, best.m+width), 7) {
			try(m)
		}
		width /= 3
	}
	if best.m > KneeHigh*tmax*(1-1e-6) {
		return nil // it lies where too little is seen beyond it, and was only stopped here
	}
	if below(best.rows, best.f, best.m) < 3 {
		return nil // a step and any slope fit so few levels
	}
	if best = best.fit(line.rows, cols, want{m: best.m, opens: true}); best == nil {
		return nil
	}
	slope, extra := best.get(cSlope), best.get(cKnee)
	if _, most := best.reach(); extra*(most-best.m) < blur {
		return nil
	}
	gain := (slope + extra) / slope
	n := best.independent()
	bic := func(s *solution, p int) float64 { return n*math.Log(s.rss/n) + float64(p)*math.Log(n) }
	better := bic(base, len(base.cols)) - bic(best, len(best.cols)+1)
	if slope <= 0 || gain < kneeGain || gain > kneeMost || better < kneeBIC {
		return nil
	}
	return best.fit(best.rows, cols, want{m: best.m})
}

// below counts the distinct levels of torque under the knee, on the side that has fewer.
func below(rows []row, f, knee float64) int {
	up, down := map[int]bool{}, map[int]bool{}
	for _, r := range rows {
		tau := r.Load
		if !r.Static {
			tau -= f * float64(r.Dir)
		}
		level := int(math.Round(200 * tau / knee))
		switch {
		case level > 0 && level < 200:
			up[level] = true
		case level < 0 && level > -200:
			down[level] = true
		}
	}
	if !signs(rows) {
		return max(len(up), len(down))
	}
	return min(len(up), len(down))
}

func levels(rows []row, tmax float64) int {
	count := func(sign float64) int {
		seen := map[int]bool{}
		for _, r := range rows {
			if r.Load*sign > 0 {
				seen[int(math.Abs(r.Load)/tmax*16)] = true
			}
		}
		return len(seen)
	}
	up, down := count(1), count(-1)
	if up == 0 || down == 0 {
		return max(up, down)
	}
	return min(up, down)
}

func (s *solution) carried(r *row) float64 {
	if r.Static {
		return r.Load
	}
	return r.Load - s.f*float64(r.Dir)
}

func (s *solution) reach() (least, most float64) {
	least = math.Inf(1)
	for i := range s.rows {
		t := math.Abs(s.carried(&s.rows[i]))
		least, most = math.Min(least, t), math.Max(most, t)
	}
	return least, most
}
