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
	dt := (time[n-1] - time[start-1]) / float64(n-start)
	first := math.Max(0.02, 2*o.Quantum/math.Abs(way))
	s.DeadTime = crossing(ts, share, first, dt).minus(t0, 0)
	t10, t90 := crossing(ts, share, 0.1, dt), crossing(ts, share, 0.9, dt)
	s.RiseTime = t90.minus(t10.Value, t10.U)
	s.Overshoot = overshoot(share, math.Abs(way), stats.SD(angle[n-tail:]), o)
	s.SettleTime = settle(time[start:], angle[start:], t0, y1, dt, o)
	s.PeakSpeed = peakSpeed(time[start:], angle[start:], o)
	return s, nil
}

type instant struct{ stats.Estimate }

// minus returns the time since t, whose own uncertainty is u.
func (e instant) minus(t, u float64) stats.Estimate {
	e.Value -= t
	e.U = math.Hypot(e.U, u)
	return e.Estimate
}

// crossing returns when the share first reaches a level, on the line between two samples.
func crossing(t, share []float64, level, dt float64) instant {
	for i := 1; i < len(share); i++ {
		if share[i] >= level {
			at := t[i]
			if share[i] > share[i-1] {
				at = t[i-1] + (t[i]-t[i-1])*math.Max(0, (level-share[i-1])/(share[i]-share[i-1]))
			}
			return instant{stats.Estimate{Value: at, U: dt / math.Sqrt(12), DF: math.Inf(1)}}
		}
	}
	return instant{stats.Unseen("the joint never came to %.0f %% of the way", 100*level)}
}

func overshoot(share []float64, way, noise float64, o StepOptions) stats.Estimate {
	peak := math.Inf(-1)
	for _, v := range share {
		peak = math.Max(peak, v)
	}
	return stats.Estimate{Value: math.Max(0, (peak-1)*way), U: math.Hypot(noise, o.Quantum/math.Sqrt(12)), DF: math.Inf(1)}
}

func settle(t, angle []float64, t0, rest, dt float64, o StepOptions) stats.Estimate {
	if o.BandDeg <= 0 {
		return stats.Unseen("no settling band is given")
	}
	last := -1
	for i, a := range angle {
		if math.Abs(a-rest) > o.BandDeg {
			last = i
		}
	}
	if last >= len(t)-1-int(restShare/2*float64(len(t))) {
		return stats.Unseen("the joint had not settled when the dwell ended")
	}
	if last < 0 {
		return stats.Unseen("the step is smaller than the settling band")
	}
	// The true time lies between this sample and the next.
	return stats.Estimate{Value: t[last] + dt/2 - t0, U: dt / math.Sqrt(12), DF: math.Inf(1)}
}

func peakSpeed(t, angle []float64, o StepOptions) stats.Estimate {
	best := stats.Unseen("too few samples for a speed")
	lo := 0
	for hi := range t {
		for t[hi]-t[lo] > SpeedWindow+1e-9 {
			lo++
		}
		if hi-lo < 2 {
			continue
		}
		l, err := stats.FitLine(t[lo:hi+1], angle[lo:hi+1])
		if err != nil {
			continue
		}
		if v := math.Abs(l.Slope.Value); !best.Seen() || v > best.Value {
			span := t[hi] - t[lo]
			u := o.Quantum * math.Sqrt(1.0/6) / span * 1.5
			best = stats.Estimate{Value: v, U: math.Max(u, 0), DF: math.Inf(1)}
		}
	}
	return best
}

// PooledStep is the mean over several steps.
type PooledStep struct {
	N                                                    int
	DeadTime, RiseTime, Overshoot, SettleTime, PeakSpeed stats.Estimate
}

// enough is the number of steps from which their scatter is a standard deviation worth the name.
const enough = 4

// PoolSteps averages each figure over the steps that show it; a figure no step shows is unseen for
// the first step's reason. Steps up and down differ by more than noise, so the uncertainty is that
// of their scatter: s/√n from four steps on; with two or three the mean may lie anywhere between
// the least and the greatest (even over the range, JCGM 100:2008, 4.3.7).
func PoolSteps(steps []Step) PooledStep {
	pool := func(of func(Step) stats.Estimate) stats.Estimate {
		all := make([]stats.Estimate, len(steps))
		for i, s := range steps {
			all[i] = of(s)
		}
		return pooled(all)
	}
	return PooledStep{N: len(steps),
		DeadTime:   pool(func(s Step) stats.Estimate { return s.DeadTime }),
		RiseTime:   pool(func(s Step) stats.Estimate { return s.RiseTime }),
		Overshoot:  pool(func(s Step) stats.Estimate { return s.Overshoot }),
		SettleTime: pool(func(s Step) stats.Estimate { return s.SettleTime }),
		PeakSpeed:  pool(func(s Step) stats.Estimate { return s.PeakSpeed })}
}

func pooled(all []stats.Estimate) stats.Estimate {
	var x []float64
	var one stats.Estimate
	lo, hi, own := math.Inf(1), math.Inf(-1), 0.0
	for _, e := range all {
		if e.Seen() {
			x, one = append(x, e.Value), e
			lo, hi = math.Min(lo, e.Value), math.Max(hi, e.Value)
			own += e.U * e.U
		}
	}
	n := float64(len(x))
	switch {
	case len(all) == 0:
		return stats.Unseen("no step was measured")
	case n == 0:
		return all[0]
	case n == 1:
		return one
	}
	m := stats.MeanOf(x)
	if len(x) < enough {
		m.U, m.DF = (hi-lo)/math.Sqrt(12), math.Inf(1)
	}
	// What each step cannot tell of itself (spacing, quantum) stays, averaged.
	if own = math.Sqrt(own) / n; own > m.U {
		m.U, m.DF = own, math.Inf(1)
	}
	return m
}
