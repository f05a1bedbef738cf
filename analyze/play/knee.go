package play

import "math"

// Thresholds of the knee [common practice, starting values].
const (
	// KneeLow and KneeHigh keep the knee away from the ends of the torque seen, as shares of it.
	KneeLow, KneeHigh = 0.05, 0.90
	// kneeGain is the least growth of the slope that counts: less is the soft tooth of any belt.
	kneeGain = 1.15
	// kneeBIC is the least gain in BIC over the straight line.
	kneeBIC = 10
	// kneeMost: two spans that become one double the belt's own compliance; parts in series only
	// dilute that. More than this is something else.
	kneeMost = 2.6
	// kneeForm is how many standard uncertainties of the sensor's form the bend must reach at the
	// greatest torque: less, and an off-centre magnet could make it.
	kneeForm = 1.5
	// spansShare is the share of a stretch's compliance that a belt's spans have at the least, beside
	// part and bearing: what the slope grows by when one goes slack.
	spansShare = 0.3
)

// excludeKnee returns between which torques a knee of the usual growth of slope does not fit: there
// it would have been seen. Below, all readings lie beyond it and the line is merely steeper; above,
// too few lie beyond it.
func excludeKnee(points []Point, tmax float64, line *solution, o Options) (from, to float64) {
	o.opens, o.bend = true, spansShare // the spans give twice as much when one is slack
	fs := []float64{line.f}
	if o.Friction {
		fs = grid(math.Max(0, line.f-tmax/40), line.f+tmax/40, 5)
	}
	if line.get("step") < 0 {
		straight := o
		straight.bend = 0
		if s := search(points, tmax, fs, []float64{math.NaN()}, straight); s != nil {
			line = s
		}
	}
	// What a knee must add to the scatter to be excluded; two parameters, place and growth.
	most := line.rss * (1 + kneeBIC/independent(line.rows))
	from, to = math.NaN(), math.NaN()
	worst := most
	ms := grid(KneeLow*tmax, KneeHigh*tmax, 35)
	rss := make([]float64, len(ms))
	at := -1
	for i, m := range ms {
		rss[i] = math.Inf(1)
		if s := search(points, tmax, fs, []float64{m}, o); s != nil {
			rss[i] = s.rss
		}
		if rss[i] > worst {
			worst, at = rss[i], i
		}
	}
	if at < 0 {
		return from, to
	}
	lo, hi := at, at
	for lo > 0 && rss[lo-1] > most {
		lo--
	}
	for hi+1 < len(ms) && rss[hi+1] > most {
		hi++
	}
	slope := line.get("slope")
	return ms[lo], math.Min(ms[hi], greatest(line.rows)-kneeForm*o.SensorDeg/(o.bend*slope))
}

// searchKnee compares the loop with a knee against the loop without. In both the play may not be
// negative: a knee at a small torque looks like a straight line with a negative play, which no
// joint has.
func searchKnee(points []Point, tmax float64, line *solution, o Options) *solution {
	signed := o
	o.opens = true
	if line.get("step") < 0 {
		line = search(points, tmax, grid(math.Max(0, line.f-tmax/20), line.f+tmax/20, 21), []float64{math.NaN()}, o)
		if line == nil {
			return nil
		}
	}
	fs := []float64{0}
	if o.Friction {
		fs = grid(math.Max(0, line.f-tmax/20), line.f+tmax/20, 11)
	}
	best := search(points, tmax, fs, grid(KneeLow*tmax, KneeHigh*tmax, 52), o)
	if best == nil {
		return nil
	}
	width := tmax / 50
	for range 3 {
		fs := []float64{best.f}
		if o.Friction {
			fs = grid(math.Max(0, best.f-tmax/200), best.f+tmax/200, 5)
		}
		ms := grid(math.Max(KneeLow*tmax, best.m-width), math.Min(KneeHigh*tmax, best.m+width), 9)
		if s := search(points, tmax, fs, ms, o); s != nil && s.rss <= best.rss {
			best = s
		}
		width /= 3
	}
	if best.m > KneeHigh*tmax*(1-1e-6) {
		return nil // it lies where too little is seen beyond it, and was only stopped here
	}
	if below(best.rows, best.m) < 3 {
		return nil // a step and any slope fit so few levels
	}
	slope, extra := best.get("slope"), best.get("knee")
	if extra*(greatest(best.rows)-best.m) < kneeForm*o.SensorDeg {
		return nil // the sensor's own form bends the line as much
	}
	gain := (slope + extra) / slope
	n := independent(best.rows)
	bic := func(s *solution, p int) float64 { return n*math.Log(s.rss/n) + float64(p)*math.Log(n) }
	better := bic(line, len(line.names)) - bic(best, len(best.names)+1)
	if slope <= 0 || gain < kneeGain || gain > kneeMost || better < kneeBIC {
		return nil
	}
	return solve(best.rows, best.f, best.m, signed)
}

func greatest(rows []row) float64 {
	most := 0.0
	for i := range rows {
		most = math.Max(most, math.Abs(rows[i].tau))
	}
	return most
}

// below counts the distinct levels of torque under the knee, on the side that has fewer.
func below(rows []row, knee float64) int {
	up, down := map[int]bool{}, map[int]bool{}
	for _, r := range rows {
		level := int(math.Round(200 * r.tau / knee))
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
