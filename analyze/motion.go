package analyze

import (
	"fmt"
	"math"

	"limbgauge/analyze/diagnose"
	"limbgauge/analyze/drive"
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
	// Steps come at even times, so that the wait for the servo's next pulse need not differ among them.
	if hz := c.j.Servo.FrameHz; hz > 0 {
		p.DeadTime.U = math.Hypot(p.DeadTime.U, drive.FrameDelayU(float64(hz)))
	}
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
	var spans [][2]int
	for _, p := range c.pieces {
		if p.DwellS < quietS+leastS {
			continue
		}
		from := c.index(c.s.Time[p.Dwell[0]] + quietS)
		to := min(p.Dwell[1], c.index(c.s.Time[from]+4))
		time, angle, ok := c.present(from, to)
		if !ok {
			continue
		}
		dwells = append(dwells, vibration.Dwell{Time: time, Angle: angle})
		spans = append(spans, [2]int{from, to})
	}
	h := vibration.FindHunting(dwells, vibration.DefaultHuntingRule(quantumOf(c.j.Sensors.JointCounts)))
	if !h.Found {
		return nil
	}
	out := &diagnose.Hunting{AmplitudeDeg: h.Amplitude.Value, Hz: h.Hz.Value,
		Text: fmt.Sprintf("in %d of %d long rests", h.Hunting, h.Dwells)}
	if amp, hz, ok := pulses(c.s.Time, c.s.Current, spans, h.Hz.Value); ok {
		out.Text += fmt.Sprintf("; the current pulses by ±%.2f A at %.1f Hz with it", amp, hz)
	}
	if c.s.Supply == nil {
		return out
	}
	amp, _, ok := pulses(c.s.Time, c.s.Supply, spans, h.Hz.Value)
	rest := c.restVolts()
	switch {
	case ok && amp > rippleShare*rest:
		out.Text += fmt.Sprintf("; the supply swings by ±%.0f mV in step, which the current alone makes too: only another supply tells whether it is the cause", 1000*amp)
	case rest > 0:
		out.SupplySteady = true
		out.Text += "; the supply stays still meanwhile, and so is not the cause"
	}
	return out
}

const (
	// rippleShare of the voltage at rest is more than a swing of the supply that moves nothing
	// [common practice].
	rippleShare = 0.01
	// pulseShare of what a column varies by must be at the frequency, or twice it, for it to pulse.
	pulseShare = 0.2
)

// pulses reports how a column swings with a joint that swings at hz: at that frequency, or at twice it,
// as current does that flows whichever way the joint is pulled; the greater of the two, mean over the
// stretches.
func pulses(time, col []float64, spans [][2]int, hz float64) (amp, at float64, ok bool) {
	if col == nil || len(spans) == 0 {
		return 0, 0, false
	}
	var sum, share [2]float64
	n := 0.0
	for _, s := range spans {
		var d vibration.Dwell
		for i := s[0]; i < s[1]; i++ {
			if !math.IsNaN(col[i]) {
				d.Time, d.Angle = append(d.Time, time[i]), append(d.Angle, col[i])
			}
		}
		if len(d.Time) < 20 {
			continue
		}
		n++
		for k := range sum {
			a, sh := vibration.AmplitudeAt(d, hz*float64(k+1))
			sum[k] += a
			share[k] += sh
		}
	}
	k := 0
	if sum[1] > sum[0] {
		k = 1
	}
	if n == 0 || share[k]/n < pulseShare {
		return 0, 0, false
	}
	return sum[k] / n, hz * float64(k+1), true
}
