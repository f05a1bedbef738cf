package diagnose

import (
	"fmt"
	"math"

	"limbgauge/analyze/health"
)

const (
	servo = health.Servo
	trans = health.Transmission
	total = health.Total
)

// table is the heart of the diagnosis, the causes that explain most first.
func table() []row {
	return []row{
		{
			cause: health.SensorFault, severity: health.SeverityFault,
			part:     constant("angle or current sensor"),
			forIt:    []sign{{7, seen(sensors)}},
			explains: sensorExplains,
			alike:    causes(health.LostSamples),
			next:     constant("look at the joint while the reading jumps; check magnet, cable and bus, then repeat"),
		},
		{
			cause: health.SupplySag, severity: health.SeverityFault,
			part:     constant("supply and leads"),
			forIt:    []sign{{6, fails("supply_sag", health.NoPath)}, {5, seen(sagDeep)}},
			against:  []sign{{2, seen(overloaded)}},
			explains: supplyExplains,
			alike:    nothing,
			next:     constant("repeat on a stiffer supply with short thick leads; the dip goes when the supply was to blame"),
		},
		{
			cause: health.Stall, severity: health.SeverityFault,
			part:     constant("servo"),
			forIt:    []sign{{7, seen(stalled)}},
			explains: causes(health.NearStall, health.ExcessCompliance, health.HighFriction, health.TightSpot, health.Creep, health.BeltSlack, health.ServoPlay, health.BeltTensionLow, health.Hunting, health.HornSlip, health.ToothSkip),
			alike:    nothing,
			next:     constant("halve the hanging mass or the lever and repeat; if the error collapses the servo was overloaded, else look for a stop or a jam"),
		},
		{
			cause: health.ToothSkip, severity: health.SeverityFault,
			part:     constant("belt"),
			forIt:    []sign{{7, seen(skipped)}},
			explains: causes(health.HornSlip, health.Creep, health.Hunting),
			alike:    skipAlike,
			next:     constant("mark shaft, pulley and belt with a line across, repeat the load peak and look which mark moved; then re-tension the belt"),
		},
		{
			cause: health.HornSlip, severity: health.SeverityFault,
			part:     constant("horn"),
			forIt:    []sign{{7, seen(slipped)}},
			explains: causes(health.Creep, health.Hunting),
			alike:    causes(health.SensorFault),
			next:     constant("mark horn and shaft with a line across, repeat the load peak and look whether the line breaks; then renew the horn and secure its screw"),
		},
		{
			cause: health.Creep, severity: health.SeverityFault,
			part:     constant("printed part under load"),
			forIt:    []sign{{5, beyond("creep", trans, total)}, {1, seen(logTime)}, {1, seen(steadyCurrent)}},
			explains: causes(health.HighFriction, health.ExcessCompliance, health.BeltTensionLow, health.BeltSlack, health.ServoPlay, health.TightSpot),
			alike:    causes(health.HornSlip),
			next:     constant("hold the load for ten minutes, unload, wait five: what comes back was creep, what stays is set or slip; mark horn and screws to tell"),
		},
		{
			cause: health.TightSpot, severity: health.SeverityFault,
			part:     constant("bearing or link"),
			forIt:    []sign{{6, seen(tight)}},
			explains: causes(health.HighFriction, health.Hunting, health.NearStall, health.ExcessCompliance),
			alike:    nothing,
			next:     constant("take the belt or horn off and turn the joint by hand through that angle: if it binds there it is bearing, axle or cable, else the servo's gears"),
		},
		{
			cause: health.HighFriction, severity: health.SeverityFault,
			part:     constant("bearing"),
			forIt:    []sign{{6, beyond("friction", trans)}},
			explains: nothing,
			alike:    nothing,
			next:     constant("loosen the axle screw a quarter turn and repeat; then take the belt or horn off: what friction stays is the servo's"),
		},
		{
			cause: health.BeltSlack, severity: health.SeverityFault,
			part:     constant("belt"),
			forIt:    []sign{{6, ifBelt(beyond("play", trans))}, {4, ifBelt(ifNoMotor(beyond("play", total)))}},
			explains: slackExplains,
			alike:    slackAlike,
			next:     slackNext,
		},
		{
			cause: health.ServoPlay, severity: health.SeverityFault,
			part:     constant("servo"),
			forIt:    []sign{{6, beyond("play", servo)}, {4, ifNoMotor(beyond("play", total))}, {4, ifDirect(beyond("play", trans))}},
			explains: nothing,
			alike:    servoPlayAlike,
			next:     constant("power off and turn the horn to and fro by hand with the case held: play felt there is the servo's gears, else the horn's seat"),
		},
		{
			cause: health.BeltTensionLow, severity: health.SeverityWarning,
			part:     constant("belt"),
			forIt:    []sign{{6, ifBelt(beyond("belt_tension", trans, total))}},
			explains: causes(health.ExcessCompliance),
			alike:    nothing,
			next:     constant("pluck a span and compare its tone with a newly tensioned belt; re-tension, and look at the part that carries the pulley if it falls again"),
		},
		{
			cause: health.NearStall, severity: health.SeverityWarning,
			part:     constant("servo"),
			forIt:    []sign{{6, beyond("torque_use", health.NoPath, total)}},
			explains: nothing, alike: nothing,
			next: constant("halve the hanging mass or the lever and repeat; else a stronger servo or, within its rating, more volts"),
		},
		{
			cause: health.ExcessCompliance, severity: health.SeverityFault,
			part:     constant("printed part, bracket or belt"),
			forIt:    []sign{{5, beyond("compliance", trans)}, {5, fails("compliance", total)}, {3.4, seen(likelySoft)}},
			against:  []sign{{1, ifMotor(passes("compliance", trans))}},
			explains: nothing,
			alike:    complianceAlike,
			next:     constant("hang the same weight on the horn and repeat: what slope is left is the servo's; set a gauge on the bracket to tell part from belt"),
		},
		{
			cause: health.Hunting, severity: health.SeverityWarning,
			part:  constant("servo loop"),
			forIt: []sign{{6, seen(hunts)}},
			// A swinging joint draws current as friction does.
			explains: causes(health.HighFriction, health.TightSpot),
			alike:    causes(health.SupplySag, health.ServoPlay),
			next:     constant("press lightly against the joint: play in the loop goes quiet; if not, try another supply with a capacitor at the servo"),
		},
		{
			cause: health.LostSamples, severity: health.SeverityWarning,
			part:     constant("serial line or stand"),
			forIt:    []sign{{6, fails("lost_samples", health.NoPath)}, {6, seen(lostMuch)}},
			explains: nothing, alike: nothing,
			next: constant("use a shorter cable or another port, lower the sample rate, and repeat"),
		},
	}
}

func constant(s string) func(*Evidence) string { return func(*Evidence) string { return s } }

func causes(c ...health.Cause) func(*Evidence) []health.Cause {
	return func(*Evidence) []health.Cause { return c }
}

func nothing(*Evidence) []health.Cause { return nil }

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

// sensorExplains: a sensor that can not be believed explains whatever it shows; one whose faults
// were taken out explains nothing.
func sensorExplains(e *Evidence) []health.Cause {
	for _, s := range e.Sensors {
		if !s.Repaired {
			return []health.Cause{health.HornSlip, health.ToothSkip, health.BeltSlack, health.ServoPlay, health.ExcessCompliance, health.BeltTensionLow,
				health.HighFriction, health.TightSpot, health.Stall, health.NearStall, health.Creep, health.Hunting}
		}
	}
	return nil
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

func supplyExplains(e *Evidence) []health.Cause {
	if !math.IsNaN(e.NominalUse) && e.NominalUse >= 0.9 {
		return nil
	}
	return []health.Cause{health.NearStall, health.Stall, health.Hunting}
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

func skipped(e *Evidence) (string, bool) {
	for _, s := range e.Steps {
		if e.Belt && s.Teeth > 0 && s.Path != servo {
			return fmt.Sprintf("the offset (%s) steps by %.2f ± %.2f deg at %.2f s: %.2f teeth of the joint's pulley", s.Path, s.Size, s.SizeU, s.TimeS, s.ToothRatio), true
		}
	}
	return "", false
}

func slipped(e *Evidence) (string, bool) {
	for _, s := range e.Steps {
		if e.Belt && s.Teeth > 0 && s.Path != servo {
			continue
		}
		if e.MotorAngle && s.Path == total {
			continue // the servo or transmission path tells the same more exactly
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

func skipAlike(e *Evidence) []health.Cause {
	for _, s := range e.Steps {
		if s.Teeth > 0 && s.Spline != "" {
			return []health.Cause{health.HornSlip, health.SensorFault}
		}
	}
	return []health.Cause{health.SensorFault}
}

func logTime(e *Evidence) (string, bool) {
	if e.Creep == nil || e.Creep.LogShare < 0.7 {
		return "", false
	}
	return fmt.Sprintf("the growth follows the logarithm of time (%.0f %% of its course)", 100*e.Creep.LogShare), true
}

func steadyCurrent(e *Evidence) (string, bool) {
	if e.Creep == nil || !e.Current || math.Abs(e.Creep.CurrentChange) > 0.1 {
		return "", false
	}
	return "the current stays the same meanwhile, so the servo is not giving way", true
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

// likelySoft speaks where the best estimate of a belt joint's compliance lies above the limit, though
// its interval still reaches it, and no knee tells whether part or belt gives: too much to say nothing.
func likelySoft(e *Evidence) (string, bool) {
	m, ok := e.find("compliance", trans, total)
	if !ok || !e.Belt || !e.KneeHidden || m.Verdict != health.Unproven || m.Status != health.Measured || m.Value < m.Limit {
		return "", false
	}
	return say(m) + ", likely but not proven", true
}

func hunts(e *Evidence) (string, bool) {
	if e.Hunting == nil {
		return "", false
	}
	return fmt.Sprintf("at rest the joint swings by ±%.2f deg at %.1f Hz and does not calm down, %s", e.Hunting.AmplitudeDeg, e.Hunting.Hz, e.Hunting.Text), true
}

func slackExplains(e *Evidence) []health.Cause {
	out := []health.Cause{health.BeltTensionLow, health.ExcessCompliance, health.Hunting}
	if !e.MotorAngle {
		out = append(out, health.ServoPlay)
	}
	return out
}

func slackAlike(e *Evidence) []health.Cause {
	if e.MotorAngle {
		return []health.Cause{health.HornSlip}
	}
	return []health.Cause{health.ServoPlay, health.HornSlip}
}

func slackNext(e *Evidence) string {
	if e.MotorAngle {
		return "hold the motor-side pulley and move the joint by hand; if the belt hangs loose re-tension it, else look at the pulley's hub and screw"
	}
	return "power off, hold horn, pulley and link in turn and see where motion stops; a second angle sensor on the motor side tells belt from servo"
}

func servoPlayAlike(e *Evidence) []health.Cause {
	if e.MotorAngle {
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

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
