package rig

import (
	"fmt"
	"math"
	"time"
)

// GaitName is the name of the routine of an endurance test. It is none of the built-in ones: it is made
// of a joint's way through a step, and measures nothing by itself.
const GaitName = "gait"

// Knot is a place in a cycle of a gait: the share of its time that has passed, and the joint's angle.
type Knot struct {
	At  float64
	Deg float64
}

// DefaultGait is the way of a joint of which no more is known than its range: over the middle half,
// slowly one way while the foot stands, for 60 % of the time, and quickly back while it swings, soft
// at both ends [common practice].
func DefaultGait(j Joint) []Knot {
	p := plan{j: j}
	const stance = 0.6
	knots := []Knot{{0, p.at(-0.25)}}
	for i := 1; i <= swingKnots; i++ {
		u := float64(i) / swingKnots
		knots = append(knots, Knot{(1 - stance) * u, p.at(-0.25 + 0.5*(u-math.Sin(2*pi*u)/(2*pi)))})
	}
	return append(knots, Knot{1, p.at(-0.25)})
}

const (
	swingKnots = 4
	// gaitShare is the greatest share of the no-load speed that a gait asks for: it may lag, but must
	// not be left behind [common practice].
	gaitShare = 0.7
	// stillDeg is the way below which a joint rests instead.
	stillDeg = 0.05
	// GaitMoves is the greatest number of moves a gait of one run may have: the stand numbers them
	// with 16 bits.
	GaitMoves = 60000
)

// FastestGait returns the least time of a cycle that the joint's servo can follow; 0 where its speed
// is not known.
func FastestGait(j Joint, knots []Knot) time.Duration {
	if len(j.Servo.Rated) == 0 {
		return 0
	}
	speed := math.Inf(1)
	for _, r := range j.Servo.Rated {
		speed = min(speed, gaitShare*r.NoLoadDegPerS/j.Ratio())
	}
	least := 0.0
	for i := 1; i < len(knots); i++ {
		if span := knots[i].At - knots[i-1].At; span > 0 {
			least = max(least, math.Abs(knots[i].Deg-knots[i-1].Deg)/speed/span)
		}
	}
	return time.Duration(math.Ceil(least*1e3)) * time.Millisecond
}

// GaitRoutine makes a routine that goes slowly to the first knot, plays the cycle a number of times,
// and comes to rest where the load hangs. Knots rise from At 0 to 1 and end at the angle they began with.
func GaitRoutine(j Joint, knots []Knot, cycle time.Duration, cycles int) (Routine, error) {
	p := plan{j: j}
	if wrong := gaitWrong(knots); wrong != "" {
		return Routine{}, fmt.Errorf("gait of joint %q: %s", j.Name, wrong)
	}
	if least := FastestGait(j, knots); cycle < least || cycle <= 0 {
		return Routine{}, fmt.Errorf("gait of joint %q: a cycle of %v is too quick for the servo, which needs %v", j.Name, cycle, least)
	}
	if n := cycles * (len(knots) - 1); cycles < 1 || n > GaitMoves {
		return Routine{}, fmt.Errorf("gait of joint %q: %d cycles in one run, can have 1 to %d", j.Name, cycles, GaitMoves/(len(knots)-1))
	}
	p.add(MoveSettle, p.clip(knots[0].Deg), slowDegPerS, restDwell)
	var one []Move
	for i := 1; i < len(knots); i++ {
		way, span := math.Abs(p.clip(knots[i].Deg)-p.clip(knots[i-1].Deg)), (knots[i].At-knots[i-1].At)*cycle.Seconds()
		m := Move{Kind: MoveRamp, TargetDeg: p.clip(knots[i].Deg), RateDegPerS: way / span}
		if way < stillDeg {
			m.RateDegPerS, m.Dwell = slowDegPerS, time.Duration((span-way/slowDegPerS)*float64(time.Second))
		}
		one = append(one, m)
	}
	for range cycles {
		p.moves = append(p.moves, one...)
	}
	p.add(MoveSettle, p.inside(p.lightest()), slowDegPerS, restDwell)
	r := Routine{Name: GaitName, Moves: p.moves}
	return r, r.Check(j)
}

// GaitCycles returns how many whole cycles of a gait are done when a segment of its routine is under
// way, or its last was. perCycle is the number of knots less one.
func GaitCycles(segment, perCycle, cycles int) int {
	const before = 1 // the way to the first knot
	return max(0, min(cycles, (segment-1-before)/max(1, perCycle)))
}

func gaitWrong(knots []Knot) string {
	n := len(knots)
	switch {
	case n < 3:
		return "needs three knots or more"
	case knots[0].At != 0 || knots[n-1].At != 1:
		return "knots must run from 0 to 1"
	case math.Abs(knots[0].Deg-knots[n-1].Deg) > 1e-9:
		return "a cycle must end where it began"
	}
	for i := 1; i < n; i++ {
		if !(knots[i].At > knots[i-1].At) {
			return "knots must rise in time"
		}
	}
	return ""
}
