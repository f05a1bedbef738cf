package compare

import (
	"fmt"
	"math"
	"slices"

	"limbgauge/analyze/health"
	"limbgauge/analyze/stats"
)

// Run is one run of a joint on one side.
type Run struct {
	ID       string
	Assembly string // runs with one tag are one assembly; empty: each run stands for itself
	Routine  string
	Joint    health.Joint
}

// Verdict says what the data allow to say of the second side against the first.
type Verdict string

// The verdicts.
const (
	Better Verdict = "better"
	Worse  Verdict = "worse"
	Same   Verdict = "no difference seen"
	Cannot Verdict = "cannot tell"
)

// Row is one measure on both sides. A and B hold the mean of the side with its expanded
// uncertainty, or the tightest bound where the side only has bounds.
type Row struct {
	Joint   string
	A, B    health.Measure
	NA, NB  int     // independent units: assemblies, or runs without a tag
	Diff, U float64 // B - A and its expanded uncertainty, NaN where it cannot be had
	Verdict Verdict
	Why     string // what limits the verdict
}

// Result is the whole comparison.
type Result struct {
	Rows     []Row
	Sentence string
	Notes    []string
}

// Sides compares the runs of one joint: b against a.
func Sides(a, b []Run) Result {
	var out Result
	if len(a) == 0 || len(b) == 0 {
		out.Sentence = "one side has no runs, so nothing can be compared"
		return out
	}
	a, b, out.Notes = comparable(a, b)
	if len(a) == 0 || len(b) == 0 {
		out.Sentence = "not comparable because no routine was run on both sides"
		return out
	}
	for _, d := range health.Definitions() {
		for _, p := range []health.Path{health.NoPath, health.Servo, health.Transmission, health.Total} {
			if r, ok := row(d, p, a, b); ok {
				r.Joint = a[0].Joint.Joint
				out.Rows = append(out.Rows, r)
			}
		}
	}
	out.Sentence = sentence(out.Rows)
	return out
}

// comparable keeps the runs whose routine stands on both sides: another routine loads and moves the
// joint differently, so its figures do not compare.
func comparable(a, b []Run) (ka, kb []Run, notes []string) {
	both := func(routine string, side []Run) bool {
		return slices.ContainsFunc(side, func(r Run) bool { return r.Routine == routine })
	}
	for _, r := range a {
		if both(r.Routine, b) {
			ka = append(ka, r)
		} else {
			notes = append(notes, fmt.Sprintf("run %s is left out: routine %q was not run on the other side", r.ID, r.Routine))
		}
	}
	for _, r := range b {
		if both(r.Routine, a) {
			kb = append(kb, r)
		} else {
			notes = append(notes, fmt.Sprintf("run %s is left out: routine %q was not run on the other side", r.ID, r.Routine))
		}
	}
	if x, y := peak(ka), peak(kb); x > 0 && y > 0 && math.Abs(x-y) > loadDiffers*math.Max(x, y) {
		notes = append(notes, fmt.Sprintf("the load torque differs (%.3f against %.3f N·m): torque use, friction under load and bounds on tension do not compare like with like", x, y))
	}
	return ka, kb, notes
}

// loadDiffers is how far the load torque may differ before it is said [common practice].
const loadDiffers = 0.05

func peak(runs []Run) float64 {
	sum, n := 0.0, 0
	for _, r := range runs {
		if m, ok := r.Joint.Find("load_torque_peak", health.NoPath); ok && m.Status == health.Measured {
			sum += m.Value
			n++
		}
	}
	if n == 0 {
		return 0
	}
	return sum / float64(n)
}

// side is what one side knows of a measure.
type side struct {
	units  []float64 // mean per assembly
	u      float64   // mean expanded uncertainty of a single run
	bounds []health.Measure
	seen   bool
	any    health.Measure
}

func collect(d health.Definition, p health.Path, runs []Run) side {
	var s side
	groups := map[string][]float64{}
	var order []string
	var us []float64
	for _, r := range runs {
		m, ok := r.Joint.Find(d.Name, p)
		if !ok {
			continue
		}
		s.seen, s.any = true, m
		switch m.Status {
		case health.Measured:
			key := r.Assembly
			if key == "" {
				key = "run " + r.ID
			}
			if _, ok := groups[key]; !ok {
				order = append(order, key)
			}
			groups[key] = append(groups[key], m.Value)
			if !math.IsNaN(m.Uncertainty) {
				us = append(us, m.Uncertainty)
			}
		case health.BoundLow, health.BoundHigh:
			s.bounds = append(s.bounds, m)
		}
	}
	for _, k := range order {
		s.units = append(s.units, stats.Mean(groups[k]))
	}
	s.u = math.NaN()
	if len(us) > 0 {
		s.u = stats.Mean(us)
	}
	return s
}

func (s side) measure(d health.Definition, p health.Path) health.Measure {
	if len(s.units) > 0 {
		u := s.u / math.Sqrt(float64(len(s.units)))
		if n := len(s.units); n >= 2 {
			u = math.Max(u, stats.T95(float64(n-1))*stats.SD(s.units)/math.Sqrt(float64(n)))
		}
		m := health.Of(d.Name, p, stats.Mean(s.units), u, "mean of the side")
		m.Limit = s.any.Limit
		return m
	}
	if len(s.bounds) == 0 {
		return s.any
	}
	best := s.bounds[0]
	for _, b := range s.bounds[1:] {
		if b.Status == best.Status && (b.Status == health.BoundLow && b.Value > best.Value || b.Status == health.BoundHigh && b.Value < best.Value) {
			best = b
		}
	}
	return best
}

func row(d health.Definition, p health.Path, a, b []Run) (Row, bool) {
	sa, sb := collect(d, p, a), collect(d, p, b)
	if !sa.seen || !sb.seen {
		return Row{}, false
	}
	r := Row{A: sa.measure(d, p), B: sb.measure(d, p), NA: len(sa.units), NB: len(sb.units), Diff: math.NaN(), U: math.NaN(), Verdict: Cannot}
	switch {
	case r.A.Status == health.NotObservable || r.B.Status == health.NotObservable:
		r.Why = "not seen on one side"
	case r.A.Status != health.Measured || r.B.Status != health.Measured:
		r.Verdict, r.Why = boundVerdict(d, r.A, r.B)
	default:
		r.Diff = r.B.Value - r.A.Value
		r.U, r.Why = differenceU(sa, sb, r)
		r.Verdict = judge(d, r.A.Value, r.B.Value, r.U)
	}
	return r, true
}

// differenceU returns the expanded uncertainty of the difference: Welch's over the units where both
// sides have two or more, else from the runs' own uncertainties.
func differenceU(a, b side, r Row) (float64, string) {
	if len(a.units) >= 2 && len(b.units) >= 2 {
		if u := stats.WelchT(b.units, a.units).Diff.Expanded(); !math.IsNaN(u) {
			// Repeats of one assembly may agree better than the method is sure of itself.
			return math.Max(u, math.Hypot(r.A.Uncertainty, r.B.Uncertainty)), ""
		}
	}
	return math.Hypot(r.A.Uncertainty, r.B.Uncertainty), "one run or assembly on a side: how much re-assembly scatters is not in the interval"
}

// judge says better or worse when the interval of the difference excludes zero.
func judge(d health.Definition, a, b, u float64) Verdict {
	// Deviations with a sign are better when they are nearer to zero.
	diff := math.Abs(b) - math.Abs(a)
	if d.More {
		diff = a - b
	}
	switch {
	case math.IsNaN(u):
		return Cannot
	case diff > u:
		return Worse
	case diff < -u:
		return Better
	}
	return Same
}

// boundVerdict compares where a side has only a bound: a bound that lies wholly beyond the other
// side's value decides, anything else does not.
func boundVerdict(d health.Definition, a, b health.Measure) (Verdict, string) {
	lo, hi := func(m health.Measure) float64 {
		if m.Status == health.BoundHigh {
			return math.Inf(-1)
		}
		return m.Value - finite(m.Uncertainty)
	}, func(m health.Measure) float64 {
		if m.Status == health.BoundLow {
			return math.Inf(1)
		}
		return m.Value + finite(m.Uncertainty)
	}
	up := Worse
	down := Better
	if d.More {
		up, down = Better, Worse
	}
	switch {
	case lo(b) > hi(a):
		return up, "one side is a bound; it lies wholly beyond the other"
	case hi(b) < lo(a):
		return down, "one side is a bound; it lies wholly beyond the other"
	}
	return Cannot, "one side is only a bound"
}

func finite(u float64) float64 {
	if math.IsNaN(u) {
		return 0
	}
	return u
}

// sentence puts the comparison into one sentence; measures that have a limit count, since those
// are what the builder asked for.
func sentence(rows []Row) string {
	var better, worse []string
	unsure := 0
	for _, r := range rows {
		if math.IsNaN(r.A.Limit) && math.IsNaN(r.B.Limit) {
			continue
		}
		d, _ := health.DefinitionOf(r.A.Name)
		name := d.Title
		if r.A.Path != "" {
			name += " (" + string(r.A.Path) + ")"
		}
		switch r.Verdict {
		case Better:
			better = append(better, name)
		case Worse:
			worse = append(worse, name)
		case Cannot:
			unsure++
		}
	}
	s := "Of the measures with a limit, "
	switch {
	case len(better) == 0 && len(worse) == 0:
		s += "none is seen to differ"
	case len(worse) == 0:
		s += "better: " + join(better) + "; none is worse"
	case len(better) == 0:
		s += "worse: " + join(worse) + "; none is better"
	default:
		s += "better: " + join(better) + "; worse: " + join(worse)
	}
	if unsure > 0 {
		s += fmt.Sprintf("; %d can not be told", unsure)
	}
	return s + "."
}

func join(list []string) string {
	out := ""
	for i, s := range list {
		if i > 0 {
			out += ", "
		}
		out += string(s[0]|0x20) + s[1:]
	}
	return out
}
