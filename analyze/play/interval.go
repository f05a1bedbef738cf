package play

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"limbgauge/analyze/stats"
)

// The figures of a loop that have intervals.
const (
	figPlay = iota
	figCompliance
	figFriction
	figGap
	figKnee
	figures
)

// loop turns a solution into figures. Each interval is made of three parts. The scatter is the wider
// of two: that of whole cycles and passes resampled, which no correlation within a cycle can fool; and
// that of the residuals, which also holds what repeats in every cycle because the model does not fit,
// and which cannot come out small by the luck of few cycles. With it, in quadrature, go what repeats in
// every cycle and leaves no residual: the odd part of the sensors' form and the load's own uncertainty.
func (s *solution) loop(h hang, tmax float64, o Options) Loop {
	n := s.independent()
	df := math.Max(2, n-float64(len(s.cols)))
	l := Loop{Offset: s.get(cOffset), Knee: math.NaN(), KneeU: math.NaN(), KneeSlope: math.NaN(),
		KneeFrom: math.NaN(), KneeTo: math.NaN(), N: len(s.rows), BothSigns: signs(s.rows)}
	l.LoadMin, l.LoadMax = s.reach()
	l.Levels = levels(s.rows, l.LoadMax)
	res := make([]float64, len(s.rows))
	s.residuals(res)
	for _, e := range res {
		l.Resid += e * e
	}
	l.Resid = math.Sqrt(l.Resid / math.Max(2, float64(len(s.rows)-len(s.cols))))

	full, sums := s.free()
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(0.975)
	scale := math.Sqrt(s.rss / df) // near 1: the weights say how much a row scatters
	at := [figures]int{full.place(cStep), full.place(cSlope), full.place(cShift), full.place(cGap), full.place(cAt)}
	times := [figures]float64{2, 1, 1, 1, 1}
	var u [figures]float64
	for i, p := range at {
		if p >= 0 {
			u[i] = t * scale * times[i] * math.Sqrt(math.Max(0, full.fac.inverse(p)[p]))
		}
	}
	if s.m > 0 {
		u[figKnee] = math.Max(u[figKnee], s.kneeU(t*scale, tmax))
	}
	boot, cycles := full.resample(sums, at)
	l.Cycles = cycles
	form := full.form(sums, h, o)
	rel := [figures]float64{o.EdgeRel, o.LoadRel, o.LoadRel, 0, o.LoadRel}
	// Creep that makes a ramp lag has also let the part give by then: in log time by log10(1 + t) a decade
	// against a lag of 0.68, so half as much again after the ten seconds of a pass.
	steps := quantumLeft * o.QuantumDeg / math.Sqrt(12)
	own := [figures]float64{steps, 1.5 * s.get(cLag)}
	if c := s.get(cSlope); c > 0 {
		own[figFriction] = steps / c // half the gap over the compliance; the gap is read from two sides
	}
	values := [figures]float64{2 * s.get(cStep), s.get(cSlope), s.f, s.get(cGap), s.m}
	for i := range u {
		if times[i]*boot[i] > u[i] {
			u[i] = times[i] * boot[i]
		}
		f := 0.0
		if at[i] >= 0 {
			f = times[i] * form[at[i]]
		}
		u[i] = math.Sqrt(u[i]*u[i] + f*f + 4*own[i]*own[i] + 4*rel[i]*rel[i]*values[i]*values[i])
	}
	l.Play = Interval{values[figPlay], u[figPlay]}
	l.Compliance = Interval{values[figCompliance], u[figCompliance]}
	l.Gap = Interval{values[figGap], u[figGap]}
	l.Friction = Interval{math.NaN(), math.NaN()}
	if o.Friction && slices.ContainsFunc(s.rows, func(r row) bool { return !r.Static }) {
		l.Friction = Interval{math.Max(0, s.f), u[figFriction]}
	}
	if s.m > 0 {
		l.Knee, l.KneeU = s.m, u[figKnee]
		l.KneeSlope = s.get(cSlope) + s.get(cKnee)
	}
	return l
}

// free returns the solution with all free that may move it, the knee's place too where it can be told,
// and the normal equations of every cycle or pass.
func (s *solution) free() (*solution, []normal) {
	full := *s
	full.cols = slices.Clone(s.cols)
	if full.lagged && s.place(cLag) < 0 {
		// A lag that came out negative was left out, but a little of it may be there.
		full.cols = append(full.cols, cLag)
	}
	if s.m > 0 {
		full.cols = append(full.cols, cAt)
	}
	for {
		sums := make([]normal, s.rows[len(s.rows)-1].block+1)
		full.sums(s.get(cSlope), s.get(cKnee), func(r *row) *normal { return &sums[r.block] })
		var all normal
		for i := range sums {
			all.plus(&sums[i], 1)
		}
		ridge := full.ridge(full.cols)
		fac, ok := all.factorize(len(full.cols), &ridge)
		if ok {
			full.fac = fac
			full.x = fac.solve(&all.b)
			return &full, sums
		}
		switch {
		case slices.Contains(full.cols, cAt):
			full.cols = without(full.cols, cAt)
		case len(full.cols) > len(s.cols):
			full.cols = slices.Clone(s.cols)
		default:
			full.fac = s.fac
			return &full, sums
		}
	}
}

// quantumLeft is the share of a sensor's quantisation that is left after stretches of a ramp are averaged
// over dozens of steps, whose widths differ [common practice].
const quantumLeft = 0.1

// replicas is how many times the cycles are resampled: a standard deviation of 200 is known to 5 %.
const replicas = 200

// resample returns the expanded uncertainty of each figure from resampling whole cycles of the stair and
// whole passes of the ramps, each among its like (stats.CycleBootstrap); their variances add, with
// the degrees of freedom of Welch and Satterthwaite (JCGM 100, G.4.1). About the solution all but the
// knee is linear, so that a resample is a sum of the cycles' normal equations; the knee moves by its
// derivative. cycles is 0 where a kind has too few to be resampled.
func (s *solution) resample(sums []normal, at [figures]int) (u [figures]float64, cycles int) {
	kinds := [2][]int{}
	for i, r := range s.rows {
		if i == 0 || r.block != s.rows[i-1].block {
			kinds[side(r.Static)] = append(kinds[side(r.Static)], r.block)
		}
	}
	var all normal
	for i := range sums {
		all.plus(&sums[i], 1)
	}
	ridge := s.ridge(s.cols)
	var parts [figures][]stats.Estimate
	few := false
	for _, blocks := range kinds {
		if len(blocks) == 0 {
			continue
		}
		if len(blocks) < stats.MinCycles {
			few = true
			continue
		}
		rest := all
		for _, b := range blocks {
			rest.plus(&sums[b], -1)
		}
		boots := stats.CycleBootstrap(len(blocks), replicas, figures, 1, func(pick []int, out []float64) {
			n := rest
			for _, k := range pick {
				n.plus(&sums[blocks[k]], 1)
			}
			fac, ok := n.factorize(len(s.cols), &ridge)
			if !ok {
				return
			}
			x := fac.solve(&n.b)
			for i, p := range at {
				if p >= 0 {
					out[i] = x[p]
				}
			}
		})
		for i, b := range boots {
			if b.Seen() && !math.IsNaN(b.U) {
				parts[i] = append(parts[i], b.Estimate)
			} else if at[i] >= 0 {
				few = true
			}
		}
		cycles += len(blocks)
	}
	ones := []float64{1, 1}
	for i, p := range parts {
		if len(p) > 0 {
			u[i] = stats.Sum(ones[:len(p)], p...).Expanded()
		}
	}
	if few {
		return u, 0
	}
	return u, cycles
}

// form returns by how much the odd part of the sensors' form may move each coefficient, expanded, deg
// and so on: the form pushed through the fit. Where the model has no even part, that goes the same way.
func (s *solution) form(sums []normal, h hang, o Options) (u [nCols]float64) {
	if o.SensorDeg <= 0 || h.span < formLeastDeg {
		return u
	}
	size := oddU(o.SensorDeg, 0, math.Inf(1))
	even := s.place(cWave)
	if even >= 0 {
		size = oddU(o.SensorDeg, s.x[even], math.Sqrt(math.Max(0, s.fac.inverse(even)[even])))
	}
	push := func(of func(r *row) float64) {
		var b, x [nCols]float64
		c, d := s.get(cSlope), s.get(cKnee)
		for i := range s.rows {
			r := &s.rows[i]
			r.fill(&x, s.cols, s.f, s.m, c, d, s.bend)
			for k, name := range s.cols {
				b[k] += r.w * x[name] * of(r)
			}
		}
		got := s.fac.solve(&b)
		for k := range s.cols {
			u[k] = math.Hypot(u[k], size*got[k])
		}
	}
	push(func(r *row) float64 { return r.sin })
	if even < 0 {
		push(func(r *row) float64 { return r.cos })
	}
	return u
}

// kneeU is the half-width over which the sum of squares grows by t² when the knee moves: the
// likelihood interval of a single parameter, which unlike the derivative knows that a knee near the
// ends of the loop is told from one side only.
func (s *solution) kneeU(t, tmax float64) float64 {
	cols := without(s.cols, cKnee)
	rows := pool(s.rows, tmax)
	best := s.fit(rows, cols, want{m: s.m})
	if best == nil {
		return 0
	}
	limit := best.rss + t*t
	width := 0.01 * s.m
	for range 40 {
		out := true
		for _, m := range []float64{s.m + width, s.m - width} {
			if m <= 0 {
				continue
			}
			if at := best.fit(rows, cols, want{m: m}); at != nil && at.rss <= limit {
				out = false
			}
		}
		if out {
			break
		}
		width *= 1.25
	}
	return width
}
