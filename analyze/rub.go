package analyze

import (
	"fmt"
	"math"
	"slices"

	"limbgauge/analyze/health"
	"limbgauge/analyze/stats"
)

const (
	rubBin      = 1.0 // deg: stretch of a ramp over which torque is averaged
	profileBin  = 4.0 // deg: stretch in which friction by angle is told
	rubMethod   = "torque from the supply current less the load torque, while the joint is raised at steady speed; the servo's own friction is in it"
	shareMethod = "friction seen in the current less what a geared servo takes itself, up to 5 % of its stall torque [common practice]"
	gapMethod   = "half the gap between both directions of the torque-deflection loop, in torque"
	viscMethod  = "slope of friction over speed between ramps of different speed"
	// servoLossTop of its stall torque a geared servo may lose in its own friction [common practice].
	// None of it may show: one that sticks between its pulses holds part of the load by it meanwhile.
	servoLossTop = 0.05
	// spotShare of a tight spot's height may be in the friction of the whole travel.
	spotShare = 0.25
	// deadShare of friction is not told from the flanks of an open dead zone [common practice].
	deadShare = 0.5
)

// rubPoint is the friction torque on the joint over one stretch of a ramp.
type rubPoint struct {
	bin     int
	angle   float64 // deg
	dir     int
	cycle   int
	rate    float64 // deg/s
	raising bool
	load    float64 // size of the load torque, N·m
	push    float64 // load torque with its sign, positive to greater angles, N·m
	amps    float64 // supply current, A
	volts   float64 // supply voltage, V
	nm      float64 // friction, N·m; NaN where it cannot be told
	holds   bool    // the load overhauls, the motor holds back
}

// stretches averages the current of every ramp over short stretches of angle. It needs current
// and load; without them it returns nothing.
func (c *subject) stretches() []rubPoint {
	if c.s.Current == nil || c.load == nil {
		return nil
	}
	var out []rubPoint
	for _, q := range c.passes {
		start := c.s.Angle[q.Span[0]]
		var load, angle, amps, volts float64
		n, bin := 0, math.MinInt
		flush := func() {
			if n >= 4 {
				k := float64(n)
				p := rubPoint{bin: bin, angle: angle / k, dir: q.Dir, cycle: q.Cycle, rate: q.Rate, nm: math.NaN()}
				p.raising = load*float64(q.Dir) < 0
				p.load, p.push, p.amps, p.volts = math.Abs(load/k), load/k, amps/k, volts/k
				out = append(out, p)
			}
			load, angle, amps, volts, n = 0, 0, 0, 0, 0
		}
		for i := q.Span[0]; i < q.Span[1]; i++ {
			a := c.s.Angle[i]
			if math.IsNaN(a) || math.IsNaN(c.s.Current[i]) || math.IsNaN(c.load[i]) || math.Abs(a-start) < afterTurnDeg || c.stalledIn(i, i+1) {
				continue
			}
			if b := int(math.Round(a / rubBin)); b != bin { // rounded, so that both signs are cut alike
				flush()
				bin = b
			}
			v := math.NaN()
			if c.s.Supply != nil {
				v = c.s.Supply[i]
			}
			load, angle, amps, volts, n = load+c.load[i], angle+a, amps+c.s.Current[i], volts+v, n+1
		}
		flush()
	}
	return out
}

// rubbing turns the current of every stretch into friction on the joint. While the load is raised
// the motor carries load plus friction, and the sign is sure. While it is lowered, friction is the
// load plus what the motor drives, or, where the load overhauls, less what the motor holds back. A
// supply current has no sign; the one is taken that agrees with the raising pass over that stretch.
func (c *subject) rubbing(d driven, raw []rubPoint) []rubPoint {
	if d.why != "" {
		return nil
	}
	out, ratio := slices.Clone(raw), c.j.Ratio()
	up := map[int][]float64{}
	for i, p := range out {
		if p.raising {
			out[i].nm = d.torque(p.amps, p.rate, p.volts, ratio)*ratio - p.load
			up[p.bin] = append(up[p.bin], out[i].nm)
		}
	}
	for i, p := range out {
		ref, ok := up[p.bin]
		if p.raising || !ok {
			continue // lowering alone does not tell friction from load
		}
		drives := p.load + d.torque(p.amps, p.rate, p.volts, ratio)*ratio
		holds := p.load - d.torque(p.amps, -p.rate, p.volts, ratio)*ratio
		out[i].nm, out[i].holds = holds, true
		if r := meanOf(ref); math.Abs(drives-r) < math.Abs(holds-r) {
			out[i].nm, out[i].holds = drives, false
		}
	}
	return out
}

// frictionMeasures reports friction of the whole joint from the current, and of the transmission
// from the loop where a motor-side angle shows it.
func (c *subject) frictionMeasures(d driven, points []rubPoint, t stats.Estimate, trans *loops, spot health.Measure) []health.Measure {
	total := fromEstimate("friction", health.Total, t, rubMethod)
	if t.Seen() {
		total.Reason = "the servo's own friction is in it, so the limit for the joint is not applied"
	}
	return []health.Measure{total, c.viscous(d, points, t), c.jointFriction(d, t, trans, spot)}
}

// jointFriction is friction without the servo's own: from the loop where a motor-side angle shows
// it, from what the current shows less the servo's usual share else, or where that is surer.
func (c *subject) jointFriction(d driven, total stats.Estimate, trans *loops, spot health.Measure) health.Measure {
	loop := health.Unseen("friction", health.Transmission, gapMethod, "a motor-side angle, or current under a known load, would show it")
	if trans != nil && trans.err == nil && hasMoving(trans.points) {
		f := trans.loop.Friction
		loop = health.Of("friction", health.Transmission, f.Value, f.U, gapMethod)
		if w := trans.loop.Play; w.Value-w.U > slackLeast {
			// Beside an open dead zone the flank is not the one the slope was fitted to.
			loop.Uncertainty += deadShare * math.Abs(f.Value)
			loop.Reason = "a dead zone lies in the loop, beside which friction is less sure"
		}
		if spot.Status == health.Measured {
			loop.Uncertainty += spotShare * spot.Value
			loop.Reason = "a tight spot lies in the travel, whose friction is in part in it"
		}
		if total.Seen() && f.Value-f.U > total.Value+total.Expanded() {
			loop.Reason = fmt.Sprintf("the current shows less, %.3f ± %.3f N·m for the whole joint: its scale or its idle current is wrong, or something other than friction holds the loop open",
				total.Value, total.Expanded())
		}
	} else if trans != nil && trans.err != nil {
		loop.Reason = trans.err.Error()
	}
	if !total.Seen() || len(d.rated) == 0 {
		return loop
	}
	stall := d.rated[len(d.rated)-1].StallNm * c.j.Ratio()
	own := stats.Estimate{Value: servoLossTop / 2 * stall, U: servoLossTop * stall / math.Sqrt(12), DF: math.Inf(1)}
	e := stats.Sum([]float64{1, -1}, total, own)
	if loop.Status == health.Measured && loop.Uncertainty < e.Expanded() {
		return loop
	}
	if e.Value < 0 {
		most := total.Value + total.Expanded()
		if most <= 0 {
			loop.Reason = "the current shows less torque than the load alone asks for"
			return loop
		}
		return health.Bound("friction", health.Transmission, health.BoundHigh, most, math.NaN(), shareMethod,
			"the servo alone may take all the friction seen")
	}
	return fromEstimate("friction", health.Transmission, e, shareMethod)
}

func (c *subject) totalFriction(d driven, points []rubPoint) stats.Estimate {
	if d.why != "" {
		return stats.Unseen("%s", d.why)
	}
	slow := slowest(points)
	byCycle := map[int][]float64{}
	var all []float64
	for _, p := range points {
		if p.raising && p.rate < slow*1.2 {
			byCycle[p.cycle] = append(byCycle[p.cycle], p.nm)
			all = append(all, p.nm)
		}
	}
	if len(all) < 5 {
		return stats.Unseen("the run has no slow ramp that raises the load")
	}
	var means []float64
	for _, v := range byCycle {
		means = append(means, stats.Median(v))
	}
	e := stats.Estimate{Value: stats.Median(all), DF: math.Inf(1)}
	scatter := stats.RobustSD(all) / math.Sqrt(float64(len(all)))
	if len(means) >= 2 {
		scatter = math.Max(scatter, stats.SD(means)/math.Sqrt(float64(len(means))))
	}
	// The scale of the current acts on load plus friction, the load itself is known to loadU.
	typical := 0.6 * c.loadPeak()
	rel := math.Hypot(d.slopeRel, loadU)
	e.U = math.Hypot(scatter, rel*(typical+math.Abs(e.Value)))
	return e
}

func slowest(points []rubPoint) float64 {
	v := math.Inf(1)
	for _, p := range points {
		v = math.Min(v, p.rate)
	}
	return v
}

// viscous fits friction over speed where the ramps have speeds that differ by a third or more.
func (c *subject) viscous(d driven, points []rubPoint, total stats.Estimate) health.Measure {
	unseen := func(why string) health.Measure {
		return health.Unseen("viscous_friction", health.Total, viscMethod, why)
	}
	if d.why != "" {
		return unseen(d.why)
	}
	slow, fast := slowest(points), 0.0
	var v, f []float64
	for _, p := range points {
		if p.raising {
			fast = math.Max(fast, p.rate)
			v, f = append(v, p.rate*rad), append(f, p.nm)
		}
	}
	if len(v) < 6 || fast < 1.33*slow {
		return unseen("all ramps have one speed, so friction that grows with speed merges with the rest")
	}
	line, err := stats.FitLine(v, f)
	if err != nil {
		return unseen(err.Error())
	}
	// Either speed's friction is no surer than the current's scale allows, which repeated stretches share.
	e := line.Slope
	e.U = math.Hypot(e.U, math.Sqrt2*total.U/((fast-slow)*rad))
	switch {
	case e.Value <= 0:
		return unseen("friction falls with speed, as dry friction may, which hides what grows with it")
	case e.Value < e.Expanded():
		return health.Bound("viscous_friction", health.Total, health.BoundHigh, e.Value+e.Expanded(), math.NaN(), viscMethod, "none is proven")
	}
	return fromEstimate("viscous_friction", health.Total, e, viscMethod)
}

// rubCurve draws friction by angle.
func rubCurve(points []rubPoint) (health.Curve, bool) {
	cv := health.Curve{ID: "friction", Title: "Friction by angle, from the current", XLabel: "joint angle in deg", YLabel: "friction in N·m"}
	most := 0.0
	for _, dir := range []int{1, -1} {
		ln := health.Line{Name: "moving to greater angles", Role: health.RoleUp, Points: true}
		if dir < 0 {
			ln.Name, ln.Role = "moving to smaller angles", health.RoleDown
		}
		for _, p := range points {
			if p.dir == dir && !math.IsNaN(p.nm) {
				ln.X, ln.Y = append(ln.X, p.angle), append(ln.Y, p.nm)
				most = math.Max(most, p.nm)
			}
		}
		cv.Lines = append(cv.Lines, ln)
	}
	cv.Alt = fmt.Sprintf("friction by joint angle in both directions, at most %.3f N·m", most)
	return cv, len(cv.Lines[0].X)+len(cv.Lines[1].X) > 3
}
