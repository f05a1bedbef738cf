package play

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"limbgauge/analyze/stats"
)

func (s *solution) loop(o Options) Loop {
	n := independent(s.rows)
	df := math.Max(2, n-float64(len(s.names)))
	s2 := s.rss / float64(len(s.rows)) * n / df
	// s2 is per row; the covariance counts every row, so it is stretched by rows per independent row.
	stretch := float64(len(s.rows)) / n
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(0.975)
	l := Loop{Offset: s.get("offset"), Knee: math.NaN(), KneeU: math.NaN(), KneeSlope: math.NaN(),
		KneeFrom: math.NaN(), KneeTo: math.NaN(),
		LoadMin: math.Inf(1), Resid: math.Sqrt(s2), N: len(s.rows), BothSigns: signs(s.rows), wave: s.get("wave")}
	for _, r := range s.rows {
		l.LoadMin = math.Min(l.LoadMin, math.Abs(r.tau))
		l.LoadMax = math.Max(l.LoadMax, math.Abs(r.tau))
	}
	l.Levels = levels(s.rows, l.LoadMax)
	cov := s.covariance(o)
	u := func(name string, scale, typeB float64) float64 {
		se := scale * s.se(cov, name, s2*stretch)
		return math.Sqrt(t*t*se*se + 4*typeB*typeB)
	}
	// An off-centre sensor bends the line by its form over the loads of one side.
	l.Compliance = Interval{s.get("slope"), u("slope", 1, o.SensorDeg/math.Max(l.LoadMax-l.LoadMin, 1e-9))}
	l.Play = Interval{2 * s.get("step"), u("step", 2, o.SensorDeg/3)}
	l.Gap = Interval{s.get("gap"), u("gap", 1, 0)}
	l.Friction = Interval{math.NaN(), math.NaN()}
	if o.Friction && slices.ContainsFunc(s.rows, func(r row) bool { return !r.p.Static }) {
		l.Friction = Interval{s.f, s.frictionU(t, s2*stretch, o)}
	}
	if !math.IsNaN(s.m) {
		l.Knee, l.KneeU = s.m, s.kneeU(t, s2*stretch, o)
		l.KneeSlope = s.get("slope") + s.get("knee")
	}
	return l
}

// covariance is that of the coefficients with friction and knee free as well: each adds the column
// of its derivative. Held fixed they would make the slopes look surer than they are. Where these
// columns cannot be told from the others the fixed one has to serve.
func (s *solution) covariance(o Options) *mat.SymDense {
	free := func(r row) (out []float64) {
		beyond := 0.0
		if !math.IsNaN(s.m) && math.Abs(r.tau) > s.m {
			beyond = s.get("knee")
		}
		if o.Friction && s.f > 0 {
			d := 0.0
			if !r.p.Static {
				d = -float64(r.p.Dir) * (s.get("slope") + beyond)
			}
			out = append(out, d)
		}
		if !math.IsNaN(s.m) {
			out = append(out, -stats.Sign(r.tau)*beyond)
		}
		return out
	}
	k := len(s.names)
	extra := len(free(s.rows[0]))
	if extra == 0 || len(s.rows) < k+extra+3 {
		return s.cov
	}
	cols := make([][]float64, k+extra)
	for c := range cols {
		cols[c] = make([]float64, len(s.rows))
	}
	y := make([]float64, len(s.rows))
	for i, r := range s.rows {
		for c, name := range s.names {
			cols[c][i] = column(name, &r, s.m)
		}
		for c, d := range free(r) {
			cols[k+c][i] = d
		}
	}
	if _, cov, _, ok := leastSquares(cols, y); ok {
		return cov
	}
	return s.cov
}

// independent returns how many of the rows count as independent: neighbouring stretches of one
// ramp share their vibration, so three of them count as one; a stop counts whole.
func independent(rows []row) float64 {
	n := 0.0
	for _, r := range rows {
		if r.p.Static {
			n++
		} else {
			n += 1.0 / 3
		}
	}
	return n
}

// profile returns the half-width over which rss grows by t²·s2 when one nonlinear parameter moves:
// the likelihood interval of a single parameter.
func (s *solution) profile(t, s2, start float64, at func(x float64) *solution) float64 {
	limit := s.rss + t*t*s2
	width := start
	for range 40 {
		a, b := at(width), at(-width)
		ok := (a == nil || a.rss > limit) && (b == nil || b.rss > limit)
		if ok {
			return width
		}
		width *= 1.25
	}
	return width
}

func (s *solution) frictionU(t, s2 float64, o Options) float64 {
	return s.profile(t, s2, 1e-4, func(d float64) *solution {
		rows := make([]row, len(s.rows))
		for i, r := range s.rows {
			rows[i] = r
			if !r.p.Static {
				rows[i].tau = r.p.Load - (s.f+d)*float64(r.p.Dir)
			}
		}
		return solve(rows, s.f+d, s.m, o)
	})
}

func (s *solution) kneeU(t, s2 float64, o Options) float64 {
	return s.profile(t, s2, 0.01*s.m, func(d float64) *solution {
		if s.m+d <= 0 {
			return nil
		}
		return solve(s.rows, s.f, s.m+d, o)
	})
}

func levels(rows []row, tmax float64) int {
	count := func(sign float64) int {
		seen := map[int]bool{}
		for _, r := range rows {
			if r.tau*sign > 0 {
				seen[int(math.Abs(r.tau)/tmax*16)] = true
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
