package analyze

import (
	"fmt"
	"math"
	"slices"

	"limbgauge/analyze/diagnose"
	"limbgauge/analyze/health"
	"limbgauge/analyze/stats"
	"limbgauge/analyze/vibration"
	"limbgauge/rig"
)

const (
	respMethod = "mean over the steps of the routine; the rest after each step is its target, so static error is not in it"
	ringMethod = "matrix pencil with one mode on the ringing after each step about its rest, mean over the steps"
	// settleShare of a step is the half width of the settling band, as is usual for step responses
	// (2 % of the way), but no less than two quanta.
	settleShare = 0.02
	// afterStepS is how much of the dwell after a step is judged.
	afterStepS = 1.0
)

// responseMeasures reports how the joint answers a jump of the command.
func (c *subject) responseMeasures() []health.Measure {
	q := quantumOf(c.j.Sensors.JointCounts)
	var steps []vibration.Step
	var rings []vibration.Ring
	why := "the run has no step"
	for _, p := range c.pieces {
		if p.Kind != rig.MoveStep || p.Travel[1] <= p.Travel[0] || p.DwellS < 0.3 || !math.IsInf(p.Rate, 1) {
			continue
		}
		jump := p.Travel[0]
		from, to := max(0, jump-int(0.1/c.dt)), min(p.Dwell[1], c.index(c.s.Time[jump]+afterStepS))
		if slices.ContainsFunc(c.s.Angle[from:to], math.IsNaN) {
			why = "readings of the joint angle are missing in the steps"
			continue
		}
		// The command changed between the sample before and this one.
		t0 := (c.s.Time[jump] + c.s.Time[max(0, jump-1)]) / 2
		band := math.Max(settleShare*math.Abs(p.ToDeg-p.FromDeg), 2*q)
		st, err := vibration.MeasureStep(c.s.Time[from:to], c.s.Angle[from:to], t0, vibration.StepOptions{BandDeg: band, Quantum: q})
		if err != nil {
			why = err.Error()
			continue
		}
		st.DeadTime.U = math.Hypot(st.DeadTime.U, c.dt/math.Sqrt(12))
		steps = append(steps, st)
		if arrive := c.arrival(jump, to, st); arrive > 0 {
			rings = append(rings, vibration.RingDown(c.s.Angle[arrive:to], c.dt, vibration.RingOptions{Quantum: q, NoiseSD: q / 2}))
		}
	}
	unseen := func(names ...string) (out []health.Measure) {
		for _, n := range names {
			out = append(out, health.Unseen(n, health.NoPath, respMethod, why))
		}
		return out
	}
	if len(steps) == 0 {
		return unseen("dead_time", "rise_time", "overshoot", "settle_time", "peak_speed", "natural_frequency", "damping_ratio")
	}
	p := vibration.PoolSteps(steps)
	out := []health.Measure{
		fromEstimate("dead_time", health.NoPath, p.DeadTime, respMethod),
		fromEstimate("rise_time", health.NoPath, p.RiseTime, respMethod),
		fromEstimate("overshoot", health.NoPath, p.Overshoot, respMethod),
		fromEstimate("settle_time", health.NoPath, p.SettleTime, respMethod),
		fromEstimate("peak_speed", health.NoPath, p.PeakSpeed, respMethod),
	}
	return append(out, ringMeasures(rings)...)
}

func ringMeasures(rings []vibration.Ring) []health.Measure {
	hz, zeta := stats.Unseen("no step rang"), stats.Unseen("no step rang")
	linear := false
	if len(rings) > 0 {
		r := vibration.PoolRings(rings)
		hz, zeta, linear = r.NaturalHz, r.Damping, r.Linear
	}
	out := []health.Measure{fromEstimate("natural_frequency", health.NoPath, hz, ringMethod),
		fromEstimate("damping_ratio", health.NoPath, zeta, ringMethod)}
	if linear && out[1].Status == health.Measured {
		out[1].Reason = "the swing falls by equal steps, as dry friction does, so the ratio holds for this size of swing only"
	}
	return out
}

// arrival returns the sample at which the joint first reaches its rest after a step; ringing is
// judged from there, not from the travel. -1 when it never does.
func (c *subject) arrival(from, to int, st vibration.Step) int {
	up := st.ToDeg > st.FromDeg
	for i := from; i < to; i++ {
		if up == (c.s.Angle[i] >= st.ToDeg) {
			if to-i < 30 {
				return -1
			}
			return i
		}
	}
	return -1
}

// hunting looks for an oscillation in the long rests, when the ringing of the move has died away.
func (c *subject) hunting() *diagnose.Hunting {
	const quietS, leastS = 1.0, 1.2
	var dwells []vibration.Dwell
	for _, p := range c.pieces {
		if p.DwellS < quietS+leastS {
			continue
		}
		from := c.index(c.s.Time[p.Dwell[0]] + quietS)
		to := min(p.Dwell[1], c.index(c.s.Time[from]+4))
		if slices.ContainsFunc(c.s.Angle[from:to], math.IsNaN) {
			continue
		}
		dwells = append(dwells, vibration.Dwell{Time: c.s.Time[from:to], Angle: c.s.Angle[from:to]})
	}
	h := vibration.FindHunting(dwells, vibration.DefaultHuntingRule(quantumOf(c.j.Sensors.JointCounts)))
	if !h.Found {
		return nil
	}
	return &diagnose.Hunting{AmplitudeDeg: h.Amplitude.Value, Hz: h.Hz.Value,
		Text: fmt.Sprintf("in %d of %d long rests", h.Hunting, h.Dwells)}
}
