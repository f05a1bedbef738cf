package analyze

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"limbgauge/analyze/filter"
	"limbgauge/analyze/health"
	"limbgauge/analyze/segment"
	"limbgauge/analyze/stats"
	"limbgauge/analyze/vibration"
)

const (
	bandwidthMethod = "frequency response from command to joint (Welch, H1, Hann, half overlap) where the command shakes; -3 dB of its gain at the lowest frequencies"
	resonanceMethod = "greatest gain of the frequency response from motor side to joint where the command shakes"
	noShake         = "no part of the run shakes the joint over all frequencies; the routine shake does"
	// shakeSegmentS is the length of one segment: a quarter of a hertz between frequencies.
	shakeSegmentS = 4.0
	// shakeRateHz bounds the rate the response is computed at: a hobby servo's joint ends far below.
	shakeRateHz = 250.0
	// sameHeight is how far the heights of two jumps may differ in one shake.
	sameHeight = 0.2
	// halfPower is -3 dB.
	halfPower = 1 / math.Sqrt2
	// unlike is how far the gains at two heights differ where they are not the same response.
	unlike = 0.1
)

// shaken is one stretch of shaking of one height.
type shaken struct {
	heightDeg float64
	joint     vibration.Response
	motor     *vibration.Response // from motor side to joint; nil without
}

// shakeMeasures reports how far the joint follows its command, by frequency, where a part of the run
// excites it.
func (c *subject) shakeMeasures() (ms []health.Measure, curves []health.Curve) {
	all, why := c.shaken()
	unseen := func(why string) {
		ms = append(ms, health.Unseen("bandwidth", health.Total, bandwidthMethod, why))
		if c.s.Motor != nil {
			ms = append(ms, health.Unseen("resonance", health.Transmission, resonanceMethod, why))
		}
	}
	if len(all) == 0 {
		unseen(why)
		return ms, nil
	}
	// The greatest height is least a matter of dead band and play.
	big := all[0]
	for _, s := range all {
		if s.heightDeg > big.heightDeg {
			big = s
		}
	}
	fall := big.joint.Falls(halfPower)
	m := fromEstimate("bandwidth", health.Total, fall.Hz, bandwidthMethod)
	if fall.Least && fall.Hz.Seen() {
		m = health.Bound("bandwidth", health.Total, health.BoundLow, fall.Hz.Value, math.NaN(), bandwidthMethod,
			"the gain has not fallen by 3 dB where joint and command still go together")
	}
	if m.Status == health.Measured {
		m.Reason = heights(all, big)
	}
	ms = append(ms, m)
	if big.motor != nil {
		ms = append(ms, fromEstimate("resonance", health.Transmission, big.motor.Resonance(), resonanceMethod))
	}
	return ms, responseCurves(all, big)
}

// heights says whether the response depends on how far the command jumps, as dead zones make it.
func heights(all []shaken, big shaken) string {
	for _, s := range all {
		if s.heightDeg > big.heightDeg*(1-sameHeight) {
			continue
		}
		f, g := s.joint.Falls(halfPower), big.joint.Falls(halfPower)
		if g.Low > 0 && math.Abs(f.Low/g.Low-1) > unlike {
			return fmt.Sprintf("for jumps of %.1f deg; jumps of %.1f deg are answered by %.2f of that gain, as a dead zone or friction does", big.heightDeg, s.heightDeg, f.Low/g.Low)
		}
	}
	return fmt.Sprintf("for jumps of %.1f deg", big.heightDeg)
}

// shaken finds the stretches of shaking and computes their responses.
func (c *subject) shaken() (out []shaken, why string) {
	why = noShake
	for _, sp := range segment.Shakes(c.s.Time, c.s.Command) {
		for _, part := range c.likeHeights(sp) {
			s, err := c.respond(part.from, part.to)
			if err != nil {
				why = err.Error()
				continue
			}
			s.heightDeg = part.height
			out = append(out, s)
		}
	}
	return out, why
}

type part struct {
	from, to int
	height   float64
}

// likeHeights cuts a shake where the height of its jumps changes.
func (c *subject) likeHeights(span [2]int) (out []part) {
	for i := span[0]; i < span[1]; i++ {
		h := math.Abs(c.s.Command[i] - c.s.Command[i-1])
		if !(h > 0) {
			continue
		}
		if n := len(out); n > 0 && math.Abs(h-out[n-1].height) <= sameHeight*out[n-1].height {
			out[n-1].to = i
		} else {
			out = append(out, part{i, i, h})
		}
	}
	return slices.DeleteFunc(out, func(p part) bool { return c.s.Time[p.to]-c.s.Time[p.from] < 2*shakeSegmentS })
}

// respond computes the frequency responses between two samples.
func (c *subject) respond(from, to int) (shaken, error) {
	t := c.s.Time[from:to]
	if c.jitter > c.dt {
		return shaken{}, fmt.Errorf("the times of the samples scatter by more than their spacing")
	}
	rate := math.Min(1/c.dt, shakeRateHz)
	// Where the rate is lowered, blocks are averaged first, lest high frequencies fold.
	k := max(1, int(math.Round(1/c.dt/rate)))
	even := func(col []float64) ([]float64, float64) {
		// All columns begin and end with the same sample.
		y, gaps := filter.Even(t, ends(col[from:to]), 1/c.dt)
		return stats.Blocks(y, k), gaps
	}
	x, _ := even(c.s.Command)
	y, gaps := even(c.s.Angle)
	if gaps > gapsMost {
		return shaken{}, fmt.Errorf("%.0f %% of the joint angle is missing where the command shakes", 100*gaps)
	}
	rate = 1 / c.dt / float64(k)
	seg := int(shakeSegmentS * rate)
	o := vibration.WelchOptions{RateHz: rate, Segment: seg, Overlap: seg / 2, Window: vibration.Hann}
	r, err := vibration.H1(x, y, o)
	if err != nil {
		return shaken{}, err
	}
	s := shaken{joint: r}
	if c.s.Motor != nil {
		m, gaps := even(scaled(c.s.Motor, 1/c.j.Ratio()))
		if r, err := vibration.H1(m, y, o); err == nil && gaps <= gapsMost {
			s.motor = &r
		}
	}
	return s, nil
}

// gapsMost is the share of bridged samples above which a response says nothing.
const gapsMost = 0.1

// ends gives a column values at its first and last sample, so that it spans what the others span.
func ends(x []float64) []float64 {
	if len(x) == 0 || !math.IsNaN(x[0]) && !math.IsNaN(x[len(x)-1]) {
		return x
	}
	out := slices.Clone(x)
	for i := range out {
		if !math.IsNaN(out[i]) {
			out[0] = out[i]
			break
		}
	}
	for i := len(out) - 1; i >= 0; i-- {
		if !math.IsNaN(out[i]) {
			out[len(out)-1] = out[i]
			break
		}
	}
	return out
}

// responseCurves draws gain, coherence and phase against frequency.
func responseCurves(all []shaken, big shaken) []health.Curve {
	gain := health.Curve{ID: "response-total", Title: "Frequency response, command to joint", XLabel: "frequency in Hz", YLabel: "gain, coherence"}
	phase := health.Curve{ID: "response-phase", Title: "Phase, command to joint", XLabel: "frequency in Hz", YLabel: "phase in deg"}
	for _, s := range all {
		ln := health.Line{Name: fmt.Sprintf("gain, jumps of %.0f deg", s.heightDeg), Role: health.RoleValue}
		for i, f := range s.joint.Hz {
			if s.joint.Used(i) {
				ln.X, ln.Y = append(ln.X, f), append(ln.Y, cmplx.Abs(s.joint.Gain[i]))
			}
		}
		if len(ln.X) > 1 {
			gain.Lines = append(gain.Lines, ln)
		}
	}
	co := health.Line{Name: "coherence", Role: health.RoleCommand}
	ph := health.Line{Name: "phase", Role: health.RoleValue}
	turn, last := 0.0, 0.0
	for i, f := range big.joint.Hz {
		if i == 0 || f > 30 {
			continue
		}
		co.X, co.Y = append(co.X, f), append(co.Y, big.joint.Coherence[i])
		if big.joint.Used(i) {
			p := cmplx.Phase(big.joint.Gain[i]) / rad
			for p+turn-last > 180 {
				turn -= 360
			}
			for p+turn-last < -180 {
				turn += 360
			}
			last = p + turn
			ph.X, ph.Y = append(ph.X, f), append(ph.Y, last)
		}
	}
	gain.Lines, phase.Lines = append(gain.Lines, co), append(phase.Lines, ph)
	if big.motor != nil {
		ln := health.Line{Name: "gain, motor side to joint", Role: health.RoleModel}
		for i, f := range big.motor.Hz {
			if big.motor.Used(i) {
				ln.X, ln.Y = append(ln.X, f), append(ln.Y, cmplx.Abs(big.motor.Gain[i]))
			}
		}
		if len(ln.X) > 1 {
			gain.Lines = append(gain.Lines, ln)
		}
	}
	f := big.joint.Falls(halfPower)
	gain.Alt = "gain from command to joint by frequency; it falls by 3 dB at no frequency that can be told"
	if f.Hz.Seen() && !f.Least {
		gain.Alt = fmt.Sprintf("gain from command to joint by frequency; it falls by 3 dB at %.1f Hz", f.Hz.Value)
	}
	phase.Alt = fmt.Sprintf("phase from command to joint by frequency, %.0f deg at the end of what can be told", last)
	if len(ph.X) < 2 {
		return []health.Curve{gain}
	}
	return []health.Curve{gain, phase}
}
