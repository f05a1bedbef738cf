package vibration

import (
	"fmt"
	"math"

	"limbgauge/analyze/stats"
)

// Mode is one decaying oscillation.
type Mode struct {
	DampedHz  float64 // f_d, as it is seen
	NaturalHz float64 // f_n = f_d/√(1 - ζ²)
	Damping   float64 // ζ, share of critical
	Amplitude float64 // of the real part at the first sample
}

// Decrement returns the logarithmic decrement ln(x0/xn)/n of amplitudes n cycles apart.
func Decrement(x0, xn, n float64) float64 { return math.Log(x0/xn) / n }

// DampingOf returns the damping ratio of a logarithmic decrement: δ/√(4π² + δ²).
func DampingOf(decrement float64) float64 {
	return decrement / math.Sqrt(4*math.Pi*math.Pi+decrement*decrement)
}

// NaturalOf returns the natural frequency of a damped one: f_d/√(1 - ζ²).
func NaturalOf(dampedHz, damping float64) float64 { return dampedHz / math.Sqrt(1-damping*damping) }

// Ring is the ringing after one step or tap.
type Ring struct {
	DampedHz  stats.Estimate
	NaturalHz stats.Estimate
	Damping   stats.Estimate
	Peaks     int // half cycles above three quanta
	// Linear is true where the peaks fall in a straight line rather than by a constant factor: dry
	// friction, not viscous damping, and Damping then holds for this amplitude only.
	Linear bool
}

// RingOptions says how a ring-down is judged.
type RingOptions struct {
	Quantum float64 // step of the angle reading, deg
	NoiseSD float64 // standard deviation of the reading at rest, deg
}

const (
	minPeaks   = 3
	minQuanta  = 3
	dampingMax = 0.5
)

// RingDown measures the ringing of evenly spaced samples, dt s apart, about the rest they end at. A
// matrix pencil, its order told by the gap of the singular values, gives the start; frequency and
// damping are those of the decaying sine that fits the samples best in least squares, its rest fitted
// too. Their uncertainty is that of the fit, with what neighbouring residuals have in common, and of
// the model: pencil, fit and peaks would agree if the motion were one decaying sine, so what they
// differ by (even over their range, JCGM 100:2008, 4.3.7) is added.
//
// It cannot be seen when fewer than three peaks stand above three quanta (or three noise deviations),
// when damping exceeds about one half, or when the ringing is above a quarter of the sample rate
// (common practice).
func RingDown(y []float64, dt float64, o RingOptions) Ring {
	n := len(y)
	unseen := func(peaks int, why string) Ring {
		e := stats.Unseen("%s", why)
		return Ring{DampedHz: e, NaturalHz: e, Damping: e, Peaks: peaks}
	}
	if n < 20 {
		return unseen(0, "too few samples after the step")
	}
	rest := stats.Mean(y[n-n/5:])
	z := make([]float64, n)
	for i, v := range y {
		z[i] = v - rest
	}
	floor := minQuanta * math.Max(o.Quantum, o.NoiseSD)
	at, height := peaks(z, dt, floor)
	if len(at) < minPeaks {
		return unseen(len(at), fmt.Sprintf("%d peaks stand above %.2f deg, 3 are needed", len(at), floor))
	}
	if late := math.Sqrt2 * stats.SD(z[n-n/5:]); late-math.Sqrt2*o.NoiseSD > diedAway*height[0] {
		return unseen(len(at), "the swing has not died away when the dwell ends: its rest is not known")
	}
	// Beyond the last peak that stands out there is nothing but reading noise.
	end := min(n, int(math.Ceil((at[len(at)-1]+0.5*(at[len(at)-1]-at[len(at)-2]))/dt))+1)
	z = z[int(at[0]/dt):end]
	// Means of blocks keep the poles as they are, and sixteen to a cycle are enough to see them.
	block := max(1, int((at[len(at)-1]-at[0])/float64(len(at)-1)*2/perCycle/dt))
	z, step := stats.Blocks(z, block), dt*float64(block)
	m, err := strongest(z, step)
	if err != nil {
		return unseen(len(at), "the motion after the step is no oscillation")
	}
	if m.DampedHz > 0.25/dt {
		return unseen(len(at), fmt.Sprintf("it rings at %.0f Hz, above a quarter of the sample rate", m.DampedHz))
	}
	r, err := fitted(z, step, m)
	switch {
	case err != nil:
		return unseen(len(at), "the motion after the step is no single decaying oscillation")
	case r.Damping.Value > dampingMax:
		return unseen(len(at), fmt.Sprintf("damping %.2f is too strong to ring", r.Damping.Value))
	case r.Damping.Value < 0:
		return unseen(len(at), "the oscillation does not decay")
	}
	r.Peaks = len(at)
	return judged(r, m, at, height)
}

// diedAway is the share of the first peak that may be left at the end: with more, the mean of the end is
// no rest, and the swing may never stop.
const diedAway = 0.4

// perCycle is how many samples of a cycle the fit is given.
const perCycle = 16

// orderGap is how much smaller the singular values must be after one mode than after two for the
// samples to hold two: noise makes gaps too [common practice].
const orderGap = 3.0

// strongest returns the mode of the greatest amplitude, by a pencil of as many modes as the singular
// values tell of, one or two.
func strongest(z []float64, dt float64) (Mode, error) {
	p, err := newPencil(z)
	if err != nil {
		return Mode{}, err
	}
	one, _ := p.modes(z, dt, 1)
	two, _ := p.modes(z, dt, 2)
	s := p.values
	if len(two) > 0 && (len(one) == 0 || len(s) > 4 && s[3]*s[2] > orderGap*s[1]*s[4]) {
		one = two
	}
	if len(one) == 0 {
		return Mode{}, stats.ErrSingular
	}
	best := one[0]
	for _, m := range one {
		if m.Amplitude > best.Amplitude {
			best = m
		}
	}
	return best, nil
}

// fitted fits rest, amplitude, phase, decay and frequency of one mode to the samples.
func fitted(z []float64, dt float64, m Mode) (Ring, error) {
	w0 := 2 * math.Pi * m.DampedHz
	start := []float64{2 * math.Pi * m.NaturalHz * m.Damping, w0, 0, z[0], 0}
	fit, err := stats.FitCurve(len(z), start, func(p, r []float64) {
		for i := range r {
			t := float64(i) * dt
			s, c := math.Sincos(p[1] * t)
			r[i] = z[i] - p[2] - math.Exp(-p[0]*t)*(p[3]*c+p[4]*s)
		}
	})
	if err != nil {
		return Ring{}, err
	}
	decay, wd := fit.Coef[0], math.Abs(fit.Coef[1])
	wn := math.Hypot(decay, wd)
	// Neighbours that err alike are worth fewer readings (first-order autocorrelation).
	rho := math.Max(0, math.Min(0.95, neighbours(z, dt, fit.Coef)))
	wider := math.Sqrt((1 + rho) / (1 - rho))
	df := math.Max(1, fit.DF*(1-rho)/(1+rho))
	cov := func(i, j int) float64 { return fit.Cov[i][j] * wider * wider }
	est := func(v, dDecay, dFreq float64) stats.Estimate {
		u2 := dDecay*dDecay*cov(0, 0) + 2*dDecay*dFreq*cov(0, 1) + dFreq*dFreq*cov(1, 1)
		return stats.Estimate{Value: v, U: math.Sqrt(math.Max(0, u2)), DF: df}
	}
	return Ring{
		DampedHz:  est(wd/(2*math.Pi), 0, 1/(2*math.Pi)),
		NaturalHz: est(wn/(2*math.Pi), decay/wn/(2*math.Pi), wd/wn/(2*math.Pi)),
		Damping:   est(decay/wn, wd*wd/(wn*wn*wn), -decay*wd/(wn*wn*wn)),
	}, nil
}

// neighbours is the correlation of each residual with the next.
func neighbours(z []float64, dt float64, p []float64) float64 {
	var num, den, last float64
	for i, v := range z {
		t := float64(i) * dt
		s, c := math.Sincos(p[1] * t)
		e := v - p[2] - math.Exp(-p[0]*t)*(p[3]*c+p[4]*s)
		den += e * e
		if i > 0 {
			num += e * last
		}
		last = e
	}
	if den == 0 {
		return 0
	}
	return num / den
}

// judged adds what the model cannot tell, and says whether the decay is that of dry friction.
func judged(r Ring, m Mode, at, height []float64) Ring {
	k, ln := make([]float64, len(at)), make([]float64, len(at))
	for i := range at {
		k[i], ln[i] = float64(i), math.Log(height[i])
	}
	times, err1 := stats.FitLine(k, at)
	logs, err2 := stats.FitLine(k, ln)
	flat, err3 := stats.FitLine(k, height)
	if err1 != nil || err2 != nil || err3 != nil {
		return r
	}
	// A half cycle takes times.Slope, and loses half the decrement.
	fd, zeta := 0.5/times.Slope.Value, DampingOf(-2*logs.Slope.Value)
	uf, uz := 2*fd*times.Slope.U/times.Slope.Value, 2*2*logs.Slope.U/(2*math.Pi)
	fn := NaturalOf(fd, math.Min(math.Abs(zeta), 0.99))
	r.DampedHz = apart(r.DampedHz, m.DampedHz, beyondDoubt(r.DampedHz.Value, fd, uf))
	r.NaturalHz = apart(r.NaturalHz, m.NaturalHz, beyondDoubt(r.NaturalHz.Value, fn, uf))
	r.Damping = apart(r.Damping, m.Damping, beyondDoubt(r.Damping.Value, zeta, uz))
	var rssLog float64
	for i := range height {
		d := height[i] - math.Exp(logs.At(k[i]).Value)
		rssLog += d * d
	}
	r.Linear = len(at) >= 5 && stats.BIC(rssLog, len(at), 2)-stats.BIC(flat.RSS, len(at), 2) > 6
	// A damping that is none spreads as the peaks do about their own line.
	if u := logs.Slope.U / math.Pi; r.Linear && r.Damping.U < u {
		r.Damping.U, r.Damping.DF = u, logs.DF
	}
	return r
}

// beyondDoubt moves other towards v by what other does not know of itself.
func beyondDoubt(v, other, u float64) float64 {
	return v + math.Copysign(math.Max(0, math.Abs(other-v)-u), other-v)
}

// apart widens an estimate by what other ways to the same figure differ from it.
func apart(e stats.Estimate, others ...float64) stats.Estimate {
	lo, hi := e.Value, e.Value
	for _, v := range others {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			lo, hi = math.Min(lo, v), math.Max(hi, v)
		}
	}
	model := (hi - lo) / math.Sqrt(12)
	if u := math.Hypot(e.U, model); u > 0 {
		// Welch and Satterthwaite: what the model adds is taken as known.
		e.DF *= math.Pow(u/math.Max(e.U, 1e-300), 4)
		if math.IsNaN(e.DF) {
			e.DF = math.Inf(1)
		}
		e.U = u
	}
	return e
}

// peaks returns time and height of the turning points of z, either sign, down to the floor, by a
// parabola through three samples.
func peaks(z []float64, dt, floor float64) (at, height []float64) {
	last := 0.0
	for i := 1; i+1 < len(z); i++ {
		s := math.Copysign(1, z[i])
		a, b, c := s*z[i-1], s*z[i], s*z[i+1]
		if b < floor || b < a || b <= c || s == last {
			if s == last && b >= floor && b >= a && b > c && len(height) > 0 && b > height[len(height)-1] {
				at, height = at[:len(at)-1], height[:len(height)-1]
			} else {
				continue
			}
		}
		d := a - 2*b + c
		x := 0.0
		if d != 0 {
			x = (a - c) / (2 * d)
		}
		at = append(at, (float64(i)+x)*dt)
		height = append(height, b-(a-c)*x/4)
		last = s
	}
	return at, height
}

// PoolRings averages the ring-downs of several steps, as PoolSteps does with steps of one kind: a mode
// is the joint's own, whichever step rings it.
func PoolRings(rings []Ring) Ring {
	var fd, fn, z []stats.Estimate
	var out Ring
	for _, r := range rings {
		fd, fn, z = append(fd, r.DampedHz), append(fn, r.NaturalHz), append(z, r.Damping)
		if r.NaturalHz.Seen() {
			out.Peaks += r.Peaks
			out.Linear = out.Linear || r.Linear
		}
	}
	one := make([]int, len(rings))
	out.DampedHz, out.NaturalHz, out.Damping = pooled(fd, one), pooled(fn, one), pooled(z, one)
	return out
}
