package analyze

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"limbgauge/analyze/diagnose"
	"limbgauge/analyze/health"
	"limbgauge/analyze/segment"
	"limbgauge/analyze/sensor"
	"limbgauge/analyze/stats"
	"limbgauge/rig"
)

// sensing is what came of looking at the sensors, before anything was computed from them.
type sensing struct {
	series *rig.Series // what can be believed
	faults []diagnose.SensorFault
	notes  []string
	blind  string        // why the joint angle can not be used at all; empty when it can
	scaled []health.Path // paths in which a wrong scale looks like give under the load
	clock  sensor.Clock
	pieces []segment.Piece // the moves, which rest on the command alone
	dt     float64         // typical spacing of samples, s
}

// scaleBound names the measures that a wrong scale falsifies.
var scaleBound = map[string]bool{"compliance": true, "span_slack_torque": true, "belt_tension": true}

// Thresholds of sensor faults [common practice, starting values].
const (
	// spikesLeast is how many spikes make a fault; fewer are left out and noted.
	spikesLeast = 3
	// spikeDeg is the least excursion that no joint's jolt makes.
	spikeDeg = 3.0
	// noiseDeg is the deviation of single readings that no working sensor shows: ten times what data
	// sheets of magnetic angle sensors give (0.03 to 0.06 deg).
	noiseDeg = 0.6
	// usedLeast is the share of readings that must be left for a column to serve.
	usedLeast = 0.6
	// jitterLeast is the share of the spacing by which the times of samples scatter where they were
	// not taken with them.
	jitterLeast = 0.15
	// pushing is the share of the stall current above which a joint that stands still is held fast.
	pushing = 0.5
)

// inspect looks at the readings for what no joint can do, and returns the series without it: whole
// turns are taken out of angles, single readings that jump away are left out, a motor-side angle that
// stands still is not used. s is not changed.
func inspect(s *rig.Series, j rig.Joint) *sensing {
	out := *s
	g := &sensing{series: &out}
	against := g.senses(s, j)
	fastest, geared := noLoadSpeed(j), scaled(s.Command, j.Ratio())
	// Both sensors are looked at side by side, and what is found is said in one order.
	together(func() { g.clock = sensor.FindClock(s.Time) },
		func() { g.pieces, g.dt = segment.Split(s.Time, s.Command, s.Move), medianSpacing(s.Time) })
	joint, motor := both(func() turned { return g.unwrap(s.Angle, s.Command, fastest) },
		func() turned { return g.unwrap(out.Motor, geared, fastest*j.Ratio()) })
	out.Angle, out.Motor = g.turns("joint angle", joint), g.turns("motor angle", motor)
	jumps, motorJumps := both(func() sensor.Spikes { return g.jumps(out.Angle, 1, fastest, quantumOf(j.Sensors.JointCounts)) },
		func() sensor.Spikes {
			return g.jumps(out.Motor, j.Ratio(), fastest*j.Ratio(), quantumOf(j.Sensors.MotorCounts))
		})
	out.Angle, out.Motor = g.spikes("joint angle", out.Angle, jumps), g.spikes("motor angle", out.Motor, motorJumps)
	still, motorStill := both(func() []sensor.Still { return g.still(out.Angle, s.Command) },
		func() []sensor.Still { return g.still(out.Motor, geared) })
	if bad := g.frozen(motorStill, out.Angle, j.Ratio(), 1, j); len(bad) > 0 {
		g.faults = append(g.faults, diagnose.SensorFault{Sensor: "motor angle", Repaired: true, Text: stillText(s.Time, bad)})
		g.notes = append(g.notes, "The motor-side angle stands still while the joint moves; it is not used, and the joint is judged as one without.")
		out.Motor = nil
	}
	if bad := g.frozen(still, out.Motor, 1, j.Ratio(), j); len(bad) > 0 {
		g.faults = append(g.faults, diagnose.SensorFault{Sensor: "joint angle", Repaired: true, Text: stillText(s.Time, bad)})
		out.Angle = slices.Clone(out.Angle)
		for _, b := range bad {
			for i := b.From; i < b.To; i++ {
				out.Angle[i] = math.NaN()
			}
		}
		g.notes = append(g.notes, "Where the joint angle stands still while the command travels, its readings are left out.")
	}
	out.Current = g.current(s.Current, j)
	noise, motorNoise := both(func() float64 { return g.restNoise(out.Angle) }, func() float64 { return g.restNoise(out.Motor) })
	g.noise("joint angle", noise, 1)
	g.noise("motor angle", motorNoise, j.Ratio())
	g.times()
	if out.Motor != nil && share(out.Motor) < usedLeast*share(s.Motor) {
		g.notes = append(g.notes, "Too few readings of the motor-side angle can be believed; it is not used.")
		out.Motor = nil
	}
	if share(out.Angle) < usedLeast*share(s.Angle) || against {
		g.lose(j)
	}
	return g
}

// senses gives up an angle that turns against the command: whatever it shows has the wrong sign.
// The motor side's is left out here; whether the joint's is to be lost is the answer.
func (g *sensing) senses(s *rig.Series, j rig.Joint) (joint bool) {
	var keys []string
	fault := func(name, key string, is bool) {
		keys = append(keys, fmt.Sprintf("%s = %t", key, !is))
		g.faults = append(g.faults, diagnose.SensorFault{Sensor: name, Text: "turns against the command, as one that counts the other way than the joint"})
	}
	if _, joint = sensor.Against(s.Time, s.Angle, s.Command); joint {
		fault("joint angle", "joint_reversed", j.Sensors.JointReversed)
	}
	if _, motor := sensor.Against(s.Time, s.Motor, s.Command); motor {
		fault("motor angle", "motor_reversed", j.Sensors.MotorReversed)
		g.faults[len(g.faults)-1].Repaired = true
		g.notes = append(g.notes, "The motor-side angle turns against the command; it is not used.")
		g.series.Motor = nil
	}
	for i := range g.faults {
		g.faults[i].Next = fmt.Sprintf("write %s below [joint.sensors], or turn the sensor's direction pin round; in a log, change the sign of its column", strings.Join(keys, " and "))
	}
	return joint
}

// current returns the current where its sensor can be believed, nil else: one that stands at its greatest
// value again and again is cut off there, and tells less the more flows.
func (g *sensing) current(col []float64, j rig.Joint) []float64 {
	if col == nil {
		return nil
	}
	c, ok := sensor.FindClip(col)
	if !ok || c.Level > pushing*stallCurrent(j) { // a stall stands there too
		return col
	}
	text := fmt.Sprintf("stands at its greatest value, %.3f A, in %.1f %% of the readings, as at the end of its range", c.Level, 100*c.Share)
	g.faults = append(g.faults, diagnose.SensorFault{Sensor: "current", Repaired: true, Text: text})
	g.notes = append(g.notes, "The current can not be believed; it is not used, and the joint is judged as one without.")
	return nil
}

// scaled returns k·x, x itself when k is 1.
func scaled(x []float64, k float64) []float64 {
	if k == 1 {
		return x
	}
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = k * v
	}
	return out
}

// share is the share of readings that are there.
func share(x []float64) float64 {
	n := 0
	for _, v := range x {
		if !math.IsNaN(v) {
			n++
		}
	}
	return float64(n) / float64(max(1, len(x)))
}

// turned is an angle without whole turns.
type turned struct {
	col []float64
	sensor.Wraps
}

func (g *sensing) unwrap(col, near []float64, fastest float64) (t turned) {
	if col != nil {
		t.col, t.Wraps = sensor.Unwrap(g.series.Time, col, near, 360, fastest)
	}
	return t
}

// turns says that whole turns were taken out of an angle and returns it.
func (g *sensing) turns(name string, w turned) []float64 {
	if w.Count > 0 {
		g.faults = append(g.faults, diagnose.SensorFault{Sensor: name, Repaired: true,
			Text: fmt.Sprintf("runs over the end of its turn %s, the first time at %.2f s; the turns were taken out", times(w.Count), w.FirstS)})
	}
	if w.Turns != 0 {
		g.notes = append(g.notes, fmt.Sprintf("The %s was moved by %d deg, whole turns, to lie beside the command.", name, 360*w.Turns))
	}
	return w.col
}

func times(n int) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}

func (g *sensing) jumps(col []float64, gear, fastest, quantum float64) sensor.Spikes {
	if col == nil {
		return sensor.Spikes{}
	}
	return sensor.FindSpikes(g.series.Time, col, g.series.Command, sensor.SpikeOptions{Fastest: fastest, LeastDeg: spikeDeg * gear, Quantum: quantum})
}

// spikes leaves out readings that jump away and back, and says how many.
func (g *sensing) spikes(name string, col []float64, sp sensor.Spikes) []float64 {
	if sp.Count == 0 {
		return col
	}
	if sp.Count >= spikesLeast {
		g.faults = append(g.faults, diagnose.SensorFault{Sensor: name, Repaired: true,
			Text: fmt.Sprintf("jumps away and back %d times as no joint can, the first time at %.2f s", sp.Count, sp.FirstS)})
	}
	g.notes = append(g.notes, fmt.Sprintf("The %s jumps away and back %s, as no joint can; those readings were left out.", name, times(sp.Count)))
	out := slices.Clone(col)
	for i, bad := range sp.Bad {
		if bad {
			out[i] = math.NaN()
		}
	}
	return out
}

func (g *sensing) still(col, command []float64) []sensor.Still {
	if col == nil {
		return nil
	}
	return sensor.FindStill(g.series.Time, col, command)
}

// frozen returns the stretches in which an angle stands still as no joint does: longer than its noise
// lets it, or beside another angle that moves, and not pressed against something.
func (g *sensing) frozen(all []sensor.Still, other []float64, gear, otherGear float64, j rig.Joint) (out []sensor.Still) {
	for _, b := range all {
		moved := other != nil && stats.Reach(other[b.From:b.To])/otherGear > b.TravelDeg/gear/2
		noisy := b.DurationS > 2*b.Natural
		if (moved || noisy) && !g.pushes(b, j) {
			out = append(out, b)
		}
	}
	return out
}

// pushes reports whether the servo draws near to its stall current over a stretch.
func (g *sensing) pushes(b sensor.Still, j rig.Joint) bool {
	if g.series.Current == nil {
		return false
	}
	return meanOf(g.series.Current[b.From:b.To]) > pushing*stallCurrent(j)
}

// stallCurrent returns the greatest rated stall current, A; +Inf where none is given.
func stallCurrent(j rig.Joint) float64 {
	stall := 0.0
	for _, r := range j.Servo.Rated {
		stall = math.Max(stall, r.StallA)
	}
	if stall == 0 {
		return math.Inf(1)
	}
	return stall
}

func stillText(time []float64, all []sensor.Still) string {
	b := all[0]
	for _, o := range all {
		if o.DurationS > b.DurationS {
			b = o
		}
	}
	return fmt.Sprintf("stays at one value for %.1f s from %.2f s while the command travels %.0f deg", b.DurationS, time[b.From], b.TravelDeg)
}

// restNoise is the deviation of single readings at rest, 0 where there is no angle.
func (g *sensing) restNoise(col []float64) float64 {
	if col == nil {
		return 0
	}
	var rests [][2]int
	for _, p := range g.pieces {
		if p.DwellS >= 0.4 {
			rests = append(rests, [2]int{p.Dwell[0] + (p.Dwell[1]-p.Dwell[0])/2, p.Dwell[1]})
		}
	}
	return sensor.RestNoise(col, rests)
}

// noise flags an angle that scatters at rest. Its figures grow wide, not wrong, so it is used.
func (g *sensing) noise(name string, sd, gear float64) {
	if sd > noiseDeg*gear {
		g.faults = append(g.faults, diagnose.SensorFault{Sensor: name, Repaired: true,
			Text: fmt.Sprintf("scatters by %.2f deg from reading to reading at rest", sd)})
	}
}

// times notes samples whose times were not taken with them.
func (g *sensing) times() {
	c := g.clock
	if c.JitterS > jitterLeast*c.SpacingS || c.Bursts > 0.1 {
		g.notes = append(g.notes, fmt.Sprintf("The times of the samples scatter by %.1f ms about a spacing of %.1f ms, as times taken on arrival do: times and frequencies are only known to as much.",
			1000*math.Max(c.JitterS, c.Bursts*c.SpacingS), 1000*c.SpacingS))
	}
}

// lose gives the joint angle up: what does not rest on it is computed all the same, with the motor
// side, or the command, in its place where only the pose is asked for.
func (g *sensing) lose(j rig.Joint) {
	s := g.series
	g.blind = "the joint angle can not be believed: its sensor " + firstOf(g.faults, "joint angle")
	if s.Motor != nil {
		s.Angle = scaled(s.Motor, 1/j.Ratio())
	} else {
		s.Angle = s.Command
	}
	for i := range g.faults {
		if g.faults[i].Sensor == "joint angle" {
			g.faults[i].Repaired = false
		}
	}
	g.notes = append(g.notes, "The joint angle can not be believed; only what the motor-side angle, current and supply show was measured.")
}

func firstOf(faults []diagnose.SensorFault, name string) string {
	for _, f := range faults {
		if f.Sensor == name {
			return f.Text
		}
	}
	return "gives too few readings"
}

// withhold takes back every measure that rests on a joint angle that can not be believed.
func (g *sensing) withhold(ms []health.Measure) []health.Measure {
	for i, m := range ms {
		if scaleBound[m.Name] && slices.Contains(g.scaled, m.Path) && m.Status != health.NotObservable {
			ms[i] = health.Unseen(m.Name, m.Path, m.Method, "the scale of an angle is wrong, which looks like give under the load")
		}
	}
	if g.blind == "" {
		return ms
	}
	for i, m := range ms {
		if m.Path != health.Servo && m.Name != "supply_sag" && m.Name != "lost_samples" && m.Status != health.NotObservable {
			ms[i] = health.Unseen(m.Name, m.Path, m.Method, g.blind)
		}
	}
	return ms
}

// pictures takes away the curves that rest on such an angle.
func (g *sensing) pictures(cs []health.Curve) []health.Curve {
	if g.blind == "" {
		return cs
	}
	return slices.DeleteFunc(cs, func(c health.Curve) bool {
		return c.ID != "current" && c.ID != "supply" && !strings.HasSuffix(c.ID, "-"+string(health.Servo))
	})
}

// noLoadSpeed returns the greatest rated speed, deg/s at the joint; 600 where none is given.
func noLoadSpeed(j rig.Joint) float64 {
	v := 0.0
	for _, r := range j.Servo.Rated {
		v = math.Max(v, r.NoLoadDegPerS)
	}
	if v == 0 {
		v = 600
	}
	return v / j.Ratio()
}
