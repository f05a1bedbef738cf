package positioning

import (
	"fmt"
	"math"
	"sort"

	"limbgauge/analyze/stats"
)

// Stop is one visit of a target.
type Stop struct {
	Target    float64 // deg
	Dir       int     // +1 when reached by rising angle, -1 by falling
	Cycle     int     // which pass over the targets this stop belongs to
	Deviation float64 // deg, reached less target, averaged over the settled dwell
}

// Options says what is known of the readings.
type Options struct {
	// Quantum is the step of the angle reading, deg; 0 when it does not matter.
	Quantum float64
	// NoiseSD is the standard deviation of single samples within a dwell, deg. Noise of half a quantum
	// lets averaging remove the quantisation; with less, every stop keeps an uncertainty that no
	// repetition need show, Quantum/√12 without any noise (stats.QuantumU).
	NoiseSD float64
	// Replicas is the number of resamples; 0 means 2000.
	Replicas int
	Seed     uint64
}

// Target is what was found at one target. Up and Down are by direction of approach.
type Target struct {
	Target           float64
	NUp, NDown       int
	MeanUp, MeanDown float64        // x̄_i↑, x̄_i↓
	SUp, SDown       float64        // s_i↑, s_i↓ with divisor n-1; NaN for one visit
	Reversal         stats.Estimate // B_i = x̄_i↑ - x̄_i↓, signed
	Mean             float64        // x̄_i, mean of both directions
	RUp, RDown       float64        // 4 s_i↑, 4 s_i↓
	R                float64        // max(2 s_i↑ + 2 s_i↓ + |B_i|, R_i↑, R_i↓)
}

// Result holds the figures of ISO 230-2:2014, clause 3. Each carries the interval of a cycle
// bootstrap when there are four cycles or more; a figure that needs a scatter is unseen when some
// stop has only one visit.
type Result struct {
	Targets []Target // rising
	Cycles  int
	// Remarks says where the stair falls short of the standard, in whole sentences.
	Remarks []string

	Reversal     stats.Boot // B = max |B_i|; biased upward by noise, read it with Bias
	MeanReversal stats.Boot // B̄ = Σ B_i/m, signed
	MeanRange    stats.Boot // M = max x̄_i - min x̄_i

	RepeatUp, RepeatDown, Repeat stats.Boot // R↑, R↓, R
	SystUp, SystDown, Syst       stats.Boot // E↑, E↓, E
	AccUp, AccDown, Acc          stats.Boot // A↑, A↓, A

	// Scale is the slope of the mean deviation over the target, deg per deg: a wrong pulse-to-angle
	// factor. SystLevel is E after that line is taken out.
	Scale     stats.Boot
	SystLevel stats.Boot
}

// The order of figures in the bootstrap.
const (
	iReversal = iota
	iMeanReversal
	iMeanRange
	iRepeatUp
	iRepeatDown
	iRepeat
	iSystUp
	iSystDown
	iSyst
	iAccUp
	iAccDown
	iAcc
	iScale
	iSystLevel
	nFigures
)

// Evaluate computes the figures of ISO 230-2 from stops in any order. Only targets reached from
// both sides count. It returns an error when no target is.
func Evaluate(stops []Stop, o Options) (Result, error) {
	t := table(stops)
	if len(t.targets) == 0 {
		return Result{}, fmt.Errorf("bidirectional positioning: no target was reached from both sides: %w", stats.ErrTooFew)
	}
	if o.Replicas == 0 {
		o.Replicas = 2000
	}
	all := make([]int, len(t.cycles))
	for i := range all {
		all[i] = i
	}
	u := o.quantumU()
	r := Result{Targets: t.evaluate(all, u), Cycles: len(t.cycles), Remarks: t.remarks()}
	b := stats.CycleBootstrap(len(t.cycles), o.Replicas, nFigures, o.Seed, func(pick []int, out []float64) {
		if ts := t.evaluate(pick, 0); len(ts) == len(t.targets) {
			figures(ts, out)
		}
	})
	if u > 0 {
		for i := range b {
			b[i].Estimate = widened(b[i].Estimate, u*quantumShare(i, float64(len(t.targets))))
		}
	}
	r.Reversal, r.MeanReversal, r.MeanRange = b[iReversal], b[iMeanReversal], b[iMeanRange]
	r.RepeatUp, r.RepeatDown, r.Repeat = b[iRepeatUp], b[iRepeatDown], b[iRepeat]
	r.SystUp, r.SystDown, r.Syst = b[iSystUp], b[iSystDown], b[iSyst]
	r.AccUp, r.AccDown, r.Acc = b[iAccUp], b[iAccDown], b[iAcc]
	r.Scale, r.SystLevel = b[iScale], b[iSystLevel]
	for _, p := range []*stats.Boot{&r.RepeatUp, &r.RepeatDown, &r.Repeat, &r.AccUp, &r.AccDown, &r.Acc} {
		if !p.Seen() {
			p.Unseen = "a stop was visited only once, so its scatter is unknown"
		}
	}
	return r, nil
}

// quantumU is the standard uncertainty that quantisation leaves in one stop.
func (o Options) quantumU() float64 { return stats.QuantumU(o.Quantum, o.NoiseSD) }

// quantumShare returns how much of the quantisation of single stops reaches a figure: a difference of
// two stops takes √2 of it, the mean over m targets its share by √m, four times a scatter 4.
func quantumShare(figure int, m float64) float64 {
	switch figure {
	case iMeanReversal:
		return math.Sqrt(2 / m)
	case iRepeatUp, iRepeatDown, iRepeat:
		return 4
	case iScale:
		return 0 // spread over the whole travel
	}
	return math.Sqrt2
}

// widened adds an independent standard uncertainty, taken as known, to an estimate that has one.
func widened(e stats.Estimate, u float64) stats.Estimate {
	if !e.Seen() || math.IsNaN(e.U) {
		return e
	}
	e.DF = stats.WelchSatterthwaite([]float64{e.U, u}, []float64{e.DF, math.Inf(1)})
	e.U = math.Hypot(e.U, u)
	return e
}

// grid holds the deviations by target, direction (0 up, 1 down) and cycle; NaN where a cycle missed.
type grid struct {
	targets []float64
	cycles  []int
	x       [][2][]float64
}

func table(stops []Stop) grid {
	var g grid
	seen := map[float64][2]bool{}
	cycles := map[int]bool{}
	for _, s := range stops {
		if math.IsNaN(s.Deviation) {
			continue
		}
		b := seen[s.Target]
		b[side(s.Dir)] = true
		seen[s.Target] = b
		cycles[s.Cycle] = true
	}
	for t, b := range seen {
		if b[0] && b[1] {
			g.targets = append(g.targets, t)
		}
	}
	for c := range cycles {
		g.cycles = append(g.cycles, c)
	}
	sort.Float64s(g.targets)
	sort.Ints(g.cycles)
	g.x = make([][2][]float64, len(g.targets))
	for i := range g.x {
		for d := range 2 {
			g.x[i][d] = make([]float64, len(g.cycles))
			for j := range g.x[i][d] {
				g.x[i][d][j] = math.NaN()
			}
		}
	}
	for _, s := range stops {
		i := sort.SearchFloat64s(g.targets, s.Target)
		if i < len(g.targets) && g.targets[i] == s.Target && !math.IsNaN(s.Deviation) {
			g.x[i][side(s.Dir)][sort.SearchInts(g.cycles, s.Cycle)] = s.Deviation
		}
	}
	return g
}

func side(dir int) int {
	if dir > 0 {
		return 0
	}
	return 1
}

// evaluate fills one Target per target that the chosen cycles reached from both sides. quantumU is what
// quantisation leaves in one stop; resamples, which need no uncertainties, pass 0.
func (g grid) evaluate(pick []int, quantumU float64) []Target {
	out := make([]Target, 0, len(g.targets))
	var buf [2][]float64
	for i, at := range g.targets {
		for d := range 2 {
			buf[d] = buf[d][:0]
			for _, c := range pick {
				if v := g.x[i][d][c]; !math.IsNaN(v) {
					buf[d] = append(buf[d], v)
				}
			}
		}
		if len(buf[0]) == 0 || len(buf[1]) == 0 {
			continue
		}
		out = append(out, target(at, buf[0], buf[1], quantumU))
	}
	return out
}

func target(at float64, up, down []float64, quantumU float64) Target {
	a, sa := stats.MeanSD(up)
	b, sb := stats.MeanSD(down)
	t := Target{Target: at, NUp: len(up), NDown: len(down), MeanUp: a.Value, MeanDown: b.Value,
		SUp: sa, SDown: sb, Mean: (a.Value + b.Value) / 2}
	t.Reversal = stats.Sum([]float64{1, -1}, a, b)
	if quantumU > 0 {
		t.Reversal = widened(t.Reversal, math.Sqrt2*quantumU)
	}
	t.RUp, t.RDown = 4*t.SUp, 4*t.SDown
	t.R = math.Max(2*t.SUp+2*t.SDown+math.Abs(t.Reversal.Value), math.Max(t.RUp, t.RDown))
	return t
}

// figures reduces the targets to the figures of the axis. math.Max and math.Min hand a NaN on, so
// a scatter that is unknown at one target leaves the figures that need it unknown.
func figures(ts []Target, out []float64) {
	up, down, mean := newSpan(), newSpan(), newSpan()
	accUp, accDown := newSpan(), newSpan()
	var b, sum, ru, rd, r float64
	x, y := make([]float64, len(ts)), make([]float64, len(ts))
	for i, t := range ts {
		b = math.Max(b, math.Abs(t.Reversal.Value))
		sum += t.Reversal.Value
		ru, rd, r = math.Max(ru, t.RUp), math.Max(rd, t.RDown), math.Max(r, t.R)
		up.add(t.MeanUp)
		down.add(t.MeanDown)
		mean.add(t.Mean)
		accUp.add(t.MeanUp - 2*t.SUp)
		accUp.add(t.MeanUp + 2*t.SUp)
		accDown.add(t.MeanDown - 2*t.SDown)
		accDown.add(t.MeanDown + 2*t.SDown)
		x[i], y[i] = t.Target, t.Mean
	}
	out[iReversal], out[iMeanReversal], out[iMeanRange] = b, sum/float64(len(ts)), mean.width()
	out[iRepeatUp], out[iRepeatDown], out[iRepeat] = ru, rd, r
	out[iSystUp], out[iSystDown], out[iSyst] = up.width(), down.width(), up.with(down).width()
	out[iAccUp], out[iAccDown], out[iAcc] = accUp.width(), accDown.width(), accUp.with(accDown).width()
	if l, err := stats.FitLine(x, y); err == nil && len(ts) > 2 {
		level := newSpan()
		for _, t := range ts {
			level.add(t.MeanUp - l.At(t.Target).Value)
			level.add(t.MeanDown - l.At(t.Target).Value)
		}
		out[iScale], out[iSystLevel] = l.Slope.Value, level.width()
	}
}

// span is the smallest and greatest of what was added to it.
type span struct{ lo, hi float64 }

func newSpan() span { return span{math.Inf(1), math.Inf(-1)} }

func (s *span) add(v float64) { s.lo, s.hi = math.Min(s.lo, v), math.Max(s.hi, v) }

func (s span) with(t span) span { return span{math.Min(s.lo, t.lo), math.Max(s.hi, t.hi)} }

func (s span) width() float64 { return s.hi - s.lo }
