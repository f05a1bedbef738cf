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
	Group  int     // cycle the point belongs to
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
	// Wave adds cos(angle): the even part of an off-centre angle sensor. The odd part cannot be
	// told from compliance under a hanging load and goes into the uncertainty.
	Wave bool
	// Lowest is the share of the greatest load below which points are left out, since no flank is
	// surely pressed there. 0 means DefaultLowest.
	Lowest float64
	// SensorDeg is the standard uncertainty of the angle sensors' form (off-centre magnet), deg.
	SensorDeg float64

	opens bool    // the step may not be negative
	shut  bool    // there is no step
	bend  float64 // the slope grows by this share at the knee, instead of by what fits
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
	wave             float64
}

// Why a loop cannot be fitted.
var (
	ErrFewPoints = errors.New("fewer than six readings under load")
	ErrOneSided  = errors.New("the load pulls one way over the whole sweep, so the play never opens")
	ErrFewLevels = errors.New("the load takes fewer than three levels a side, so play and compliance cannot be told apart")
	ErrFriction  = errors.New("friction is as great as the load, so no flank is surely pressed")
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
	fs := []float64{0}
	if o.Friction {
		fs = grid(0, math.Min(o.FrictionMax, frictionMost*tmax), 121)
	}
	best := search(points, tmax, fs, []float64{math.NaN()}, o)
	if best == nil {
		if rows := build(points, tmax, 0, o); len(rows) >= 6 && levels(rows, tmax) < 2 {
			return Loop{}, ErrFewLevels
		}
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
	if o.Knee && math.IsNaN(l.Knee) {
		l.KneeFrom, l.KneeTo = excludeKnee(points, tmax, best, o)
	}
	switch {
	case !l.BothSigns:
		return l, ErrOneSided
	case l.Levels < 3:
		return l, ErrFewLevels
	case o.Friction && (!lowers(best.rows, best.f) || beyondLoad(points, tmax, best, o)):
		return l, ErrFriction
	}
	return l, nil
}

const (
	// frictionMost is the share of the greatest load up to which friction is searched: beyond the
	// load all frictions look alike.
	frictionMost = 0.95
	// beyondBIC is the least gain in BIC that says friction lies beyond the load.
	beyondBIC = 6
)

// beyondLoad reports whether a friction greater than any load fits better: then each direction
// presses one flank all the way.
func beyondLoad(points []Point, tmax float64, best *solution, o Options) bool {
	f := 1.2 * tmax
	if o.FrictionMax < f {
		return false
	}
	s := search(points, tmax, []float64{f}, []float64{math.NaN()}, o)
	// Play cannot be negative, so friction beyond the load holds the loop open by more than the load.
	if s == nil || s.get("slope") <= 0 || f+s.get("step")/s.get("slope") < tmax {
		return false
	}
	return independent(best.rows)*math.Log(best.rss/s.rss) > beyondBIC
}

// lowers reports whether the load exceeds the friction somewhere while it is lowered, in both
// directions. Else each direction presses one flank only, and play and friction merge.
func lowers(rows []row, friction float64) bool {
	const least = 3
	moves := false
	n := map[int]int{}
	for _, r := range rows {
		if r.p.Static {
			continue
		}
		moves = true
		if r.p.Load*float64(r.p.Dir) > friction {
			n[r.p.Dir]++
		}
	}
	return !moves || n[1] >= least && n[-1] >= least
}

// DefaultLowest is the least share of the greatest load at which a flank counts as pressed [common
// practice]: below it the joint may lie anywhere in the gap.
const DefaultLowest = 0.08

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
