package analyze

import (
	"fmt"
	"math"

	"limbgauge/analyze/health"
	"limbgauge/analyze/positioning"
	"limbgauge/analyze/stats"
)

// bootstrapSeed makes every interval reproducible; bootstrapReplicas is what methods of resampling
// ask for at least (Efron and Tibshirani 1993: 1000 for intervals).
const (
	bootstrapSeed     = 20230
	bootstrapReplicas = 1000
)

const (
	isoMethod  = "ISO 230-2:2014, stops reached from both sides; interval by resampling whole cycles"
	poseMethod = "ISO 9283:1998, ±3 S of each stop and side, pooled over stops; interval by resampling whole cycles"
)

// formBound names the figures that compare different angles, so that the form error of the sensor
// is in them; differences at one angle are nearly free of it.
var formBound = map[string]bool{"systematic_deviation": true, "accuracy": true}

func (c *subject) positioning(p *path) []health.Measure {
	names := []string{"reversal_error", "mean_reversal", "repeatability", "systematic_deviation", "accuracy"}
	unseen := func(why string) []health.Measure {
		var out []health.Measure
		for _, n := range names {
			out = append(out, health.Unseen(n, p.name, isoMethod, why))
		}
		return append(out, health.Unseen("pose_repeatability", p.name, poseMethod, why))
	}
	if len(c.targets) < 3 {
		return unseen("the run has no stair of three or more stops reached from both sides")
	}
	stops := make([]positioning.Stop, len(c.stops))
	for i, s := range c.stops {
		stops[i] = positioning.Stop{Target: s.Target, Dir: s.Dir, Cycle: s.Cycle, Deviation: meanOf(p.defl(s.Tail[0], s.Tail[1]))}
	}
	o := positioning.Options{Quantum: p.quantum, NoiseSD: c.dwellNoise(p), Replicas: bootstrapReplicas, Seed: bootstrapSeed}
	r, err := positioning.Evaluate(stops, o)
	if err != nil {
		return unseen(err.Error())
	}
	var out []health.Measure
	for i, b := range []stats.Boot{r.Reversal, r.MeanReversal, r.Repeat, r.Syst, r.Acc} {
		m := fromBoot(names[i], p.name, b, isoMethod)
		if formBound[names[i]] && !math.IsNaN(m.Uncertainty) {
			// The range of readings at different angles: the form of each sensor is in it twice.
			m.Uncertainty = math.Hypot(m.Uncertainty, 2*math.Sqrt2*c.formOf(p))
		}
		if math.Abs(b.Bias) > math.Max(0.1*b.U, 0.0005) && names[i] == "reversal_error" {
			m.Reason = fmt.Sprintf("a greatest value, which noise raises by about %.3f deg; read it beside the mean reversal", b.Bias)
		}
		out = append(out, m)
	}
	poses, err := positioning.EvaluatePoses(stops, o)
	if err != nil {
		return append(out, health.Unseen("pose_repeatability", p.name, poseMethod, err.Error()))
	}
	return append(out, fromBoot("pose_repeatability", p.name, poses.Pooled, poseMethod))
}

// fromBoot turns a resampled figure into a measure; too few cycles leave it without uncertainty,
// which its reason says.
func fromBoot(name string, p health.Path, b stats.Boot, method string) health.Measure {
	if b.Unseen != "" || math.IsNaN(b.Value) {
		why := b.Unseen
		if why == "" {
			why = b.Why
		}
		return health.Unseen(name, p, method, why)
	}
	m := health.Of(name, p, b.Value, b.Expanded(), method)
	m.Reason = b.Why
	return m
}

// fromEstimate turns an estimate into a measure.
func fromEstimate(name string, p health.Path, e stats.Estimate, method string) health.Measure {
	if !e.Seen() {
		return health.Unseen(name, p, method, e.Unseen)
	}
	return health.Of(name, p, e.Value, e.Expanded(), method)
}

// dwellNoise is the standard deviation of a path's samples within the settled part of its stops.
func (c *subject) dwellNoise(p *path) float64 {
	var sum float64
	n := 0
	for _, s := range c.stops {
		if sd := sdOf(p.defl(s.Tail[0], s.Tail[1])); !math.IsNaN(sd) {
			sum += sd * sd
			n++
		}
	}
	if n == 0 {
		return 0
	}
	return math.Sqrt(sum / float64(n))
}
