package diagnose

import (
	"math"
	"slices"

	"limbgauge/analyze/health"
)

// What a cause explains besides, and what looks like it.

// repaired is true where no figure suffers from what the sensors did.
func repaired(e *Evidence) bool {
	return !slices.ContainsFunc(e.Sensors, func(s SensorFault) bool { return !s.Repaired })
}

// sensorExplains: a sensor that cannot be believed explains whatever it shows; one whose faults were
// taken out explains nothing.
func sensorExplains(e *Evidence) []health.Cause {
	if repaired(e) {
		return nil
	}
	return []health.Cause{health.HornSlip, health.ToothSkip, health.BeltSlack, health.ServoPlay, health.ExcessCompliance, health.BeltTensionLow,
		health.HighFriction, health.TightSpot, health.Stall, health.NearStall, health.Creep, health.Hunting}
}

func supplyExplains(e *Evidence) []health.Cause {
	if !math.IsNaN(e.NominalUse) && e.NominalUse >= 0.9 {
		return nil
	}
	return []health.Cause{health.NearStall, health.Stall, health.Hunting}
}

func skipAlike(e *Evidence) []health.Cause {
	for _, s := range e.Steps {
		if s.Teeth > 0 && s.Spline != "" {
			return []health.Cause{health.HornSlip, health.SensorFault}
		}
	}
	return []health.Cause{health.SensorFault}
}

// widensReversal: a reversal is wide by twice the friction times the compliance, whatever the play.
// Where one sensor sees both, play that is not proven beside friction that is follows from it.
func widensReversal(e *Evidence) []health.Cause {
	if m, ok := e.find("play", total); !ok || e.apart() || m.Verdict == health.Fail {
		return nil
	}
	return []health.Cause{health.BeltSlack, health.ServoPlay}
}

func tightExplains(e *Evidence) []health.Cause {
	return append(widensReversal(e), health.HighFriction, health.Hunting, health.NearStall, health.ExcessCompliance)
}

func slackExplains(e *Evidence) []health.Cause {
	out := []health.Cause{health.BeltTensionLow, health.ExcessCompliance, health.Hunting}
	if !e.apart() {
		out = append(out, health.ServoPlay)
	}
	if e.Belt && len(e.Steps) > 0 && !slices.ContainsFunc(e.Steps, func(s Step) bool { return s.Teeth > 0 || !(math.Abs(s.ToothRatio) < 1) }) {
		// A slack belt jumps a tooth forth and back; rests before and after then differ by less than one on
		// average. A horn that slipped as well stays in what it could also be.
		out = append(out, health.HornSlip)
	}
	return out
}

func slackAlike(e *Evidence) []health.Cause {
	if e.apart() && !e.staleBare() {
		return []health.Cause{health.HornSlip}
	}
	return []health.Cause{health.ServoPlay, health.HornSlip}
}

func servoPlayAlike(e *Evidence) []health.Cause {
	if e.apart() {
		return []health.Cause{health.HornSlip}
	}
	if e.Belt {
		return []health.Cause{health.BeltSlack, health.HornSlip}
	}
	return []health.Cause{health.HornSlip}
}

func complianceAlike(e *Evidence) []health.Cause {
	var out []health.Cause
	if e.Belt && e.KneeHidden {
		out = append(out, health.BeltTensionLow)
	}
	if m, ok := e.find("stall_time", health.NoPath); ok && m.Status == health.NotObservable && !e.MotorAngle {
		out = append(out, health.Stall) // a servo at its limit gives way as a soft part does
	}
	return out
}

func tensionAlike(e *Evidence) []health.Cause {
	if m, ok := e.find("belt_tension", trans, total); ok && m.Status == health.BoundHigh {
		return []health.Cause{health.BeltSlack, health.HornSlip} // a hub with play opens the same dead zone
	}
	return nil
}

// creepAlike: a set screw or horn that slips slowly draws the same trace; where the current falls
// so does a servo that grows hot.
func slipAlike(e *Evidence) []health.Cause {
	if _, slow := slowSlip(e); slow {
		return []health.Cause{health.Creep}
	}
	return []health.Cause{health.SensorFault}
}

func creepAlike(e *Evidence) []health.Cause {
	if _, fades := fadingCurrent(e); fades {
		return []health.Cause{health.HornSlip, health.NearStall}
	}
	return []health.Cause{health.HornSlip}
}

// stallAlike: a stall that the load does not explain is a jam, which may be one tight spot.
func stallAlike(e *Evidence) []health.Cause {
	if jammed(e) {
		return []health.Cause{health.TightSpot}
	}
	if m, ok := e.find("stall_time", health.NoPath); ok && m.Status == health.NotObservable {
		return []health.Cause{health.NearStall}
	}
	return nil
}

func nearStallAlike(e *Evidence) []health.Cause {
	if m, ok := e.find("stall_time", health.NoPath); ok && m.Status == health.NotObservable {
		return []health.Cause{health.Stall}
	}
	return nil
}

// huntingAlike: only a supply that stays still is told from the loop.
func huntingAlike(e *Evidence) []health.Cause {
	if e.Hunting != nil && e.Hunting.SupplySteady {
		return []health.Cause{health.ServoPlay}
	}
	return []health.Cause{health.SupplySag, health.ServoPlay}
}
