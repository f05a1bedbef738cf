package vibration

import (
	"fmt"
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"

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

// MatrixPencil returns the modes of evenly spaced samples y, dt s apart, that oscillate (Hua and
// Sarkar 1990): the singular vectors of the Hankel matrix of y, two per mode, whose shift has the
// poles as eigenvalues. Take the rest off y first. The pencil is a third of the samples long.
func MatrixPencil(y []float64, dt float64, modes int) ([]Mode, error) {
	n, order := len(y), 2*modes
	l := n / 3
	if l < order+1 || n-l < order {
		return nil, fmt.Errorf("matrix pencil of %d modes on %d samples: %w", modes, n, stats.ErrTooFew)
	}
	h := mat.NewDense(n-l, l+1, nil)
	for i := range n - l {
		for j := range l + 1 {
			h.Set(i, j, y[i+j])
		}
	}
	var svd mat.SVD
	if !svd.Factorize(h, mat.SVDThin) {
		return nil, fmt.Errorf("matrix pencil: %w", stats.ErrSingular)
	}
	var v mat.Dense
	svd.VTo(&v)
	if s := svd.Values(nil); s[order-1] <= 1e-13*s[0] {
		return nil, fmt.Errorf("matrix pencil: the samples hold fewer than %d modes: %w", modes, stats.ErrSingular)
	}
	var shift mat.Dense
	if err := shift.Solve(v.Slice(0, l, 0, order), v.Slice(1, l+1, 0, order)); err != nil {
		return nil, fmt.Errorf("matrix pencil: %w", stats.ErrSingular)
	}
	var eig mat.Eigen
	if !eig.Factorize(&shift, mat.EigenNone) {
		return nil, fmt.Errorf("matrix pencil: no poles were found")
	}
	return modesOf(y, dt, eig.Values(nil)), nil
}

// modesOf turns poles of the z plane into modes, with amplitudes by least squares.
func modesOf(y []float64, dt float64, poles []complex128) []Mode {
	var out []Mode
	var cols [][]float64
	for _, z := range poles {
		s := cmplx.Log(z) / complex(dt, 0)
		if imag(s) <= 0 {
			continue
		}
		re, im := make([]float64, len(y)), make([]float64, len(y))
		p := complex(1, 0)
		for i := range y {
			re[i], im[i] = real(p), imag(p)
			p *= z
		}
		cols = append(cols, re, im)
		out = append(out, Mode{DampedHz: imag(s) / (2 * math.Pi), NaturalHz: cmplx.Abs(s) / (2 * math.Pi),
			Damping: -real(s) / cmplx.Abs(s)})
	}
	if fit, err := stats.OLS(cols, y); err == nil {
		for i := range out {
			out[i].Amplitude = math.Hypot(fit.Coef[2*i], fit.Coef[2*i+1])
		}
	}
	return out
}

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

// RingDown measures the ringing of evenly spaced samples, dt s apart, about the rest they end at
// (mean of the last fifth). The frequency and damping come from a matrix pencil with one mode; their
// uncertainty from the scatter of the peaks. It cannot be seen when fewer than three peaks stand
// above three quanta (or three noise deviations), when damping exceeds about one half, or when the
// ringing is above a quarter of the sample rate (common practice).
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
	// Beyond the last peak that stands out there is nothing but reading noise.
	end := min(n, int(math.Ceil((at[len(at)-1]+0.5*(at[len(at)-1]-at[len(at)-2]))/dt))+1)
	modes, err := MatrixPencil(z[int(at[0]/dt):end], dt, 1)
	if err != nil || len(modes) == 0 {
		return unseen(len(at), "the motion after the step is no oscillation")
	}
	m := modes[0]
	switch {
	case m.DampedHz > 0.25/dt:
		return unseen(len(at), fmt.Sprintf("it rings at %.0f Hz, above a quarter of the sample rate", m.DampedHz))
	case m.Damping > dampingMax:
		return unseen(len(at), fmt.Sprintf("damping %.2f is too strong to ring", m.Damping))
	case m.Damping < 0:
		return unseen(len(at), "the oscillation does not decay")
	}
	return judged(m, at, height)
}

// judged gives a mode the uncertainty of the peaks' scatter about their own line.
func judged(m Mode, at, height []float64) Ring {
	k, ln := make([]float64, len(at)), make([]float64, len(at))
	for i := range at {
		k[i], ln[i] = float64(i), math.Log(height[i])
	}
	r := Ring{Peaks: len(at)}
	r.DampedHz = stats.Estimate{Value: m.DampedHz, U: math.NaN(), DF: math.NaN()}
	r.NaturalHz, r.Damping = r.DampedHz, r.DampedHz
	r.NaturalHz.Value, r.Damping.Value = m.NaturalHz, m.Damping
	times, err1 := stats.FitLine(k, at)
	logs, err2 := stats.FitLine(k, ln)
	flat, err3 := stats.FitLine(k, height)
	if err1 != nil || err2 != nil || err3 != nil {
		return r
	}
	// A half cycle takes times.Slope, and loses half the decrement.
	r.DampedHz.U, r.DampedHz.DF = m.DampedHz*times.Slope.U/times.Slope.Value, times.DF
	r.NaturalHz.U, r.NaturalHz.DF = m.NaturalHz*times.Slope.U/times.Slope.Value, times.DF
	r.Damping.U, r.Damping.DF = 2*logs.Slope.U/(2*math.Pi), logs.DF
	var rssLog float64
	for i := range height {
		d := height[i] - math.Exp(logs.At(k[i]).Value)
		rssLog += d * d
	}
	r.Linear = len(at) >= 5 && stats.BIC(rssLog, len(at), 2)-stats.BIC(flat.RSS, len(at), 2) > 6
	return r
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

// PoolRings averages the ring-downs of several steps, as PoolSteps does.
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
	out.DampedHz, out.NaturalHz, out.Damping = pooled(fd), pooled(fn), pooled(z)
	return out
}

// TwoMass holds the frequencies of a drive and a load joined by a spring.
type TwoMass struct {
	AntiResonanceHz float64 // of the load on a held drive: what a step with the servo holding rings at
	ResonanceHz     float64 // seen from the drive
}

// TwoMassOf returns the frequencies of inertias jm (drive, referred to the joint) and jl (load),
// kg·m², joined by stiffness kt, N·m/rad: f_a = √(kt/jl)/2π, f_r = √(kt(jm+jl)/(jm·jl))/2π.
func TwoMassOf(jm, jl, kt float64) TwoMass {
	return TwoMass{math.Sqrt(kt/jl) / (2 * math.Pi), math.Sqrt(kt*(jm+jl)/(jm*jl)) / (2 * math.Pi)}
}

// StringTension returns the tension, N, of a belt span of free length m and mass kgPerM that sounds
// hz when plucked: 4·m'·L²·f². Bending stiffness makes short wide spans read high.
func StringTension(kgPerM, length, hz float64) float64 { return 4 * kgPerM * length * length * hz * hz }

// StringHz returns the frequency of a span under tension, the inverse of StringTension.
func StringHz(kgPerM, length, newton float64) float64 {
	return math.Sqrt(newton/kgPerM) / (2 * length)
}

// StringTensionU returns the relative standard uncertainty of a tension from those of frequency,
// length and mass.
func StringTensionU(uHz, uLength, uMass float64) float64 {
	return math.Sqrt(4*uHz*uHz + 4*uLength*uLength + uMass*uMass)
}
