package analyze

import (
	"cmp"
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
	// followShare of the command's travel a joint must turn for its friction to have a known sign
	// [common practice].
	followShare = 0.4
	// sensorForm is the standard deviation that the even and the odd part of each harmonic of an angle
	// sensor's form usually have where the magnet was set by hand, deg [common practice: 0.1 to 0.5 deg
	// peak; data sheets of 12-bit parts]. Of a sensor that was calibrated it is what the calibration
	// leaves (formOf).
	sensorForm = 0.05
	// edgeU is the relative standard uncertainty of a dead zone from its edges: flanks give where they
	// meet, and a loose belt sags [common practice].
	edgeU = 0.01
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
		// Where ramps are there they alone are used. At a stop the friction may point either way, and a
		// share of it that all stops have in common does not mend that: on 171 runs of the virtual stand
		// with a motor-side angle stops fitted beside the ramps, weighed by their scatter, raised the
		// error of play by half (0.007 to 0.010 deg) and found knees in taut belts.
		use = moving(use)
	}
	o := play.Options{Friction: l.shift, Knee: c.j.Belt != nil && p.name != health.Servo, Wave: true, SensorDeg: sensorForm,
		QuantumDeg: p.quantum, LoadRel: loadU, EdgeRel: edgeU}
	if c.mapped(p) {
		o.SensorDeg = c.formOf(p)
	}
	if l.shift {
		if hasMoving(use) {
			o.Lowest = lowestMoving
		}
		if !math.IsNaN(frictionMax) {
			o.FrictionMax = frictionMax
		}
	} else {
		band, _ := c.deadBand()
		o.BlurDeg = math.Max(band/2, 1.5*o.SensorDeg)
	}
	l.loop, l.err = play.Fit(use, o)
	return l
}

// formOf returns the standard deviation of the form error in a path's deflection, deg at the joint:
// what a calibration leaves of each sensor in it, or what is usual.
func (c *subject) formOf(p *path) float64 {
	motor := cmp.Or(c.j.Doubt.MotorFormDeg, sensorForm) / c.j.Ratio()
	switch p.name {
	case health.Servo:
		return motor
	case health.Transmission:
		return math.Hypot(c.jointForm(), motor)
	}
	return c.jointForm()
}

// jointForm is formOf of the joint-side sensor alone.
func (c *subject) jointForm() float64 { return cmp.Or(c.j.Doubt.JointFormDeg, sensorForm) }

// mapped reports whether a calibration says how good the form of all sensors of a path is.
func (c *subject) mapped(p *path) bool {
	joint, motor := c.j.Doubt.JointFormDeg > 0, c.j.Doubt.MotorFormDeg > 0
	return (joint || p.name == health.Servo) && (motor || p.name == health.Total)
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
	for pass, q := range c.passes {
		start := c.s.Angle[q.Span[0]]
		var load, defl, angle float64
		n, bin, first, last := 0, math.MinInt, 0, 0
		flush := func() {
			if n >= 6 && c.follows(first, last, q.Dir) {
				k := float64(n)
				pt := play.Point{Load: load / k, Defl: defl / k, Angle: angle / k, Dir: q.Dir, Group: pass}
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
				bin, first = b, i
			}
			last = i
			load, defl, angle, n = load+c.load[i], defl+w, angle+a, n+1
		}
		flush()
	}
	return out
}

// follows says whether the joint turns as its command does between two samples: the friction of one
// that hangs back has no known sign.
func (c *subject) follows(first, last, dir int) bool {
	turned, told := c.s.Angle[last]-c.s.Angle[first], c.s.Command[last]-c.s.Command[first]
	return turned*float64(dir) > followShare*math.Abs(told)
}

// loopBin numbers the stretches of a ramp: binDeg wide, a third of that where the load hangs nearly
// straight down, since there the torque changes sign and a slack belt has its knee.
func (c *subject) loopBin(deg float64) int {
	const fine = binDeg / 3
	down := 0.0
	if c.j.Load != nil {
		down = c.j.Load.DownDeg
	}
	// Counted outwards from there, so that a joint turned about has the same stretches.
	d := deg - down
	side := 1
	if d < 0 {
		side = -1
	}
	if math.Abs(d) < 4*binDeg {
		return side * (1 + int(math.Abs(d)/fine))
	}
	return side * (10000 + int(math.Abs(d)/binDeg))
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

const (
	loopModel = "dead zone, slope, gap, creep's lag, sensor form and span knee fitted together to "
	// loopCycles and loopResiduals say where the interval is from.
	loopCycles    = "; interval from whole cycles and passes resampled, or from the residuals where they say more, with the sensors' form and the load's uncertainty"
	loopResiduals = "; interval from the residuals, as there are too few cycles to resample, with the sensors' form and the load's uncertainty"
)

// method says how a loop's figures were got.
func (l loops) method() string {
	of := "stops under the known load"
	switch {
	case l.shift && hasMoving(l.points):
		of = "ramps under the known load"
	case hasMoving(l.points):
		of = "stops and raising ramps under the known load"
	}
	if l.loop.Cycles > 0 {
		return loopModel + of + loopCycles
	}
	return loopModel + of + loopResiduals
}

func (c *subject) loopMeasures(l loops) []health.Measure {
	name, loopMethod := l.path.name, l.method()
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
