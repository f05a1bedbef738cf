package play

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Point is one reading of the loop: a stop, or the mean over a small stretch of a ramp.
type Point struct {
	Load   float64 // torque of the load on the joint, N·m
	Defl   float64 // deflection, deg
	Angle  float64 // joint angle, deg
	Dir    int     // direction of motion: +1, -1
	Group  int     // cycle the point belongs to
	Static bool    // a stop: friction's state is not known
}

// Options says what the model may contain.
type Options struct {
	// Friction lets moving points shift by f·Dir; else their gap is an offset of its own (the lag
	// of a servo), which is all that can be said of a path that contains the servo.
	Friction bool
	// FrictionMax bounds the friction searched, N·m; pass what is known of it, since a loop that
	// creep holds open fits a great friction as well. 0 means half the greatest load.
	FrictionMax float64
	// Knee lets the slope grow at a torque of its own, as it does when a belt span goes slack.
	Knee bool
	// Wave adds cos(angle): the even part of an off-centre angle sensor. The odd part cannot be
	// told from compliance under a hanging load and goes into the uncertainty.
	Wave bool
	// Lowest is the share of the greatest load below which points are left out, since no flank is
	// surely pressed there. 0 means DefaultLowest.
	Lowest float64
	// SensorDeg is the standard uncertainty of the angle sensors' form (off-centre magnet), deg.
	SensorDeg float64
}

// Interval is a value with its expanded uncertainty (95 %).
type Interval struct{ Value, U float64 }

// Loop is the fitted loop.
type Loop struct {
	Offset     float64  // a, deg
	Play       Interval // b, deg; signed: a negative value is within its U of zero, or the model is wrong
	Compliance Interval // C, deg/N·m, below the knee
	Friction   Interval // f, N·m; only with Options.Friction
	Gap        Interval // offset between moving and standing points, deg; only without
	Knee       float64  // M, N·m; NaN when none was found
	KneeU      float64
	KneeSlope  float64 // slope above the knee, deg/N·m
	LoadMin    float64 // least |τ| used, N·m
	LoadMax    float64 // greatest |τ| used, N·m
	BothSigns  bool    // the torque pressed both flanks
	Levels     int     // distinct levels of |τ|, per side the fewer
	Resid      float64 // residual standard deviation, deg
	N          int
	wave       float64
}

// Why a loop cannot be fitted.
var (
	ErrFewPoints = errors.New("fewer than six readings under load")
	ErrOneSided  = errors.New("the load pulls one way over the whole sweep, so the play never opens")
	ErrFewLevels = errors.New("the load takes fewer than three levels a side, so play and compliance cannot be told apart")
)

// Fit fits the loop. When the load never changes sign the slope is still fitted (over the side
// seen) and the error is ErrOneSided: play is then not observable.
func Fit(points []Point, o Options) (Loop, error) {
	if o.Lowest == 0 {
		o.Lowest = DefaultLowest
	}
	tmax := 0.0
	for _, p := range points {
		tmax = math.Max(tmax, math.Abs(p.Load))
	}
	fs := []float64{0}
	if o.Friction {
		fmax := o.FrictionMax
		if fmax <= 0 {
			fmax = tmax / 2
		}
		fs = grid(0, fmax, 81)
	}
	best := search(points, tmax, fs, []float64{math.NaN()}, o)
	if best == nil {
		return Loop{}, ErrFewPoints
	}
	if o.Friction {
		best = refineFriction(points, tmax, best, o)
	}
	if o.Knee {
		if k := searchKnee(points, tmax, best, o); k != nil {
			best = k
		}
	}
	l := best.loop(o)
	switch {
	case !l.BothSigns:
		return l, ErrOneSided
	case l.Levels < 3:
		return l, ErrFewLevels
	}
	return l, nil
}

// solution is the least-squares fit for one choice of friction and knee.
type solution struct {
	f, m  float64
	coef  []float64
	cov   *mat.SymDense
	rss   float64
	rows  []row
	names []string
}

type row struct {
	tau, y, weight float64
	p              Point
}

// DefaultLowest is the least share of the greatest load at which a flank counts as pressed [common
// practice]: below it the joint may lie anywhere in the gap.
const DefaultLowest = 0.08

func search(points []Point, tmax float64, fs, ms []float64, o Options) *solution {
	var best *solution
	for _, f := range fs {
		rows := build(points, tmax, f, o)
		if len(rows) < 6 {
			continue
		}
		for _, m := range ms {
			if f > o.FrictionMax && o.FrictionMax > 0 {
				continue
			}
			if s := solve(rows, f, m, o); s != nil && (best == nil || s.rss < best.rss) {
				best = s
			}
		}
	}
	return best
}

func build(points []Point, tmax, f float64, o Options) []row {
	var rows []row
	for _, p := range points {
		tau := p.Load
		if o.Friction && !p.Static {
			tau -= f * float64(p.Dir)
		}
		// The set of points must not change with f, else residuals cannot be compared: the load
		// alone decides which points count.
		if math.Abs(p.Load) < o.Lowest*tmax {
			continue
		}
		rows = append(rows, row{tau: tau, y: p.Defl, p: p})
	}
	return rows
}

func solve(rows []row, f, m float64, o Options) *solution {
	both := signs(rows)
	names := []string{"offset", "slope"}
	if both {
		names = append(names, "step")
	}
	if !math.IsNaN(m) {
		names = append(names, "knee")
	}
	moving, standing := false, false
	for _, r := range rows {
		if r.p.Static {
			standing = true
		} else {
			moving = true
		}
	}
	if !o.Friction && moving && standing && both {
		names = append(names, "gap")
	}
	if o.Wave && both {
		names = append(names, "wave")
	}
	n, k := len(rows), len(names)
	if n < k+3 {
		return nil
	}
	a := mat.NewDense(n, k, nil)
	y := mat.NewVecDense(n, nil)
	for i, r := range rows {
		for c, name := range names {
			a.Set(i, c, column(name, r, m))
		}
		y.SetVec(i, r.y)
	}
	var qr mat.QR
	qr.Factorize(a)
	if qr.Cond() > 1e10 {
		return nil
	}
	var x mat.VecDense
	if err := qr.SolveVecTo(&x, false, y); err != nil {
		return nil
	}
	var fit mat.VecDense
	fit.MulVec(a, &x)
	rss := 0.0
	for i := range n {
		d := y.AtVec(i) - fit.AtVec(i)
		rss += d * d
	}
	var ata mat.SymDense
	ata.SymOuterK(1, a.T())
	var chol mat.Cholesky
	cov := mat.NewSymDense(k, nil)
	if !chol.Factorize(&ata) || chol.InverseTo(cov) != nil {
		return nil
	}
	return &solution{f: f, m: m, coef: x.RawVector().Data, cov: cov, rss: rss, rows: rows, names: names}
}

func column(name string, r row, m float64) float64 {
	s := sgn(r.tau)
	switch name {
	case "offset":
		return 1
	case "slope":
		return r.tau
	case "step":
		return s
	case "knee":
		return s * math.Max(0, math.Abs(r.tau)-m)
	case "gap":
		if r.p.Static {
			return 0
		}
		return -float64(r.p.Dir)
	case "wave":
		return math.Cos(r.p.Angle*math.Pi/180) - 0.8
	}
	panic("play: no column " + name)
}

// signs says whether the load pressed both flanks. The load decides, not the torque after friction:
// friction alone does not open a gap that the load holds shut.
func signs(rows []row) bool {
	var up, down int
	for _, r := range rows {
		if r.p.Load > 0 {
			up++
		} else if r.p.Load < 0 {
			down++
		}
	}
	return up >= 3 && down >= 3
}

// refineFriction polishes f by parabola steps around the grid's best.
func refineFriction(points []Point, tmax float64, best *solution, o Options) *solution {
	width := tmax / 80
	for range 4 {
		fs := grid(math.Max(0, best.f-width), best.f+width, 9)
		if s := search(points, tmax, fs, []float64{math.NaN()}, o); s != nil && s.rss <= best.rss {
			best = s
		}
		width /= 4
	}
	return best
}

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
)

func searchKnee(points []Point, tmax float64, line *solution, o Options) *solution {
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
	slope, extra := best.get("slope"), best.get("knee")
	gain := (slope + extra) / slope
	n := independent(best.rows)
	bic := func(s *solution, p int) float64 { return n*math.Log(s.rss/n) + float64(p)*math.Log(n) }
	better := bic(line, len(line.names)) - bic(best, len(best.names)+1)
	if slope <= 0 || gain < kneeGain || gain > kneeMost || better < kneeBIC {
		return nil
	}
	return best
}

func (s *solution) get(name string) float64 {
	for i, n := range s.names {
		if n == name {
			return s.coef[i]
		}
	}
	return 0
}

func (s *solution) se(name string, s2 float64) float64 {
	for i, n := range s.names {
		if n == name {
			return math.Sqrt(s2 * s.cov.At(i, i))
		}
	}
	return 0
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

func (s *solution) loop(o Options) Loop {
	n := independent(s.rows)
	df := math.Max(2, n-float64(len(s.names)))
	s2 := s.rss / float64(len(s.rows)) * n / df
	// s2 is per row; the covariance counts every row, so it is stretched by rows per independent row.
	stretch := float64(len(s.rows)) / n
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(0.975)
	l := Loop{Offset: s.get("offset"), Knee: math.NaN(), KneeU: math.NaN(), KneeSlope: math.NaN(),
		LoadMin: math.Inf(1), Resid: math.Sqrt(s2), N: len(s.rows), BothSigns: signs(s.rows), wave: s.get("wave")}
	for _, r := range s.rows {
		l.LoadMin = math.Min(l.LoadMin, math.Abs(r.tau))
		l.LoadMax = math.Max(l.LoadMax, math.Abs(r.tau))
	}
	l.Levels = levels(s.rows, l.LoadMax)
	u := func(name string, scale, typeB float64) float64 {
		se := scale * s.se(name, s2*stretch)
		return math.Sqrt(t*t*se*se + 4*typeB*typeB)
	}
	// An off-centre sensor bends the line by its form over the whole load: SensorDeg/LoadMax.
	l.Compliance = Interval{s.get("slope"), u("slope", 1, o.SensorDeg/l.LoadMax)}
	l.Play = Interval{2 * s.get("step"), u("step", 2, o.SensorDeg/3)}
	l.Gap = Interval{s.get("gap"), u("gap", 1, 0)}
	l.Friction = Interval{math.NaN(), math.NaN()}
	if o.Friction {
		l.Friction = Interval{s.f, s.frictionU(t, s2*stretch, o)}
	}
	if !math.IsNaN(s.m) {
		l.Knee, l.KneeU = s.m, s.kneeU(t, s2*stretch, o)
		l.KneeSlope = s.get("slope") + s.get("knee")
	}
	return l
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

// At returns the deflection the fitted loop gives at a torque the stretch carries, without friction.
func (l Loop) At(tau float64) float64 {
	w := l.Offset + l.Play.Value/2*sgn(tau) + l.Compliance.Value*tau
	if !math.IsNaN(l.Knee) {
		w += (l.KneeSlope - l.Compliance.Value) * sgn(tau) * math.Max(0, math.Abs(tau)-l.Knee)
	}
	return w
}

func grid(lo, hi float64, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = lo + (hi-lo)*float64(i)/float64(n-1)
	}
	return out
}

func sgn(x float64) float64 {
	switch {
	case x > 0:
		return 1
	case x < 0:
		return -1
	}
	return 0
}
