package analyze

import (
	"fmt"
	"math"

	"limbgauge/analyze/friction"
	"limbgauge/analyze/health"
	"limbgauge/analyze/stats"
)

const (
	asymMethod = "inverse dynamics by linear least squares on ramps in which the motor drives, torque from the supply current; friction to greater angles less friction to smaller ones; interval by resampling cycles"
	ampMethod  = "inverse dynamics by linear least squares on ramps in which the motor drives, torque from the supply current by the rated lines; interval by resampling cycles and the rated scale"
	// fitReplicas resamples give a standard deviation to 4 %.
	fitReplicas = 300
	fitSeed     = 1
	// trimSigmas is as far as a stretch may lie off the fit and count: a tight spot lies further
	// [common practice].
	trimSigmas = 4
	// leastStretches of 1 deg must be raised each way.
	leastStretches = 10
	// downU is the standard uncertainty, deg, of the angle at which a load is said to hang straight
	// down: 1 deg, even. An error there looks like a torque that always pulls one way [common practice].
	downU = 0.58
)

// fitted is friction, its difference between the directions, and the load, fitted together.
type fitted struct {
	skew, load stats.Estimate
	why        string
	stated     float64 // N·m
}

// fitFriction fits the ramps by inverse dynamics. Stretches in which the load overhauls are left
// out: what a driver does with the current of braking differs, and a supply current has no sign.
func (c *subject) fitFriction(d driven, points []rubPoint) fitted {
	f := fitted{why: d.why}
	if f.why == "" && c.j.Load == nil {
		f.why = "a torque sensor tells the load"
	}
	if f.why != "" {
		return f
	}
	f.stated = c.loadAmplitude()
	if f.why = bothWays(points); f.why != "" {
		return f
	}
	rated := d
	rated.slope = d.scale
	run, byRated := c.motions(d, points), c.motions(rated, points)
	model := friction.Model{Terms: []friction.Term{friction.GravitySin, friction.Coulomb, friction.CoulombSkew}}
	fit := func(cycles []friction.Motion, term friction.Term) stats.Estimate {
		cycles = friction.Trimmed(cycles, model, trimSigmas)
		boots, all, err := friction.FitCycles(cycles, model, fitReplicas, fitSeed)
		if err != nil {
			return stats.Unseen("%v", err)
		}
		// Too few cycles to resample leave the fit's own uncertainty; neighbouring stretches share theirs.
		e := boots[term].Estimate
		if math.IsNaN(e.U) && e.Seen() {
			e = all.Of[term]
			e.U /= math.Sqrt(scaleShare)
		}
		return e
	}
	f.skew = fit(run, friction.CoulombSkew)
	f.skew.U = math.Hypot(f.skew.U, f.stated*downU*rad)
	f.load = stats.Unseen("no rated line of the servo is given")
	if d.scale > 0 {
		f.load = fit(byRated, friction.GravitySin)
		f.load.U = math.Hypot(f.load.U, ratedU*f.load.Value)
	}
	return f
}

// bothWays says why friction either way cannot be told from a load that pulls one way: it must have
// been raised in both directions.
func bothWays(points []rubPoint) string {
	var n [2]int
	for _, p := range points {
		if p.raising {
			n[(p.dir+1)/2]++
		}
	}
	if min(n[0], n[1]) < leastStretches {
		return "the load was raised in one direction only, so friction and load cannot be told apart; sweep through the angle where it hangs straight down"
	}
	return ""
}

// motions turns the stretches of each cycle into a motion, torque on the joint with its sign. The
// angle is counted from where the load hangs straight down.
func (c *subject) motions(d driven, points []rubPoint) []friction.Motion {
	slow, at := slowest(points), map[int]int{}
	var out []friction.Motion
	for _, p := range points {
		if p.rate > slow*1.2 || p.holds || math.IsNaN(p.nm) {
			continue
		}
		k, ok := at[p.cycle]
		if !ok {
			k = len(out)
			at[p.cycle] = k
			out = append(out, friction.Motion{Thin: 1})
		}
		m, dir := &out[k], float64(p.dir)
		m.Angle = append(m.Angle, (p.angle-c.j.Load.DownDeg)*rad)
		m.Speed, m.Acc = append(m.Speed, dir*p.rate*rad), append(m.Acc, 0)
		m.Torque = append(m.Torque, dir*d.torque(p.amps, p.rate, p.volts, c.j.Ratio())*c.j.Ratio())
	}
	return out
}

// beside widens the fit by what a tight spot leaves in it, however it is trimmed.
func (f fitted) beside(spot health.Measure) fitted {
	if spot.Status == health.Measured {
		f.skew.U = math.Hypot(f.skew.U, spotShare*spot.Value/4)
		f.load.U = math.Hypot(f.load.U, spotShare*spot.Value/2)
	}
	return f
}

// asymmetry reports how far friction differs between the directions.
func (f fitted) asymmetry() health.Measure {
	if f.why != "" {
		return health.Unseen("friction_asymmetry", health.Total, asymMethod, f.why)
	}
	m := fromEstimate("friction_asymmetry", health.Total, f.skew.Scale(2), asymMethod)
	if m.Status == health.Measured {
		m.Reason = "a cable or spring that always pulls one way looks alike"
	}
	return m
}

// amplitude reports the load torque level with the axis as the current shows it.
func (f fitted) amplitude() health.Measure {
	if f.why != "" {
		return health.Unseen("load_torque_amplitude", health.NoPath, ampMethod, f.why)
	}
	m := fromEstimate("load_torque_amplitude", health.NoPath, f.load, ampMethod)
	if m.Status == health.Measured {
		m.Reason = fmt.Sprintf("the stated load makes %.3f N·m", f.stated)
	}
	return m
}
