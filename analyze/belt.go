package analyze

import (
	"fmt"
	"math"

	"limbgauge/analyze/health"
	"limbgauge/analyze/play"
)

// slackLeast is the least dead zone, deg, that is taken for a belt without tension: printed parts
// and pulleys have some hundredths of their own [common practice].
const slackLeast = 0.1

// servoPlayUsual is the gear play, deg, that a good servo may have beside its dead band [data sheets
// and hand measurements: 0.15 to 0.5 deg]: in the path total so much says nothing of the belt.
const servoPlayUsual = 0.35

// kneeRound is the relative standard uncertainty of a knee's place: cords stiffen with tension, so that
// the line bends over a stretch and the knee is read somewhere in it [a tenth of its
// torque wide, even: 0.1/√12; common practice].
const kneeRound = 0.029

const tensionMethod = "torque at which the deflection line grows steeper, over twice the pitch radius of the joint's pulley: T0 = M/(2r)"

// beltMeasures turns the knee of the loop into span-slack torque and pretension. hidden is true
// where a knee below the torques seen cannot be excluded.
func (c *subject) beltMeasures(l loops) (out []health.Measure, hidden bool) {
	p, r := l.path.name, c.j.Belt.JointRadiusM()
	both := func(status health.Status, m, u float64, why string) []health.Measure {
		return []health.Measure{
			health.Bound("span_slack_torque", p, status, m, u, tensionMethod, why),
			health.Bound("belt_tension", p, status, m/(2*r), u/(2*r), tensionMethod, why),
		}
	}
	unseen := func(why string) []health.Measure {
		return []health.Measure{
			health.Unseen("span_slack_torque", p, tensionMethod, why),
			health.Unseen("belt_tension", p, tensionMethod, why),
		}
	}
	if l.loop.N == 0 {
		return unseen(l.err.Error()), true
	}
	if !math.IsNaN(l.loop.Knee) {
		return both(health.Measured, l.loop.Knee, math.Hypot(l.loop.KneeU, 2*kneeRound*l.loop.Knee), ""), false
	}
	if limit, ok := c.j.Limits["compliance"]; ok && l.loop.Compliance.Value > limit {
		// One slack span from the start and a soft part give the same straight, steep line.
		why := "the line is steep over all torques seen: a span may be slack from the start, or a part gives; without a knee the two look alike"
		return unseen(why), true
	}
	// No knee was found between these torques; the ends are not to be trusted.
	least := math.Max(l.loop.LoadMin, play.KneeLow*l.loop.LoadMax)
	low, high := l.loop.KneeFrom, l.loop.KneeTo
	width, wide := l.loop.Play.Value, slackLeast
	if p == health.Total {
		band, _ := c.deadBand()
		width, wide = width-band, servoPlayUsual
	}
	slack := l.err == nil && width-l.loop.Play.U > wide
	seen := low < high // false where a knee is excluded nowhere
	switch {
	case l.err != nil && seen:
		// Without a change of sign the smallest torque seen may already lie beyond the knee.
		why := fmt.Sprintf("no change of slope between %.3f and %.3f N·m: the span goes slack below or above, which a load that reverses would tell", low, high)
		return unseen(why), true
	case slack && p == health.Transmission:
		return both(health.BoundHigh, least, math.NaN(), "a dead zone has opened, as it does when the pretension is gone; play of a hub looks alike"), true
	case slack:
		why := "the dead zone of the servo and a slack belt cannot be told apart without a motor-side angle"
		return unseen(why), true
	}
	if !seen {
		why := "the load is too small, or the loop scatters too much, for a slack span to show; hang more on the joint"
		return unseen(why), true
	}
	why := fmt.Sprintf("no span goes slack between %.3f and %.3f N·m; more load would show the tension itself. A belt slack from the start (below %.1f N) would show by a greater compliance alone, and spans that have less than %.0f %% of the compliance would not show at all",
		low, high, low/(2*r), 100*play.SpansShare)
	return both(health.BoundLow, high, math.NaN(), why), p == health.Total
}
