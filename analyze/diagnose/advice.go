package diagnose

import (
	"fmt"
	"math"

	"limbgauge/analyze/health"
)

// Parts and tests that depend on what the run shows.

func slackNext(e *Evidence) string {
	if e.staleBare() {
		return "sweep the bare servo again: the run that was taken off is old, and play the servo got since shows here"
	}
	if e.apart() {
		return "hold the motor-side pulley and move the joint by hand; if the belt hangs loose re-tension it, else look at the pulley's hub and screw"
	}
	return "power off, hold horn, pulley and link in turn and see where motion stops; a run of the bare servo, or a second angle sensor on the motor side, tells belt from servo"
}

// servoPlayNext: what the hand does not feel at the horn sits behind it, in whatever the run did not tell
// apart from the servo.
func servoPlayNext(e *Evidence) string {
	const hand = "power off and turn the horn to and fro by hand with the case held: play felt there is the servo's gears, else the horn's seat"
	if e.Belt && !e.apart() {
		return hand + ", or the belt where it hangs loose"
	}
	return hand
}

// slackPart: play beside a belt that is proven tight sits in what holds its pulleys.
func slackPart(e *Evidence) string {
	if m, ok := e.find("belt_tension", trans, total); ok && m.Verdict == health.Pass {
		return "pulley, its hub or screw"
	}
	return "belt"
}

// jamShare of the rated torque is what the load must take for it to explain a stall [common practice].
const jamShare = 0.7

// jammed says that the known load is too small to stall the servo.
func jammed(e *Evidence) bool { return e.NominalUse < jamShare }

func stallPart(e *Evidence) string {
	if jammed(e) {
		return "stop, cable or bearing"
	}
	return "servo"
}

func stallNext(e *Evidence) string {
	if jammed(e) {
		return "power off and sweep the joint by hand: what stops it at one angle is an end stop, a cable or a bearing; a servo that is too weak stops at a torque"
	}
	return lighten(e)
}

// lighten says how much lighter the load must be for the accepted share of the torque to be kept by its
// whole uncertainty.
func lighten(e *Evidence) string {
	const other = "else a stronger servo or, within its rating, more volts"
	m, ok := e.find("torque_use", health.NoPath, total)
	if !ok || !(m.Value > m.Limit) || !(m.Limit > 0) {
		return "halve the hanging mass or the lever and repeat: an error that collapses was overload; " + other
	}
	most := m.Value
	if m.Uncertainty > 0 {
		most += m.Uncertainty
	}
	return fmt.Sprintf("bring mass times lever down to %.0f %% of what it is, and repeat; %s", math.Floor(100*m.Limit/most), other)
}

// retension says by how much the tone of a plucked span must rise: it goes with the square root of
// the tension (Rao, Mechanical Vibrations, transverse vibration of a string).
func retension(e *Evidence) string {
	const watch = "look at the part that carries the pulley if it falls again"
	m, ok := e.find("belt_tension", trans, total)
	if !ok || m.Status != health.Measured || !(m.Limit > m.Value) || !(m.Value > 0) {
		return "pluck a span and compare its tone with a newly tensioned belt; re-tension, and " + watch
	}
	return fmt.Sprintf("pluck a span and tighten until its tone is %.1f times what it is now, which brings %.0f N to %g N; %s",
		math.Sqrt(m.Limit/m.Value), m.Value, m.Limit, watch)
}

// tightBelt times the least accepted tension is a belt that may itself load the bearing [common practice].
const tightBelt = 3.0

// ease names the cheapest test for friction everywhere: a belt that was tensioned too far presses on
// its bearings.
func ease(e *Evidence) string {
	const axle = "loosen the axle screw a quarter turn and repeat; then take the belt or horn off: what friction stays is the servo's"
	m, ok := e.find("belt_tension", trans, total)
	if ok && e.Belt && m.Status != health.NotObservable && m.Status != health.BoundHigh && m.Value > tightBelt*m.Limit {
		return "slacken the belt a little and repeat: if friction falls the belt pulled on its bearings; else " + axle
	}
	return axle
}
