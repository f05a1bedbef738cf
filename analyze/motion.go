package analyze

import (
	"fmt"
	"math"
	"slices"

	"limbgauge/analyze/diagnose"
	"limbgauge/analyze/filter"
	"limbgauge/analyze/health"
	"limbgauge/analyze/stats"
	"limbgauge/analyze/vibration"
	"limbgauge/rig"
)

const (
	respMethod = "mean over the steps of the routine; the rest after each step is its target, so static error is not in it"
	ringMethod = "decaying sine fitted to the ringing after each step, started by a matrix pencil; mean over the steps"
	// settleShare of a step is the half width of the settling band, as is usual for step responses
	// (2 % of the way), but no less than two quanta.
	settleShare = 0.02
	// afterStepS is how much of the dwell after a step is judged.
	afterStepS = 1.0
)

// restBeforeS is how long the command must have rested before a step for it to start from rest.
const restBeforeS = 0.3

// responseMeasures reports how the joint answers a jump of the command.
func (c *subject) responseMeasures() []health.Measure {
	q := quantumOf(c.j.Sensors.JointCounts)
	var steps []vibration.Step
	var rings []vibration.Ring
	why := "the run has no step from rest to rest"
	for i, p := range c.pieces {
		if p.Kind != rig.MoveStep || p.Travel[1] <= p.Travel[0] || p.DwellS < restBeforeS || !math.IsInf(p.Rate, 1) ||
			i == 0 || c.pieces[i-1].DwellS < restBeforeS {
			continue
		}
		jump := p.Travel[0]
		from, to := max(0, c.index(c.s.Time[jump]-0.1)), min(p.Dwell[1], c.index(c.s.Time[jump]+afterStepS))
		time, angle, ok := c.present(from, to)
		if !ok {
			why = "readings of the joint angle are missing in the steps"
			continue
		}
		// The command changed between the sample before and this one.
		t0 := (c.s.Time[jump] + c.s.Time[max(0, jump-1)]) / 2
		band := math.Max(settleShare*math.Abs(p.ToDeg-p.FromDeg), 2*q)
		st, err := vibration.MeasureStep(time, angle, t0, vibration.StepOptions{BandDeg: band, Quantum: q, ClockSD: c.jitter})
		if err != nil {
			why = err.Error()
			continue
		}
		st.DeadTime.U = math.Hypot(st.DeadTime.U, c.dt/math.Sqrt(12))
		steps = append(steps, st)
		if ring, ok := c.ringAfter(time, angle, t0, st, q); ok {
			rings = append(rings, ring)
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

// mostMissing is how many readings in a row may be missing from a step.
const mostMissing = 3

// present returns the readings of the joint angle that are there between two samples; ok is false
// where more than a few in a row are missing.
func (c *subject) present(from, to int) (time, angle []float64, ok bool) {
	for i := from; i < to; i++ {
		if math.IsNaN(c.s.Angle[i]) {
			continue
		}
		if n := len(time); n > 0 && c.s.Time[i]-time[n-1] > (mostMissing+1.5)*c.dt+6*c.jitter {
			return nil, nil, false
		}
		time, angle = append(time, c.s.Time[i]), append(angle, c.s.Angle[i])
	}
	return time, angle, len(time) > 0
}

// ringAfter measures the ringing from where the joint first reaches its rest, not from the travel; ok
// is false when it never does, or not in time.
func (c *subject) ringAfter(time, angle []float64, t0 float64, st vibration.Step, quantum float64) (vibration.Ring, bool) {
	up := st.ToDeg > st.FromDeg
	for i, a := range angle {
		if time[i] < t0 || up != (a >= st.ToDeg) {
			continue
		}
		even, _ := filter.Even(time[i:], angle[i:], 1/c.dt)
		if len(even) < 20 {
			return vibration.Ring{}, false
		}
		return vibration.RingDown(even, c.dt, vibration.RingOptions{Quantum: quantum, NoiseSD: quantum / 2}), true
	}
	return vibration.Ring{}, false
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
