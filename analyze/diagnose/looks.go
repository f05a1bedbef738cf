package diagnose

import (
	"fmt"
	"math"

	"limbgauge/analyze/health"
)

// The signs that no single verdict tells.

func sensors(e *Evidence) (string, bool) {
	if len(e.Sensors) == 0 {
		return "", false
	}
	text := ""
	for i, s := range e.Sensors {
		if i > 0 {
			text += "; "
		}
		text += s.Sensor + ": " + s.Text
	}
	return text, true
}

// sensorNext is what a fault wants done about itself, else what finds most of them.
func sensorNext(e *Evidence) string {
	for _, s := range e.Sensors {
		if s.Next != "" {
			return s.Next
		}
	}
	return "look at the joint while the reading jumps; check magnet, cable and bus, then repeat"
}

// lostMost is the share of lost samples above which timing measures suffer [common practice].
const lostMost = 0.02

func lostMuch(e *Evidence) (string, bool) {
	m, ok := e.find("lost_samples", health.NoPath)
	if !ok || m.Verdict != health.NoVerdict || math.IsNaN(m.Value) || m.Value < lostMost {
		return "", false
	}
	return fmt.Sprintf("%.1f %% of the samples are lost", 100*m.Value), true
}

// sagShare of the resting voltage is a deep sag where no limit is set [common practice].
const sagShare = 0.15

func sagDeep(e *Evidence) (string, bool) {
	m, ok := e.find("supply_sag", health.NoPath)
	if !ok || e.RestVolts <= 0 || m.Verdict != health.NoVerdict || !(m.Value >= sagShare*e.RestVolts) {
		return "", false
	}
	return fmt.Sprintf("%s, more than %.0f %% of the %.2f V at rest", say(m), 100*sagShare, e.RestVolts), true
}

func overloaded(e *Evidence) (string, bool) {
	if math.IsNaN(e.NominalUse) || e.NominalUse < 1 {
		return "", false
	}
	return fmt.Sprintf("the load asks %.2f of the torque the servo has at its rated voltage", e.NominalUse), true
}

// stallLeast is the shortest stall worth naming, s [common practice].
const stallLeast = 0.25

func stalled(e *Evidence) (string, bool) {
	m, ok := e.find("stall_time", health.NoPath)
	if !ok || m.Status == health.NotObservable || !(m.Value >= stallLeast) {
		return "", false
	}
	return fmt.Sprintf("commanded to move or hold, but standing off its command at stall current for %.1f s", m.Value), true
}

// atItsEnd speaks where the load takes all the torque there is and the current that would show the
// stall itself was not seen: a servo that stands where load and torque are equal went no further.
func atItsEnd(e *Evidence) (string, bool) {
	if m, ok := e.find("stall_time", health.NoPath); !ok || m.Status != health.NotObservable {
		return "", false
	}
	m, ok := e.find("torque_use", health.NoPath, total)
	if !ok || m.Status != health.Measured || !(m.Value+m.Uncertainty >= 1) {
		return "", false
	}
	return fmt.Sprintf("the joint comes to rest where its load takes %.2f ± %.2f of the torque the servo has", m.Value, m.Uncertainty), true
}

func skipped(e *Evidence) (string, bool) {
	for _, s := range e.Steps {
		if e.Belt && s.Teeth > 0 && s.Path != servo {
			return fmt.Sprintf("the offset (%s) steps by %.2f ± %.2f deg at %.2f s: %.2f teeth of the joint's pulley", s.Path, s.Size, s.SizeU, s.TimeS, s.ToothRatio), true
		}
	}
	return "", false
}

// servoRest is within what width, deg, a servo may come to rest: the dead band of a mid-price one
// [practice: 4 to 5 µs, about 0.45 deg]. A shift as small that only the joint's sensor sees may be the
// servo's.
const servoRest = 0.45

func slipped(e *Evidence) (string, bool) {
	for _, s := range e.Steps {
		if e.Belt && s.Teeth > 0 && s.Path != servo {
			continue
		}
		if e.MotorAngle && s.Path == total {
			continue // the servo or transmission path tells the same more exactly
		}
		if s.Path == total && math.Abs(s.Size)-s.SizeU < servoRest {
			continue
		}
		text := fmt.Sprintf("the offset (%s) steps by %.2f ± %.2f deg at %.2f s and stays", s.Path, s.Size, s.SizeU, s.TimeS)
		switch {
		case s.Spline != "":
			text += ", which is " + s.Spline
		case e.Belt:
			text += fmt.Sprintf(", %.2f teeth of the joint's pulley and so no whole tooth", s.ToothRatio)
		}
		return text, true
	}
	return "", false
}

func logTime(e *Evidence) (string, bool) {
	if e.Creep == nil || e.Creep.LogShare < 0.7 {
		return "", false
	}
	return fmt.Sprintf("the growth follows the logarithm of time (%.0f %% of its course)", 100*e.Creep.LogShare), true
}

// steadyGrowth is by how much plain time must explain a growth better than its logarithm.
const steadyGrowth = 0.1

// evenly reports whether what grows in the hold grows evenly: a printed part gives fast and then slowly,
// a horn or a screw that slips goes on.
func evenly(e *Evidence) bool {
	return e.Creep != nil && e.Creep.LinearShare >= 0.9 && e.Creep.LinearShare-e.Creep.LogShare >= steadyGrowth
}

// ifEven lets a sign speak only of growth that is even.
func ifEven(l look) look {
	return func(e *Evidence) (string, float64) {
		if !evenly(e) {
			return "", 0
		}
		return l(e)
	}
}

func slowSlip(e *Evidence) (string, bool) {
	if _, odds := beyond("creep", trans, total)(e); odds <= 0 || !evenly(e) {
		return "", false
	}
	return fmt.Sprintf("in the hold the offset grows evenly with time (%.0f %% of its course), not with its logarithm as creep does", 100*e.Creep.LinearShare), true
}

func steadyCurrent(e *Evidence) (string, bool) {
	if e.Creep == nil || !e.Current || math.Abs(e.Creep.CurrentChange) > fadingShare {
		return "", false
	}
	return "the current stays the same meanwhile, so the servo is not giving way", true
}

// rubs speaks where friction is proven: a reversal is wide by twice the friction times the
// compliance, whatever the play.
func rubs(e *Evidence) (string, float64) {
	text, ok := tight(e)
	odds := whole
	if !ok {
		text, odds = fails("friction", trans)(e)
	}
	if odds > 0 {
		text += ", and friction widens a reversal as play does"
	}
	return text, odds
}

// fadingShare of the current lost over a hold is a servo that gives way [common practice].
const fadingShare = 0.1

// fadingCurrent speaks where the current falls while the joint sinks: heat takes torque from a
// servo, a part that creeps leaves it alone.
func fadingCurrent(e *Evidence) (string, bool) {
	if e.Creep == nil || !e.Current || !(e.Creep.CurrentChange < -fadingShare) {
		return "", false
	}
	return fmt.Sprintf("the current falls by %.0f %% meanwhile, as that of a servo does that grows hot", -100*e.Creep.CurrentChange), true
}

func tight(e *Evidence) (string, bool) {
	m, ok := e.find("tight_spot", total, trans)
	if !ok || m.Status != health.Measured || m.Verdict == health.Pass || m.Value-m.Uncertainty <= 0 {
		return "", false
	}
	text := say(m)
	if a, ok := e.find("tight_spot_angle", total, trans); ok {
		text += fmt.Sprintf(", at %.0f deg", a.Value)
	}
	return text, true
}

// likelySoft speaks where a belt joint's compliance is likely above its limit and no knee tells
// whether part or belt gives: too much to say nothing.
func likelySoft(e *Evidence) (string, float64) {
	if m, ok := e.find("compliance", trans, total); !ok || m.Verdict == health.Fail || !e.Belt || !e.KneeHidden {
		return "", 0
	}
	return beyond("compliance", total)(e)
}

// tensionSeen speaks where the tension itself was measured, or is at least so much.
func tensionSeen(e *Evidence) (string, float64) {
	if m, ok := e.find("belt_tension", trans, total); ok && m.Status == health.BoundHigh {
		return "", 0
	}
	return beyond("belt_tension", trans, total)(e)
}

// tensionGone speaks where a dead zone leaves no tension; other things open one, too.
func tensionGone(e *Evidence) (string, float64) {
	if m, ok := e.find("belt_tension", trans, total); !ok || m.Status != health.BoundHigh {
		return "", 0
	}
	return fails("belt_tension", trans, total)(e)
}

func hunts(e *Evidence) (string, bool) {
	if e.Hunting == nil {
		return "", false
	}
	return fmt.Sprintf("at rest the joint swings by ±%.2f deg at %.1f Hz and does not calm down, %s", e.Hunting.AmplitudeDeg, e.Hunting.Hz, e.Hunting.Text), true
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
