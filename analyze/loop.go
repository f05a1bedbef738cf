package analyze

import (
	"errors"
	"fmt"
	"math"

	"limbgauge/analyze/health"
	"limbgauge/analyze/play"
)

const (
	// binDeg is the stretch of a ramp that becomes one point of the loop.
	binDeg = 3.0
	// afterTurnDeg of a pass are left out: flanks are changing.
	afterTurnDeg = 6.0
	// lowestMoving: while the joint moves, the direction of friction is known and with it the flank,
	// so that smaller torques count than at a stop; and the less torque is left out, the slacker a
	// belt still shows its knee.
	lowestMoving = 0.025
	// sensorForm is the standard uncertainty taken for the form error of a magnetic angle sensor
	// set up by hand, deg [common practice: 0.1 to 0.5 deg peak; data sheets of 12-bit parts].
	sensorForm = 0.05
)

// loops is what the torque-deflection loop says of one path.
type loops struct {
	path   *path
	points []play.Point
	loop   play.Loop
	err    error
	shift  bool // friction shifts the loop (transmission), else a free gap (servo in the path)
}

// fitLoop fits one path. frictionMax is the greatest friction the current allows, NaN when unknown.
func (c *subject) fitLoop(p *path, frictionMax float64) loops {
	l := loops{path: p, shift: p.name == health.Transmission}
	if c.load == nil {
		l.err = errors.New(c.why)
		return l
	}
	l.points = append(c.stopPoints(p), c.rampPoints(p, !l.shift)...)
	use := l.points
	if l.shift && hasMoving(use) {
		// A stop's friction may point either way, so where ramps are there they alone are used.
		use = moving(use)
	}
	o := play.Options{Friction: l.shift, Knee: c.j.Belt != nil && p.name != health.Servo, Wave: true, SensorDeg: sensorForm}
	if l.shift {
		if hasMoving(use) {
			o.Lowest = lowestMoving
		}
		if !math.IsNaN(frictionMax) {
			o.FrictionMax = frictionMax
		}
	}
	l.loop, l.err = play.Fit(use, o)
	return l
}

func (c *subject) stopPoints(p *path) []play.Point {
	var out []play.Point
	for _, s := range c.stops {
		if c.stalledIn(s.Tail[0], s.Tail[1]) {
			continue
		}
		load, defl := meanOf(c.load[s.Tail[0]:s.Tail[1]]), meanOf(p.defl(s.Tail[0], s.Tail[1]))
		if math.IsNaN(load + defl) {
			continue
		}
		out = append(out, play.Point{Load: load, Defl: defl, Angle: meanOf(c.s.Angle[s.Tail[0]:s.Tail[1]]), Dir: s.Dir, Group: s.Cycle, Static: true})
	}
	return out
}

// rampPoints averages ramps over stretches of binDeg. With raisingOnly only stretches in which the
// joint works against its load count: there every flank and every friction pulls the same way.
func (c *subject) rampPoints(p *path, raisingOnly bool) []play.Point {
	var out []play.Point
	for _, q := range c.passes {
		start := c.s.Angle[q.Span[0]]
		var load, defl, angle float64
		n, bin := 0, math.MinInt
		flush := func() {
			if n >= 6 {
				k := float64(n)
				pt := play.Point{Load: load / k, Defl: defl / k, Angle: angle / k, Dir: q.Dir, Group: q.Cycle}
				if !raisingOnly || pt.Load*float64(q.Dir) < 0 {
					out = append(out, pt)
				}
			}
			load, defl, angle, n = 0, 0, 0, 0
		}
		for k, w := range p.defl(q.Span[0], q.Span[1]) {
			i := q.Span[0] + k
			a := c.s.Angle[i]
			if math.IsNaN(a) || math.IsNaN(w) || math.IsNaN(c.load[i]) || math.Abs(a-start) < afterTurnDeg || c.stalledIn(i, i+1) {
				continue
			}
			if b := c.loopBin(c.s.Command[i]); b != bin {
				flush()
				bin = b
			}
			load, defl, angle, n = load+c.load[i], defl+w, angle+a, n+1
		}
		flush()
	}
	return out
}

// loopBin numbers the stretches of a ramp: binDeg wide, a third of that where the load hangs nearly
// straight down, since there the torque changes sign and a slack belt has its knee.
func (c *subject) loopBin(deg float64) int {
	const fine = binDeg / 3
	down := 0.0
	if c.j.Load != nil {
		down = c.j.Load.DownDeg
	}
	if d := deg - down; math.Abs(d) < 4*binDeg {
		return 10000 + int(math.Floor(d/fine))
	}
	return int(math.Floor((deg - down) / binDeg))
}

func hasMoving(p []play.Point) bool {
	for _, q := range p {
		if !q.Static {
			return true
		}
	}
	return false
}

func hasStops(p []play.Point) bool {
	for _, q := range p {
		if q.Static {
			return true
		}
	}
	return false
}

func moving(p []play.Point) []play.Point {
	var out []play.Point
	for _, q := range p {
		if !q.Static {
			out = append(out, q)
		}
	}
	return out
}

// deadBand returns the servo's own dead band in deg of the joint and its standard uncertainty: a
// data sheet's figure is taken to a third (rectangular).
func (c *subject) deadBand() (deg, u float64) {
	sv := c.j.Servo
	span := float64(sv.PulseUS[1] - sv.PulseUS[0])
	if sv.DeadbandUS <= 0 || span <= 0 {
		return 0, 0
	}
	deg = sv.DeadbandUS * sv.TravelDeg / span / c.j.Ratio()
	return deg, deg / 3 / math.Sqrt(3)
}

const loopMethod = "dead zone, slope, gap and span knee fitted together to stops and ramps under the known load; interval from residuals and sensor form"

func (c *subject) loopMeasures(l loops) []health.Measure {
	name := l.path.name
	if l.err != nil && !errors.Is(l.err, play.ErrOneSided) && !errors.Is(l.err, play.ErrFewLevels) {
		why := l.err.Error()
		return []health.Measure{health.Unseen("play", name, loopMethod, why),
			health.Unseen("compliance", name, loopMethod, why)}
	}
	var out []health.Measure
	lp := l.loop
	switch {
	case l.err != nil:
		why := fmt.Sprintf("%v; mount the joint with its axis level and sweep through the angle where the load hangs straight down, or hang a weight on either side", l.err)
		if errors.Is(l.err, play.ErrFewLevels) {
			why = fmt.Sprintf("%v; sweep a wider range or add a second weight", l.err)
		}
		out = append(out, health.Unseen("play", name, loopMethod, why))
	default:
		b, u := lp.Play.Value, lp.Play.U
		method, why := loopMethod, ""
		if name != health.Transmission {
			band, ub := c.deadBand()
			b, u = b-band, math.Hypot(u, 2*ub)
			if band > 0 {
				method += fmt.Sprintf("; the servo's own dead band of %.2f deg is taken off", band)
			} else {
				why = "the servo's dead band is in it: deadband_us is not given"
			}
		}
		m := health.Of("play", name, b, u, method)
		m.Reason = why
		if name != health.Transmission && !hasStops(l.points) {
			m.Status = health.BoundHigh
			m.Reason = "friction widens the loop of ramps as play does, and the run has no stops that would tell them apart"
		}
		if b+u < 0 {
			m = health.Unseen("play", name, method, fmt.Sprintf("the loop does not fit the model: it would need a play of %.2f deg", b))
		}
		out = append(out, m)
	}
	if lp.N > 0 && lp.Levels >= 2 {
		out = append(out, health.Of("compliance", name, lp.Compliance.Value, lp.Compliance.U, loopMethod))
	}
	return out
}
