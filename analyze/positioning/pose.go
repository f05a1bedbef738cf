package positioning

import (
	"fmt"
	"math"

	"limbgauge/analyze/stats"
)

// Pose is the repeatability of one pose reached always from the same side (ISO 9283:1998, clause 7.2).
type Pose struct {
	Target float64
	Dir    int
	N      int
	RP     float64 // deg; RP_a = 3·S_a, to be read as ±RP
	Lo, Hi float64 // 95 % interval of RP from the chi-square law of S
}

// AngleRepeatability returns RP_a = 3·S_a of one angle reached n times from one side. The standard
// asks for 30 visits; from 5 the interval runs from 0.6 to 2.9 times the value.
func AngleRepeatability(x []float64) (Pose, error) {
	if len(x) < 2 {
		return Pose{}, fmt.Errorf("pose repeatability of %d visits: %w", len(x), stats.ErrTooFew)
	}
	p := Pose{N: len(x), RP: 3 * stats.SD(x)}
	p.Lo, p.Hi = stats.SDInterval(p.RP, float64(p.N-1), 0.95)
	return p, nil
}

// PointRepeatability returns RP_l = l̄ + 3·S_l of points in space (any number of coordinates, one
// point per row), with l the distances to their barycentre.
func PointRepeatability(points [][]float64) (float64, error) {
	if len(points) < 2 {
		return math.NaN(), fmt.Errorf("pose repeatability of %d points: %w", len(points), stats.ErrTooFew)
	}
	centre := make([]float64, len(points[0]))
	col := make([]float64, len(points))
	for k := range centre {
		for i, p := range points {
			col[i] = p[k]
		}
		centre[k] = stats.Mean(col)
	}
	l := make([]float64, len(points))
	for i, p := range points {
		for k := range centre {
			l[i] = math.Hypot(l[i], p[k]-centre[k])
		}
	}
	return stats.Mean(l) + 3*stats.SD(l), nil
}

// PoseResult is the pose repeatability of every stop of a stair.
type PoseResult struct {
	Poses  []Pose     // every target and direction visited twice or more
	Worst  stats.Boot // greatest RP_a; a maximum, so biased upward: read Bias
	Pooled stats.Boot // 3·√(mean of S²), steadier: one repeatability for the whole joint
}

// EvaluatePoses computes ±3·S_a of every target in each direction of approach.
func EvaluatePoses(stops []Stop, o Options) (PoseResult, error) {
	g := table(stops)
	if o.Replicas == 0 {
		o.Replicas = 2000
	}
	var r PoseResult
	for i, at := range g.targets {
		for d, dir := range []int{1, -1} {
			var x []float64
			for _, v := range g.x[i][d] {
				if !math.IsNaN(v) {
					x = append(x, v)
				}
			}
			if p, err := AngleRepeatability(x); err == nil {
				p.Target, p.Dir = at, dir
				r.Poses = append(r.Poses, p)
			}
		}
	}
	if len(r.Poses) == 0 {
		return r, fmt.Errorf("pose repeatability: no pose was visited twice from one side: %w", stats.ErrTooFew)
	}
	b := stats.CycleBootstrap(len(g.cycles), o.Replicas, 2, o.Seed, func(pick []int, out []float64) {
		var worst, ss, n float64
		for _, t := range g.evaluate(pick, 0) {
			for _, s := range []float64{t.SUp, t.SDown} {
				if !math.IsNaN(s) {
					worst, ss, n = math.Max(worst, 3*s), ss+s*s, n+1
				}
			}
		}
		if n > 0 {
			out[0], out[1] = worst, 3*math.Sqrt(ss/n)
		}
	})
	if u := o.quantumU(); u > 0 {
		for i := range b {
			b[i].Estimate = widened(b[i].Estimate, 3*u)
		}
	}
	r.Worst, r.Pooled = b[0], b[1]
	return r, nil
}

// ModelReversal returns the reversal error a joint of known parts would show, deg: the dead band of
// the servo, the play whose flank changes, and twice the friction torque (N·m) times the compliance
// between drive and sensor (deg/N·m). Derived.
func ModelReversal(deadbandDeg, playDeg, frictionNm, complianceDegPerNm float64) float64 {
	return deadbandDeg + playDeg + 2*frictionNm*complianceDegPerNm
}
