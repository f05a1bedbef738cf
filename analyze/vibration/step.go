package vibration

import (
	"fmt"
	"math"

	"limbgauge/analyze/stats"
)

// StepOptions says how a step is judged.
type StepOptions struct {
	BandDeg float64 // half width of the band the joint must stay in to have settled
	Quantum float64 // step of the angle reading, deg
	ClockSD float64 // standard deviation of the time of a sample, s
}

// Step is the response to one jump of the command.
type Step struct {
	FromDeg, ToDeg float64        // rest before and after
	DeadTime       stats.Estimate // s, command to first motion (2 % of the way, at least 2 quanta)
	RiseTime       stats.Estimate // s, 10 % to 90 % of the way
	Overshoot      stats.Estimate // deg beyond the rest after; 0 when none was seen
	SettleTime     stats.Estimate // s, command to the last time outside the band
	PeakSpeed      stats.Estimate // deg/s, greatest slope of a line over SpeedWindow
}

// SpeedWindow is how long a stretch the peak speed is taken over, s: long enough that a 12 bit angle
// at 250 samples/s gives a few deg/s, short beside the travel.
const SpeedWindow = 0.02

// restShare is the last part of the window that counts as the rest after the step.
const restShare = 0.2

// MeasureStep measures the response to a command that jumped at time t0. time and angle cover some
// rest before and the whole settling after. Uncertainties of times come from the spacing of the
// samples (even over one spacing, u = Δt/√12 for each end) and from the reading's quantum over the
// speed at the crossing. It is an error when the joint did not move by five quanta.
func MeasureStep(time, angle []float64, t0 float64, o StepOptions) (Step, error) {
	if len(time) != len(angle) {
		panic("vibration: time and angle differ in length")
	}
	start := 0
	for start < len(time) && time[start] < t0 {
		start++
	}
	n := len(time)
	if start < 2 || n-start < 10 {
		return Step{}, fmt.Errorf("step at %.3f s: %d samples before and %d after it: %w", t0, start, n-start, stats.ErrTooFew)
	}
	tail := max(3, int(restShare*float64(n-start)))
	y0, y1 := stats.Mean(angle[:start]), stats.Mean(angle[n-tail:])
	s := Step{FromDeg: y0, ToDeg: y1}
	way := y1 - y0
	if math.Abs(way) < 5*o.Quantum || way == 0 {
		return s, fmt.Errorf("step at %.3f s: the joint moved %.2f deg, less than can be timed", t0, way)
	}
	share := make([]float64, n-start+1)
	for i := range share {
		share[i] = (angle[start-1+i] - y0) / way
	}
	ts := time[start-1:]
	r := reading{dt: (time[n-1] - time[start-1]) / float64(n-start), clock: o.ClockSD, noise: math.Hypot(scatter(angle[n-tail:]), o.Quantum/math.Sqrt(12)), sway: stats.SD(angle[n-tail:])}
	first := math.Max(firstShare, math.Max(2*o.Quantum, outOfRest*stats.SD(angle[:start]))/math.Abs(way))
	s.DeadTime = r.crossing(ts, share, first, math.Abs(way)).minus(t0, 0)
	t10, t90 := r.crossing(ts, share, 0.1, math.Abs(way)), r.crossing(ts, share, 0.9, math.Abs(way))
	s.RiseTime = t90.minus(t10.Value, t10.U)
	if late := slowStart * (first - firstShare) * s.RiseTime.Value / 0.8; late > 0 {
		s.DeadTime.U = math.Hypot(s.DeadTime.U, late/math.Sqrt(3)) // the motion began unseen
	}
	s.Overshoot = r.overshoot(ts, share, math.Abs(way))
	s.SettleTime = r.settle(time[start:], angle[start:], t0, y1, o)
	s.PeakSpeed = r.peakSpeed(time[start:], angle[start:])
	return s, nil
}

// outOfRest is how many deviations of the readings before the step the joint must move to have
// started.
const outOfRest = 5.0

const (
	// firstShare of the way is the first motion.
	firstShare = 0.02
	// slowStart is how many times slower than between 10 % and 90 % of its way a joint begins it, at the
	// most [common practice; it has to gather speed].
	slowStart = 2.5
)

// scatter is the deviation of single readings, from their second differences, in which what is left of
// a swing all but cancels.
func scatter(x []float64) float64 {
	var sum float64
	for i := 1; i+1 < len(x); i++ {
		d := x[i+1] - 2*x[i] + x[i-1]
		sum += d * d
	}
	return math.Sqrt(sum / 6 / float64(max(1, len(x)-2)))
}

// reading is what the samples of one step are worth.
type reading struct {
	dt    float64 // spacing, s
	clock float64 // standard deviation of a sample's time, s
	noise float64 // of one angle, deg, quantum included
	sway  float64 // deviation about the rest, what is left of the swing included, deg
}

type instant struct{ stats.Estimate }

// minus returns the time since t, whose own uncertainty is u.
func (e instant) minus(t, u float64) stats.Estimate {
	e.Value -= t
	e.U = math.Hypot(e.U, u)
	return e.Estimate
}

// crossing returns when the share of a way, deg, first reaches a level, on the line between two
// samples. What noise makes of the time is noise over speed, and no more than the samples' spacing
// where the joint jumps from one to the next.
func (r reading) crossing(t, share []float64, level, way float64) instant {
	for i := 1; i < len(share); i++ {
		if share[i] >= level {
			at, u := t[i], math.Hypot(r.dt/math.Sqrt(12), r.clock)
			if rise := share[i] - share[i-1]; rise > 0 {
				at = t[i-1] + (t[i]-t[i-1])*math.Max(0, (level-share[i-1])/rise)
				u = math.Hypot(u, r.noise*(t[i]-t[i-1])/(rise*way))
			}
			return instant{stats.Estimate{Value: at, U: u, DF: math.Inf(1)}}
		}
	}
	return instant{stats.Unseen("the joint never came to %.0f %% of the way", 100*level)}
}

// near is the share of the overshoot above which samples are near its top: there a swing is a parabola
// but for a thousandth.
const near = 0.8

// overshoot is how far a parabola through the samples near the highest one goes beyond the rest. The
// highest sample itself is raised by noise and lowered by the spacing.
func (r reading) overshoot(t, share []float64, way float64) stats.Estimate {
	top := 0
	for i, v := range share {
		if v > share[top] {
			top = i
		}
	}
	over := (share[top] - 1) * way
	if over < 3*r.noise {
		// What stands out no more than the noise of many samples is none, to as much.
		return stats.Estimate{Value: math.Max(0, over-2*r.noise), U: r.noise, DF: math.Inf(1)}
	}
	lo, hi := top, top
	for lo > 1 && (share[lo-1]-1)*way > near*over {
		lo--
	}
	for hi+2 < len(share) && (share[hi+1]-1)*way > near*over {
		hi++
	}
	lo, hi = min(lo, top-1), max(hi, top+1)
	if lo < 0 || hi >= len(share) || hi-lo < 2 {
		return stats.Estimate{Value: over, U: r.noise, DF: math.Inf(1)}
	}
	var one, x, xx, y []float64
	for i := lo; i <= hi; i++ {
		s := (t[i] - t[top]) / r.dt
		one, x, xx, y = append(one, 1), append(x, s), append(xx, s*s), append(y, (share[i]-1)*way)
	}
	fit, err := stats.OLS([][]float64{one, x, xx}, y)
	if err != nil || fit.Coef[2] >= 0 {
		return stats.Estimate{Value: over, U: r.noise, DF: math.Inf(1)}
	}
	b, c := fit.Coef[1], fit.Coef[2]
	value := fit.Coef[0] - b*b/(4*c)
	// A swing is no parabola: where the parabola falls by d over the stretch, a cosine of that height A
	// misses its top by d²/(70·A) (derived), one that dies away by some times as much,
	// and the more the further the samples lie apart.
	fall := -c * math.Pow(float64(hi-lo)/2, 2)
	bend := fall * fall / (15 * over) * math.Max(1, fall/((1-near)*over))
	if hi-lo == 2 { // three samples bear any parabola: what it adds is as doubtful
		bend = math.Hypot(bend, (value-over)/2)
	}
	u := math.Sqrt(r.noise*r.noise*(9.0/4/float64(hi-lo+1)+0.05) + bend*bend)
	return stats.Estimate{Value: math.Max(0, value), U: u, DF: math.Inf(1)}
}

const (
	// bandNoise is the least width of a band in deviations of the noise, edgeNoise how far noise carries
	// a sample over its edge.
	bandNoise = 4.0
	edgeNoise = 2.5
)

// settle is the last time outside the band. Noise may carry a sample over its edge or back, so the
// times for a band narrower and wider by it bound the answer.
func (r reading) settle(t, angle []float64, t0, rest float64, o StepOptions) stats.Estimate {
	if o.BandDeg <= 0 {
		return stats.Unseen("no settling band is given")
	}
	lastOut := func(band float64) int {
		for i := len(angle) - 1; i >= 0; i-- {
			if math.Abs(angle[i]-rest) > band {
				return i
			}
		}
		return -1
	}
	last := lastOut(o.BandDeg)
	if last >= len(t)-1-int(restShare/2*float64(len(t))) {
		return stats.Unseen("the joint had not settled when the dwell ended")
	}
	if last < 0 {
		return stats.Unseen("the step is smaller than the settling band")
	}
	if o.BandDeg < bandNoise*r.noise {
		return stats.Unseen("the readings scatter by %.2f deg, too much to tell when the joint stays within %.2f deg", r.noise, o.BandDeg)
	}
	edge := edgeNoise * math.Max(r.noise, r.sway)
	early, late := max(0, lastOut(o.BandDeg+edge)), lastOut(math.Max(o.BandDeg-edge, o.BandDeg/4))
	// The true time lies between this sample and the next.
	u := math.Hypot(r.dt/math.Sqrt(12), r.clock)
	return stats.Estimate{Value: t[last] + r.dt/2 - t0, U: math.Hypot(u, (t[late]-t[early])/math.Sqrt(12)), DF: math.Inf(1)}
}

// peakSpeed is the steepest line over SpeedWindow, or over three samples where they are further apart.
// A line over a stretch is less steep than the steepest point in it, by a third of what it loses when
// the stretch is doubled (the loss goes with the square of the length, derived): so much is added, and
// is the doubt of it.
func (r reading) peakSpeed(t, angle []float64) stats.Estimate {
	window := math.Max(SpeedWindow, 2.2*r.dt)
	one, span, n := steepest(t, angle, window)
	if n == 0 {
		return stats.Unseen("too few samples for a speed")
	}
	two, _, _ := steepest(t, angle, 2*window)
	loss := math.Max(0, one-two) / 3
	// The slope of a line through n readings over a span, and the luck of the steepest of some such.
	u := r.noise * math.Sqrt(12/float64(n)) / span
	luck := 0.5 * u
	return stats.Estimate{Value: one + loss - luck, U: math.Sqrt(u*u + loss*loss + luck*luck + math.Pow(one*math.Sqrt2*r.clock/span, 2)), DF: math.Inf(1)}
}

// steepest returns the greatest size of slope of lines over a window of time, the span of that line and
// the number of its samples.
func steepest(t, angle []float64, window float64) (speed, span float64, n int) {
	lo := 0
	// Running sums about the first sample tell roughly how steep a line is; only one that may be the
	// steepest is fitted with all digits.
	var st, sy, stt, sty float64
	count := func(i int, k float64) {
		x, y := t[i]-t[0], angle[i]-angle[0]
		st, sy, stt, sty = st+k*x, sy+k*y, stt+k*x*x, sty+k*x*y
	}
	for hi := range t {
		count(hi, 1)
		for t[hi]-t[lo] > window+1e-9 {
			count(lo, -1)
			lo++
		}
		if hi-lo < 2 || t[hi]-t[lo] < window/2 {
			continue
		}
		m := float64(hi - lo + 1)
		if rough := math.Abs((m*sty - st*sy) / (m*stt - st*st)); rough < speed*(1-1e-6) {
			continue
		}
		l, err := stats.FitLine(t[lo:hi+1], angle[lo:hi+1])
		if err != nil {
			continue
		}
		if v := math.Abs(l.Slope.Value); n == 0 || v > speed {
			speed, span, n = v, t[hi]-t[lo], hi-lo+1
		}
	}
	return speed, span, n
}
