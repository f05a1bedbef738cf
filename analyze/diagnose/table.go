package diagnose

import "limbgauge/analyze/health"

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
			aside:    repaired,
			alike:    causes(health.LostSamples),
			next:     sensorNext,
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
			part:     stallPart,
			forIt:    []sign{{7, seen(stalled)}, {4, seen(atItsEnd)}},
			explains: causes(health.NearStall, health.ExcessCompliance, health.HighFriction, health.TightSpot, health.Creep, health.BeltSlack, health.ServoPlay, health.BeltTensionLow, health.Hunting, health.HornSlip, health.ToothSkip),
			alike:    stallAlike,
			next:     stallNext,
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
			forIt:    []sign{{7, seen(slipped)}, {5, ifEven(beyond("creep", trans, total))}, {1, seen(slowSlip)}},
			explains: causes(health.Creep, health.Hunting),
			alike:    slipAlike,
			next:     constant("mark horn and shaft with a line across, repeat the load peak and look whether the line breaks; then renew the horn and secure its screw"),
		},
		{
			cause: health.Creep, severity: health.SeverityFault,
			part:     constant("printed part under load"),
			forIt:    []sign{{5, beyond("creep", trans, total)}, {1, seen(logTime)}, {1, seen(steadyCurrent)}},
			against:  []sign{{1, seen(fadingCurrent)}, {2, seen(slowSlip)}},
			explains: causes(health.HighFriction, health.ExcessCompliance, health.BeltTensionLow, health.BeltSlack, health.ServoPlay, health.TightSpot),
			alike:    creepAlike,
			next:     constant("hold the load for ten minutes, unload, wait five: what comes back was creep, what stays is set or slip; mark horn and screws to tell"),
		},
		{
			cause: health.TightSpot, severity: health.SeverityFault,
			part:     constant("bearing or link"),
			forIt:    []sign{{6, seen(tight)}},
			explains: tightExplains,
			alike:    nothing,
			next:     constant("take the belt or horn off and turn the joint by hand through that angle: if it binds there it is bearing, axle or cable, else the servo's gears"),
		},
		{
			cause: health.HighFriction, severity: health.SeverityFault,
			part:     constant("bearing"),
			forIt:    []sign{{6, beyond("friction", trans)}},
			explains: widensReversal,
			alike:    nothing,
			next:     ease,
		},
		{
			cause: health.BeltSlack, severity: health.SeverityFault,
			part:     slackPart,
			forIt:    []sign{{6, ifBelt(beyond("play", trans))}, {4, ifBelt(ifNotApart(beyond("play", total)))}, {1, tensionGone}},
			against:  []sign{{2, passes("belt_tension", trans, total)}, {1, ifNotApart(rubs)}},
			explains: slackExplains,
			alike:    slackAlike,
			next:     slackNext,
		},
		{
			cause: health.ServoPlay, severity: health.SeverityFault,
			part:     constant("servo"),
			forIt:    []sign{{6, beyond("play", servo)}, {4, ifNotApart(beyond("play", total))}, {4, ifDirect(beyond("play", trans))}},
			against:  []sign{{1, ifNotApart(rubs)}},
			explains: nothing,
			alike:    servoPlayAlike,
			next:     servoPlayNext,
		},
		{
			cause: health.BeltTensionLow, severity: health.SeverityWarning,
			part:     constant("belt"),
			forIt:    []sign{{6, ifBelt(tensionSeen)}, {3.8, ifBelt(tensionGone)}},
			explains: causes(health.ExcessCompliance),
			alike:    tensionAlike,
			next:     retension,
		},
		{
			cause: health.NearStall, severity: health.SeverityWarning,
			part:     constant("servo"),
			forIt:    []sign{{6, beyond("torque_use", health.NoPath, total)}},
			explains: nothing,
			alike:    nearStallAlike,
			next:     lighten,
		},
		{
			cause: health.ExcessCompliance, severity: health.SeverityFault,
			part:     constant("printed part, bracket or belt"),
			forIt:    []sign{{5, beyond("compliance", trans)}, {5, fails("compliance", total)}, {3.4, likelySoft}},
			against:  []sign{{1, ifApart(passes("compliance", trans))}},
			explains: nothing,
			alike:    complianceAlike,
			next:     constant("hang the same weight on the horn and repeat: what slope is left is the servo's; set a gauge on the bracket to tell part from belt"),
		},
		{
			cause: health.Hunting, severity: health.SeverityWarning,
			part:  constant("servo loop"),
			forIt: []sign{{6, seen(hunts)}},
			// A swinging joint draws current as friction and load do.
			explains: causes(health.HighFriction, health.TightSpot, health.NearStall),
			alike:    huntingAlike,
			next:     constant("press lightly against the joint: play in the loop goes quiet; if not, try another supply with a capacitor at the servo"),
		},
		{
			cause: health.LostSamples, severity: health.SeverityWarning,
			part:     constant("serial line or stand"),
			forIt:    []sign{{6, fails("lost_samples", health.NoPath)}, {6, seen(lostMuch)}},
			explains: nothing, alike: nothing,
			aside: always,
			next:  constant("use a shorter cable or another port, lower the sample rate, and repeat"),
		},
	}
}

func constant(s string) func(*Evidence) string { return func(*Evidence) string { return s } }

func causes(c ...health.Cause) func(*Evidence) []health.Cause {
	return func(*Evidence) []health.Cause { return c }
}

func always(*Evidence) bool { return true }

func nothing(*Evidence) []health.Cause { return nil }
