package play

import (
	"errors"
	"math"

	"limbgauge/analyze/stats"
)

// Point is one reading of the loop: a stop, or the mean over a small stretch of a ramp.
type Point struct {
	Load   float64 // torque of the load on the joint, N·m
	Defl   float64 // deflection, deg
	Angle  float64 // joint angle, deg
	Dir    int     // direction of motion: +1, -1
	Group  int     // cycle of a stop, pass of a ramp
	Static bool    // a stop: friction's state is not known
}

// Options says what the model may contain.
type Options struct {
	// Friction lets moving points shift by f·Dir; else their gap is an offset of its own (the lag
	// of a servo), which is all that can be said of a path that contains the servo.
	Friction bool
	// FrictionMax bounds the friction searched, N·m; pass what is known of it, since a loop that
	// creep holds open fits a great friction as well. 0 means that nothing is known.
	FrictionMax float64
	// Knee lets the slope grow at a torque of its own, as it does when a belt span goes slack.
	Knee bool
	// Wave adds the form of off-centre angle sensors to the model; see form.go.
	Wave bool
	// Lowest is the share of the greatest load below which points are left out, since no flank is
	// surely pressed there. 0 means DefaultLowest.
	Lowest float64
	// SensorDeg is the standard deviation that each harmonic's even and odd part of the angle sensors'
	// form (off-centre magnet) usually has, deg; sensors whose form was mapped have less.
	SensorDeg float64
	// QuantumDeg is a step of the angle sensors together, deg.
	QuantumDeg float64
	// BlurDeg is by how much the servo in the path may rest apart from where it is told to, deg; a knee
	// that bends the line by less is not believed.
	BlurDeg float64
	// LoadRel is the relative standard uncertainty of the load.
	LoadRel float64
	// EdgeRel is the relative standard uncertainty of a dead zone from edges that are not sharp.
	EdgeRel float64
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
	// Without a knee: one of the usual growth of slope is excluded between these torques, N·m; both
	// NaN where the loop excludes it nowhere.
	KneeFrom, KneeTo float64
	LoadMin          float64 // least |τ| used, N·m
	LoadMax          float64 // greatest |τ| used, N·m
	BothSigns        bool    // the torque pressed both flanks
	Levels           int     // distinct levels of |τ|, per side the fewer
	Resid            float64 // residual standard deviation, deg
	N                int
	// Cycles is how many cycles and passes were resampled for the intervals; 0 where there are too few
	// and residuals alone serve.
	Cycles int
}

// Why a loop cannot be fitted.
var (
	ErrFewPoints = errors.New("fewer than six readings under load")
	ErrOneSided  = errors.New("the load pulls one way over the whole sweep, so the play never opens")
	ErrFewLevels = errors.New("the load takes fewer than three levels a side, so play and compliance cannot be told apart")
	ErrFriction  = errors.New("friction is as great as the load, so no flank is surely pressed")
)

// DefaultLowest is the least share of the greatest load at which a flank counts as pressed [common
// practice]: below it the joint may lie anywhere in the gap.
const DefaultLowest = 0.08

const (
	// frictionMost is the share of the greatest load up to which friction is searched: beyond the
	// load all frictions look alike.
	frictionMost = 0.95
	// beyondBIC is the least gain in BIC that says friction lies beyond the load.
	beyondBIC = 6
	// lagShare is the standard uncertainty, before the run is looked at, of how far creep makes a ramp
	// lag, as a share of the compliance: printed plastics creep by some per cent for each tenfold of
	// time [common practice], and log-time creep lags by π/2/ln 10 = 0.68 of that.
	lagShare = 0.02
)

// Fit fits the loop. When the load never changes sign the slope is still fitted (over the side
// seen) and the error is ErrOneSided: play is then not observable, as it is with ErrFewLevels and
// ErrFriction.
func Fit(points []Point, o Options) (Loop, error) {
	if o.Lowest == 0 {
		o.Lowest = DefaultLowest
	}
	if !(o.FrictionMax > 0) {
		o.FrictionMax = math.Inf(1)
	}
	tmax := 0.0
	for _, p := range points {
		tmax = math.Max(tmax, math.Abs(p.Load))
	}
	h := hanging(points)
	rows := prepare(points, tmax, 0, math.NaN(), h, o)
	cols := columns(rows, h, o)
	first := rough(pool(rows, tmax), cols, tmax, o)
	if first == nil || len(rows) < 6 {
		if len(rows) >= 6 && levels(rows, tmax) < 2 {
			return Loop{}, ErrFewLevels
		}
		return Loop{}, ErrFewPoints
	}
	beyond := o.Friction && beyondLoad(first, len(rows), tmax, o)

	best := first
	for range 2 { // where flanks change depends on friction and play
		next := prepare(points, tmax, math.Max(0, best.f), 2*best.get(cStep), h, o)
		best.prior = best.priors(o)
		s := weighed(next, columns(next, h, o), best, o)
		if s == nil {
			break
		}
		best = s
	}
	best = trimmed(best, tmax, h, o)
	l := best.loop(h, tmax, o)
	if l.KneeU > kneeSure*l.Knee { // it bends, but where is anyone's guess
		if line := best.fit(best.rows, without(best.cols, cKnee), want{}); line != nil {
			best = line
			l = best.loop(h, tmax, o)
		}
	}
	if o.Knee && math.IsNaN(l.Knee) {
		x := excludeKnee(best, tmax)
		l.KneeFrom, l.KneeTo = x.from, x.to
		l.Play.U = math.Hypot(l.Play.U, 2*x.play)
		l.Compliance.U = math.Hypot(l.Compliance.U, 2*x.compliance)
		l.Friction.U = math.Hypot(l.Friction.U, 2*x.friction)
	}
	switch {
	case !l.BothSigns:
		return l, ErrOneSided
	case l.Levels < 3:
		return l, ErrFewLevels
	case o.Friction && (!lowers(rows, best.f) || beyond):
		return l, ErrFriction
	}
	return l, nil
}

// priors returns what is known of the coefficients beforehand, given a first slope.
func (s *solution) priors(o Options) (p prior) {
	if c := math.Abs(s.get(cSlope)); c > 0 {
		p.lag = 1 / (lagShare * lagShare * c * c)
	}
	if o.SensorDeg > 0 {
		p.bow = 1 / (o.SensorDeg * o.SensorDeg)
	}
	return p
}

// weighed fits the straight model with each kind of row weighed by its own scatter.
func weighed(rows []row, cols []col, from *solution, o Options) *solution {
	s := from
	for range 3 {
		next := s.fit(rows, cols, want{})
		if next == nil {
			return nil
		}
		s = next
		s.weigh(!o.Friction)
	}
	return s.fit(rows, cols, want{})
}

// trimmed looks for the knee, and once more without the rows that lie far off the model: a tight
// spot holds the joint back at one angle and is no part of the loop.
func trimmed(s *solution, tmax float64, h hang, o Options) *solution {
	for range 3 {
		best := s
		if o.Knee {
			if k := searchKnee(s, tmax, o.BlurDeg); k != nil {
				best = k
			}
		}
		keep := best.inliers()
		if keep == nil {
			return best
		}
		next := weighed(keep, columns(keep, h, o), s, o)
		if next == nil {
			return best
		}
		s = next
	}
	if o.Knee {
		if k := searchKnee(s, tmax, o.BlurDeg); k != nil {
			return k
		}
	}
	return s
}

// beyondLoad reports whether a friction greater than any load fits better: then each direction
// presses one flank all the way.
func beyondLoad(best *solution, n int, tmax float64, o Options) bool {
	f := 1.2 * tmax
	if o.FrictionMax < f || best.place(cStep) < 0 {
		return false
	}
	all := make([]row, len(best.rows))
	for i, r := range best.rows {
		if !r.Static {
			r.flank = -float64(r.Dir)
		}
		all[i] = r
	}
	start := &solution{}
	s := start.fit(all, best.cols, want{fixed: true})
	// Play cannot be negative, so friction beyond the load holds the loop open by more than the load.
	if s == nil || s.get(cSlope) <= 0 || s.get(cStep)/s.get(cSlope) < tmax {
		return false
	}
	return float64(n)/3*math.Log(best.rss/s.rss) > beyondBIC
}

// lowers reports whether the load exceeds the friction somewhere while it is lowered, in both
// directions. Else each direction presses one flank only, and play and friction merge.
func lowers(rows []row, friction float64) bool {
	const least = 3
	moves := false
	n := map[int]int{}
	for _, r := range rows {
		if r.Static {
			continue
		}
		moves = true
		if r.Load*float64(r.Dir) > friction {
			n[r.Dir]++
		}
	}
	return !moves || n[1] >= least && n[-1] >= least
}

// At returns the deflection the fitted loop gives at a torque the stretch carries, without friction.
func (l Loop) At(tau float64) float64 {
	w := l.Offset + l.Play.Value/2*stats.Sign(tau) + l.Compliance.Value*tau
	if !math.IsNaN(l.Knee) {
		w += (l.KneeSlope - l.Compliance.Value) * stats.Sign(tau) * math.Max(0, math.Abs(tau)-l.Knee)
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
