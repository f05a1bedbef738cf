package analyze

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"limbgauge/analyze/diagnose"
	"limbgauge/analyze/health"
)

func itoa(n int) string { return strconv.Itoa(n) }

const lostMethod = "samples numbered by the stand and not received, or gaps in time where the log has no numbers; a count"

// lostSamples reports the share of samples that should be there and are not.
func (c *subject) lostSamples() health.Measure {
	lost := c.s.Losses.Lost
	if lost == 0 {
		lost = gaps(c.s.Time, c.dt)
	}
	n := c.s.Len()
	return health.Of("lost_samples", health.NoPath, float64(lost)/float64(lost+n), 0, lostMethod)
}

// gaps counts samples missing from an even grid of spacing dt.
func gaps(t []float64, dt float64) int {
	lost := 0
	for i := 1; i < len(t); i++ {
		if d := t[i] - t[i-1]; d > 1.6*dt {
			lost += int(math.Round(d/dt)) - 1
		}
	}
	return lost
}

// Thresholds of sensor faults [common practice, starting values].
const (
	// frozenS is how long an angle may stay at one value while it is told to travel.
	frozenS = 0.8
	// frozenDeg is how far the command must go meanwhile.
	frozenDeg = 12.0
	// spikeFactor: no joint turns faster than its servo without load; this many times is no motion.
	spikeFactor = 4.0
	// spikesLeast is how many spikes make a fault.
	spikesLeast = 3
	// noiseDeg is the sample-to-sample noise of an angle that no working sensor shows.
	noiseDeg = 0.4
)

// sensorFaults looks for readings no joint can make, before anything is concluded from them.
func (c *subject) sensorFaults() []diagnose.SensorFault {
	var out []diagnose.SensorFault
	angles := []struct {
		name string
		col  []float64
		gear float64
	}{{"joint angle", c.s.Angle, 1}, {"motor angle", c.s.Motor, c.j.Ratio()}}
	fastest := c.noLoadSpeed()
	for _, a := range angles {
		if a.col == nil {
			continue
		}
		if t, d, ok := c.frozen(a.col); ok {
			out = append(out, diagnose.SensorFault{Sensor: a.name,
				Text: fmt.Sprintf("stays at one value for %.1f s from %.2f s while the command travels %.0f deg", d, t, c.travel(t, d))})
			continue
		}
		if n, t := c.spikes(a.col, fastest*a.gear); n >= spikesLeast {
			out = append(out, diagnose.SensorFault{Sensor: a.name,
				Text: fmt.Sprintf("%d readings jump away and back faster than the servo can turn, the first at %.2f s", n, t)})
		}
		if sd := c.restNoise(a.col); sd > noiseDeg*a.gear {
			out = append(out, diagnose.SensorFault{Sensor: a.name,
				Text: fmt.Sprintf("scatters by %.2f deg from reading to reading at rest", sd)})
		}
	}
	return out
}

// noLoadSpeed returns the greatest rated speed, deg/s at the joint; 600 where none is given.
func (c *subject) noLoadSpeed() float64 {
	v := 0.0
	for _, r := range c.j.Servo.Rated {
		v = math.Max(v, r.NoLoadDegPerS)
	}
	if v == 0 {
		v = 600
	}
	return v / c.j.Ratio()
}

func (c *subject) travel(t, d float64) float64 {
	i, k := c.index(t), min(c.index(t+d), c.s.Len()-1)
	lo, hi := math.Inf(1), math.Inf(-1)
	for ; i <= k; i++ {
		if v := c.s.Command[i]; !math.IsNaN(v) {
			lo, hi = math.Min(lo, v), math.Max(hi, v)
		}
	}
	return hi - lo
}

// frozen finds the longest stretch of one unchanging value in which the command travels far. A
// joint that is blocked still shows the noise of its sensor; the stretch must be without any.
func (c *subject) frozen(col []float64) (at, dur float64, ok bool) {
	start := 0
	for i := 1; i <= len(col); i++ {
		if i < len(col) && col[i] == col[start] {
			continue
		}
		d := c.s.Time[i-1] - c.s.Time[start]
		if d > frozenS && d > dur && c.travel(c.s.Time[start], d) > frozenDeg {
			at, dur, ok = c.s.Time[start], d, true
		}
		start = i
	}
	return at, dur, ok
}

// spikes counts excursions of one to three samples that no servo could drive.
func (c *subject) spikes(col []float64, fastest float64) (n int, first float64) {
	for i := 1; i+4 < len(col); i++ {
		least := math.Max(3, spikeFactor*fastest*(c.s.Time[i]-c.s.Time[i-1]))
		if !(math.Abs(col[i]-col[i-1]) >= least) { // nor is a missing reading a spike
			continue
		}
		for k := 1; k <= 3; k++ {
			if math.Abs(col[i+k]-col[i-1]) < least/3 {
				if n == 0 {
					first = c.s.Time[i]
				}
				n++
				i += k
				break
			}
		}
	}
	return n, first
}

// restNoise is the standard deviation of single readings at rest. It comes from the median of second
// differences, in which creep and the swing of a joint all but cancel: readings that scatter have
// 1, -2, 1 times independent noise in them, so √6 of its deviation.
func (c *subject) restNoise(col []float64) float64 {
	var d []float64
	for _, p := range c.pieces {
		if p.DwellS < 0.4 {
			continue
		}
		for i := p.Dwell[0] + (p.Dwell[1]-p.Dwell[0])/2 + 1; i+1 < p.Dwell[1]; i++ {
			d = append(d, math.Abs(col[i+1]-2*col[i]+col[i-1]))
		}
	}
	if len(d) < 100 {
		return 0
	}
	slices.Sort(d)
	return 1.4826 * d[len(d)/2] / math.Sqrt(6)
}

// limits judges the measures against the joint's limits. What the builder accepts of a joint is
// applied where the joint shows it best: to the parts of the joint where a motor-side angle tells
// them apart, else to the whole; the whole alone counts for errors of position. Friction is judged
// without the servo's own.
func (c *subject) limits(ms []health.Measure) []health.Measure {
	parts := []health.Path{health.Total}
	if c.s.Motor != nil {
		parts = []health.Path{health.Servo, health.Transmission}
	}
	where := map[string][]health.Path{
		"play": parts, "compliance": parts, "creep": parts, "offset_step": parts,
		"reversal_error": {health.Total}, "repeatability": {health.Total}, "accuracy": {health.Total},
		"friction": {health.Transmission},
	}
	for i, m := range ms {
		limit, ok := c.j.Limits[m.Name]
		paths, only := where[m.Name]
		if ok && (!only || slices.Contains(paths, m.Path)) {
			ms[i] = health.Judge(m, limit)
		}
	}
	return ms
}
