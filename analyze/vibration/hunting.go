package vibration

import (
	"math"

	"gonum.org/v1/gonum/floats"

	"limbgauge/analyze/stats"
)

// Dwell is a stretch in which the command rests.
type Dwell struct {
	Time  []float64 // s
	Angle []float64 // deg
}

// HuntingRule says what counts as hunting; the thresholds are common practice.
type HuntingRule struct {
	LowHz, HighHz float64
	Quantum       float64 // step of the angle reading, deg
	MinAmplitude  float64 // deg, zero to peak; at least 1.5 quanta is used
	Share         float64 // of the dwells that must oscillate
}

// DefaultHuntingRule looks for 2 to 20 Hz, 0.1 deg or more, in a third of the dwells.
func DefaultHuntingRule(quantum float64) HuntingRule {
	return HuntingRule{LowHz: 2, HighHz: 20, Quantum: quantum, MinAmplitude: 0.1, Share: 0.33}
}

// Hunting is what the dwells of a run show.
type Hunting struct {
	Found     bool
	Hz        stats.Estimate // median over the dwells that oscillate
	Amplitude stats.Estimate // deg, zero to peak, likewise
	Dwells    int            // long enough to judge
	Hunting   int            // that oscillate
	Reason    string         // why nothing can be said, where that is so
}

// periods is how many full turns of the lowest frequency a dwell must hold.
const periods = 3

// FindHunting fits one sine of any frequency between LowHz and HighHz, beside a parabola for what is
// left of settling, to each dwell. A dwell oscillates when the amplitude passes the rule's minimum
// and the sine explains half of what the parabola leaves (noise alone of n samples explains about
// 2·ln(n)/n), early and late in the dwell alike: ringing dies away, hunting stays.
func FindHunting(dwells []Dwell, rule HuntingRule) Hunting {
	h := Hunting{Hz: stats.Unseen("no dwell oscillates"), Amplitude: stats.Unseen("no dwell oscillates")}
	var hz, amp []float64
	least := math.Max(rule.MinAmplitude, 1.5*rule.Quantum)
	for _, d := range dwells {
		n := len(d.Time)
		if n < 20 {
			continue
		}
		span := d.Time[n-1] - d.Time[0]
		low := math.Max(rule.LowHz, periods/span)
		high := math.Min(rule.HighHz, 0.25*float64(n-1)/span)
		if low >= 0.8*high {
			continue
		}
		h.Dwells++
		if mostAmplitude(d.Angle) < least {
			continue
		}
		f, a, share := bestSine(d, low, high)
		if a < least || share < 0.5 {
			continue
		}
		if late := sineAt(half(d, 1), f); late < 0.5*sineAt(half(d, 0), f) || late < least {
			continue
		}
		hz, amp = append(hz, f), append(amp, a)
	}
	h.Hunting = len(hz)
	if h.Dwells == 0 {
		h.Reason = "no dwell is long enough to hold three periods of an oscillation"
		h.Hz, h.Amplitude = stats.Unseen("%s", h.Reason), stats.Unseen("%s", h.Reason)
		return h
	}
	if h.Hunting > 0 {
		h.Hz, h.Amplitude = medianOf(hz), medianOf(amp)
	}
	h.Found = float64(h.Hunting) >= rule.Share*float64(h.Dwells) && h.Hunting > 0
	return h
}

// medianOf returns the median with the standard uncertainty of a median of normal readings, 1.2533·s/√n.
func medianOf(x []float64) stats.Estimate {
	n := float64(len(x))
	return stats.Estimate{Value: stats.Median(x), U: 1.2533 * stats.SD(x) / math.Sqrt(n), DF: n - 1}
}

// AmplitudeAt returns the amplitude, zero to peak, of the sine of a frequency in a stretch, beside what
// drifts, and the share of the sum of squares it explains.
func AmplitudeAt(d Dwell, hz float64) (amp, share float64) { return newSineFit(d).at(hz) }

// mostAmplitude is more than any sine of three periods or more can have that is fitted to x beside a
// parabola. The fit takes at most the scatter about the mean, and at each amplitude it takes more than a
// quarter of its square a sample: half is a whole sine's, and a parabola has no more than a sixth of that.
func mostAmplitude(x []float64) float64 {
	return 2 * math.Sqrt(stats.Variance(x)) // n-1 in its place of n errs upwards
}

func half(d Dwell, which int) Dwell {
	m := len(d.Time) / 2
	if which == 0 {
		return Dwell{d.Time[:m], d.Angle[:m]}
	}
	return Dwell{d.Time[m:], d.Angle[m:]}
}

// bestSine returns frequency and amplitude of the sine that explains most, and the share of the sum
// of squares (after a parabola) that it explains.
func bestSine(d Dwell, low, high float64) (hz, amp, share float64) {
	f := newSineFit(d)
	line := 1 / (d.Time[len(d.Time)-1] - d.Time[0]) // width of a spectral line
	scan := func(from, to, step float64) {
		for x := from; x <= to; x += step {
			if a, s := f.at(x); s > share {
				hz, amp, share = x, a, s
			}
		}
	}
	scan(low, high, 0.3*line)
	scan(math.Max(low, hz-0.3*line), math.Min(high, hz+0.3*line), 0.03*line)
	return hz, amp, share
}

func sineAt(d Dwell, hz float64) float64 {
	a, _ := newSineFit(d).at(hz)
	return a
}

// sineFit fits single sines beside a parabola to one dwell.
type sineFit struct {
	time  []float64
	basis [3][]float64 // orthonormal columns that span the parabolas
	rest  []float64    // what they leave of the angle
	total float64      // sum of squares of rest
	s, c  []float64    // scratch
}

func newSineFit(d Dwell) *sineFit {
	n := len(d.Time)
	f := &sineFit{time: d.Time, s: make([]float64, n), c: make([]float64, n)}
	mid, span := (d.Time[0]+d.Time[n-1])/2, d.Time[n-1]-d.Time[0]
	for k := range f.basis {
		col := make([]float64, n)
		for i, t := range d.Time {
			x := (t - mid) / span
			col[i] = [...]float64{1, x, x * x}[k]
		}
		takeOff(col, f.basis[:k])
		floats.Scale(1/floats.Norm(col, 2), col)
		f.basis[k] = col
	}
	f.rest = append([]float64(nil), d.Angle...)
	takeOff(f.rest, f.basis[:])
	f.total = floats.Dot(f.rest, f.rest)
	return f
}

// takeOff takes from x its part along the orthonormal columns.
func takeOff(x []float64, basis [][]float64) {
	for _, b := range basis {
		floats.AddScaled(x, -floats.Dot(x, b), b)
	}
}

// at fits a sine of one frequency and returns its amplitude and the share it explains.
func (f *sineFit) at(hz float64) (amp, share float64) {
	for i, t := range f.time {
		f.s[i], f.c[i] = math.Sincos(2 * math.Pi * hz * (t - f.time[0]))
	}
	takeOff(f.s, f.basis[:])
	takeOff(f.c, f.basis[:])
	ss, cc, sc := floats.Dot(f.s, f.s), floats.Dot(f.c, f.c), floats.Dot(f.s, f.c)
	ys, yc := floats.Dot(f.rest, f.s), floats.Dot(f.rest, f.c)
	det := ss*cc - sc*sc
	if f.total == 0 || det <= 1e-12*ss*cc {
		return 0, 0
	}
	a, b := (ys*cc-yc*sc)/det, (yc*ss-ys*sc)/det
	return math.Hypot(a, b), (a*ys + b*yc) / f.total
}
