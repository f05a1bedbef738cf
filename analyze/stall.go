package analyze

import (
	"math"

	"limbgauge/analyze/drive"
	"limbgauge/analyze/health"
)

const stallMethod = "time in which the command is not reached, the joint stands still and the current is above 85 % of the stall current at the voltage seen, for more than 0.25 s at a time; the uncertainty holds what 70 % or 98 % of the greatest current held would make of it [common practice]"

// findStalls fills in the stretches of the run in which the servo stood at its limit: there the
// joint does not follow, so nothing else is concluded from them.
func (c *subject) findStalls() {
	rated := ratings(c.j.Servo)
	if c.s.Current == nil || len(rated) == 0 {
		c.stallWhy = "no current is logged"
		if len(rated) == 0 {
			c.stallWhy = "no rated line of the servo is given"
		}
		return
	}
	angle := c.s.Angle
	if c.s.Motor != nil {
		angle = c.s.Motor
		if k := c.j.Ratio(); k != 1 {
			angle = make([]float64, len(c.s.Motor))
			for i, m := range c.s.Motor {
				angle[i] = m / k
			}
		}
	}
	band, _ := c.deadBand()
	band = math.Max(band, 2*quantumOf(c.j.Sensors.JointCounts))
	if c.s.Motor == nil && c.load != nil {
		// What the joint gives under its load looks like a servo that lags: allow for it.
		band += c.loadPeak() * generousCompliance
	}
	rule := drive.DefaultStallRule(rated, band)
	rule.CurrentShare = c.stallShare(rated, rule.CurrentShare)
	in := drive.StallInput{Time: c.s.Time, Command: c.s.Command, Angle: angle, Current: c.s.Current, Supply: c.s.Supply}
	st, err := drive.FindStalls(in, rule)
	if err != nil {
		c.stallWhy = err.Error()
		return
	}
	c.stalls = st
	c.stallU = stallEdgeS * float64(max(1, len(st)))
	if len(st) == 0 {
		c.stallU += rule.MinS // shorter ones are not looked for
		if c.load != nil {
			return
		}
	}
	usual, _ := drive.StallSeconds(st)
	most := 0.0
	for _, x := range st {
		most = math.Max(most, x.Share)
	}
	shares := []float64{stallLeastShare}
	if len(st) > 0 {
		shares = append(shares, stallFull*most)
	}
	for _, share := range shares {
		rule.CurrentShare = share
		if st, err = drive.FindStalls(in, rule); err == nil {
			s, _ := drive.StallSeconds(st)
			c.stallU = math.Max(c.stallU, math.Abs(s-usual))
		}
	}
}

const (
	// stallEdgeS is how far both ends of a stall together are blurred by the windows in which current
	// and speed are read and by what counts as standing.
	stallEdgeS = 0.12
	// stallLeastShare of the rated stall current and stallFull of the greatest current held in this
	// run are how little and how much a builder may call stall; the time is no surer than the two
	// leave it [common practice].
	stallLeastShare, stallFull = 0.7, 0.98
)

// generousCompliance, deg/N·m, is what a joint without a motor-side angle may give before standing
// off its command counts as not following [common practice].
const generousCompliance = 1.0

// heldShare of the stall current is what a servo may draw in a heavy hold without being in stall:
// it stands still and off its command by its droop there, too [common practice].
const heldShare = 0.85

// stallShare raises the share of the stall current that counts as trying, where a known load alone
// explains much of it: a servo that holds three quarters of its torque stands still, off its
// command by its droop, at three quarters of its stall current, and is not in stall.
func (c *subject) stallShare(rated []drive.Rating, usual float64) float64 {
	usual = math.Max(usual, heldShare)
	if c.load == nil {
		return usual // so that a heavy hold of a load nobody stated is no stall
	}
	m, err := drive.At(rated, 0, c.restVolts())
	if err != nil {
		return usual
	}
	const above, most = 0.15, 0.92
	return math.Max(usual, math.Min(most, m.Use(c.loadPeak()/c.j.Ratio())+above))
}

// stalledIn reports whether a stretch of samples overlaps a stall.
func (c *subject) stalledIn(from, to int) bool {
	for _, s := range c.stalls {
		if from < s.To && to > s.From {
			return true
		}
	}
	return false
}

func (c *subject) stallMeasure() health.Measure {
	if c.stallWhy != "" {
		return health.Unseen("stall_time", health.NoPath, stallMethod, c.stallWhy)
	}
	s, atLeast := drive.StallSeconds(c.stalls)
	m := health.Of("stall_time", health.NoPath, s, c.stallU, stallMethod)
	if atLeast {
		m.Status, m.Reason = health.BoundLow, "the record ends in a stall"
	}
	return m
}
