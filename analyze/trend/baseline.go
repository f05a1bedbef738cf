package trend

import (
	"math"

	"limbgauge/analyze/health"
	"limbgauge/analyze/stats"
)

const (
	// baseLeast runs give a baseline at all, baseMost are taken: it stays with the first ones, so that a
	// slow drift never becomes what is usual [common practice].
	baseLeast, baseMost = 3, 8
	// ownDF is how many readings of scatter the measure's own uncertainty counts for. It holds what all
	// runs share (calibration, a knee's roundness) and lacks what re-mounting adds, so it is an opinion
	// about the scatter between runs and no more [common practice].
	ownDF = 2.0
	// baseReach: a run that lies further to the bad side, in standard deviations, joins no baseline.
	baseReach = 3.0
)

// Baseline is what the first good runs say.
type Baseline struct {
	Runs   []string
	Centre float64 // mean of readings, or the bound that half of the runs give
	// Ceiling says that the runs know only from one side where the joint was; Centre is that bound.
	Ceiling bool
	Sigma   float64 // scatter of one run, standard deviation
	DF      float64 // degrees of freedom behind it
}

// Seen reports whether there is a baseline.
func (b Baseline) Seen() bool { return len(b.Runs) >= baseLeast }

// base collects the first good runs. Values are turned so that more is worse.
type base struct {
	sign     float64
	runs     []string
	readings []float64
	us       []float64 // standard uncertainties, NaN where not known
	ceilings []float64 // bounds from the bad side: the joint was no worse
	// Mean and scatter, kept up as readings join.
	centre, sigma, df float64
	own               float64 // mean square of the standard uncertainties
	plain             float64 // variance by successive differences alone
}

// bound is a figure turned so that more is worse.
type bound struct {
	lo, hi, u float64 // lo = hi for a reading
}

func turned(m health.Measure, sign float64) bound {
	b := bound{u: m.Uncertainty / 2} // U = 2·u
	lo, hi := m.Value, m.Value
	switch m.Status {
	case health.BoundLow:
		hi = math.Inf(1)
	case health.BoundHigh:
		lo = math.Inf(-1)
	}
	if b.lo, b.hi = lo, hi; sign < 0 {
		b.lo, b.hi = -hi, -lo
	}
	return b
}

// full reports whether no more runs are taken.
func (b *base) full() bool { return len(b.runs) >= baseMost }

// add takes a run in; it reports false for a bound that says nothing of how bad the joint may be.
func (b *base) add(run string, f bound) bool {
	switch {
	case f.lo == f.hi:
		b.readings, b.us = append(b.readings, f.lo), append(b.us, f.u)
	case !math.IsInf(f.hi, 0):
		b.ceilings = append(b.ceilings, f.hi)
	default:
		return false
	}
	b.runs = append(b.runs, run)
	b.settle()
	return true
}

// settle works out centre and scatter of the readings.
//
// The scatter between runs comes from successive differences, s² = Σ(x_i - x_{i-1})²/(2(n-1)), which a
// slow drift hardly raises (von Neumann and others, Annals of Mathematical Statistics 12 (1941) 153-162);
// it has 2(n-1)²/(3n-4) effective degrees of freedom. It is pooled with the measure's own
// uncertainty, which counts for ownDF.
func (b *base) settle() {
	n := float64(len(b.readings))
	if n < 2 {
		return
	}
	b.centre = stats.Mean(b.readings)
	var ss, own, known float64
	for i, v := range b.readings {
		if i > 0 {
			d := v - b.readings[i-1]
			ss += d * d
		}
		if !math.IsNaN(b.us[i]) {
			own, known = own+b.us[i]*b.us[i], known+1
		}
	}
	b.df = 2 * (n - 1) * (n - 1) / (3*n - 4)
	b.plain, b.own = ss/(2*(n-1)), math.NaN()
	v := b.df * b.plain
	if known > 0 && own > 0 {
		b.own = own / known
		v += ownDF * b.own
		b.df += ownDF
	}
	b.sigma = math.Sqrt(v / b.df)
}

// ceiling reports whether the runs know the joint only from one side: fewer than three readings.
func (b *base) ceiling() bool { return len(b.readings) < baseLeast }

// level is what later runs are held against. Where there are only bounds it is the one that half of
// them give: each of them is kept by 95 %, so the joint was no worse than that.
func (b *base) level() float64 {
	if !b.ceiling() {
		return b.centre
	}
	return stats.Median(append(append([]float64(nil), b.ceilings...), b.readings...))
}

// z returns how far a figure lies to the bad side, as a normal deviate; NaN where that cannot be said.
// A reading is held against the law of one more reading after those of the baseline, Student's with
// the scale √(1 + 1/n) (Quesenberry, Journal of Quality Technology 23 (1991) 213-224, for charts from
// the first readings on), so that few runs give wide limits and none at all is asked to wait. Against
// bounds its own uncertainty counts; a bound that is kept gives 0, since the joint may be better.
func (b *base) z(f bound) float64 {
	if len(b.runs) < baseLeast {
		return math.NaN()
	}
	level := b.level()
	reading := f.lo == f.hi
	if b.ceiling() {
		switch {
		case reading && f.u > 0:
			return math.Max(0, (f.lo-level)/f.u)
		case f.lo > level && f.u > 0: // at least so bad
			return (f.lo - level) / f.u
		case f.hi <= level:
			return 0
		}
		return math.NaN()
	}
	if !(b.sigma > 0) {
		return math.NaN()
	}
	n := float64(len(b.readings))
	t := func(v float64) float64 {
		return deviate((v-level)/(b.sigma*math.Sqrt(1+1/n)), b.df)
	}
	switch {
	case reading:
		return t(f.lo)
	case f.lo > level && !math.IsInf(f.lo, 0):
		return t(f.lo)
	case f.hi <= level:
		return 0
	}
	return math.NaN()
}

// ownWide is how many times their stated uncertainty runs may scatter without a false warning more often
// than promised.
const ownWide = 2.0

// ownZ holds a reading against the baseline by what the measure says of its own uncertainty, ownWide of
// it for the scatter. It needs no estimate of the scatter, so that after three runs a great loss already
// shows; NaN where the baseline scatters more than goes with what is stated, or against bounds.
func (b *base) ownZ(f bound) float64 {
	if len(b.runs) < baseLeast || b.ceiling() || f.lo != f.hi || !(b.own > 0) || !(f.u > 0) || b.plain > 1.5*1.5*b.own {
		return math.NaN()
	}
	u := math.Max(f.u*f.u, b.own)
	return (f.lo - b.centre) / (ownWide * math.Sqrt(u*(1+1/float64(len(b.readings)))))
}

// deviate turns Student's t into the normal deviate of the same probability, to about 1 % (Wallace,
// Annals of Mathematical Statistics 30 (1959) 1121-1130).
func deviate(t, df float64) float64 {
	return math.Copysign((8*df+1)/(8*df+3)*math.Sqrt(df*math.Log1p(t*t/df)), t)
}

func (b *base) baseline() Baseline {
	out := Baseline{Runs: b.runs, Centre: math.NaN(), Sigma: math.NaN(), DF: math.NaN()}
	if !out.Seen() {
		return out
	}
	out.Centre, out.Ceiling = b.sign*b.level(), b.ceiling()
	if !out.Ceiling {
		out.Sigma, out.DF = b.sigma, b.df
	}
	return out
}
