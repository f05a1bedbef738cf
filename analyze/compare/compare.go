package compare

import (
	"fmt"
	"math"
	"strings"

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
	Better  Verdict = "better"
	Worse   Verdict = "worse"
	Differs Verdict = "differs" // and neither way is the better one
	Same    Verdict = "no difference seen"
	Cannot  Verdict = "cannot tell"
)

// Row is one measure on both sides. A and B hold the mean of the side with its expanded uncertainty,
// or what is known of every run of a side that has bounds.
type Row struct {
	Joint   string
	Routine string // the one whose runs are compared
	A, B    health.Measure
	NA, NB  int     // independent units that know the measure: assemblies, or runs without a tag
	Diff, U float64 // B - A and its expanded uncertainty, NaN where it cannot be had
	Verdict Verdict
	Why     string // what limits the verdict; parts are set apart by semicolons
}

// Result is the whole comparison.
type Result struct {
	Rows     []Row
	Sentence string
	Notes    []string
}

// Sides compares the runs of one joint: b against a.
func Sides(a, b []Run) Result {
	if len(a) == 0 || len(b) == 0 {
		return Result{Sentence: "Nothing can be compared: one side has no runs."}
	}
	routines, notes := pair(a, b)
	out := Result{Notes: notes}
	if len(routines) == 0 {
		out.Sentence = "The two sides are not comparable because no routine was run on both."
		return out
	}
	for _, d := range health.Definitions() {
		for _, p := range []health.Path{health.NoPath, health.Servo, health.Transmission, health.Total} {
			if r, ok := row(d, p, routines); ok {
				r.Joint = a[0].Joint.Joint
				out.Rows = append(out.Rows, r)
			}
		}
	}
	out.Notes = append(out.Notes, chance(out.Rows)...)
	out.Sentence = sentence(out.Rows, routines)
	return out
}

// row compares one measure within the routine that knows most of it on both sides; ok is false where
// no run has the measure.
func row(d health.Definition, p health.Path, routines []routine) (Row, bool) {
	var r routine
	var a, b side
	found := false
	for _, c := range routines {
		ca, cb := collect(d, p, c.a), collect(d, p, c.b)
		if !ca.named && !cb.named {
			continue
		}
		if !found || min(ca.n(), cb.n()) > min(a.n(), b.n()) {
			r, a, b, found = c, ca, cb, true
		}
	}
	if !found {
		return Row{}, false
	}
	out := Row{Routine: r.name, A: a.measure(d, p), B: b.measure(d, p), NA: a.n(), NB: b.n(),
		Diff: math.NaN(), U: math.NaN(), Verdict: Cannot}
	var why []string
	switch {
	case out.A.Status == health.NotObservable || out.B.Status == health.NotObservable:
		why = append(why, unseen(out.A, out.B), apart(d, a, b))
	case out.A.Status != health.Measured || out.B.Status != health.Measured:
		var w string
		if out.Verdict, w = boundVerdict(d, out.A, out.B); out.Verdict == Cannot {
			w = joined([]string{w, apart(d, a, b)})
		}
		why = append(why, w)
	default:
		out.Diff = out.B.Value - out.A.Value
		var w string
		out.U, w = differenceU(a, b, out)
		why = append(why, w)
		out.Verdict, w = judge(d, out.A.Value, out.B.Value, out.U)
		why = append(why, w)
	}
	if out.Verdict != Cannot && r.load != "" && !loadFree[d.Name] && d.Name != loadMeasure {
		if loadCost[d.Name] {
			why = append(why, r.load+", which may be all of it")
		} else {
			out.Verdict, why = Cannot, []string{notComparable + r.load}
		}
	}
	if out.Verdict != Cannot || !math.IsNaN(out.Diff) {
		why = append(why, a.missing("first"), b.missing("second"))
	}
	out.Why = joined(why)
	return out, true
}

func joined(why []string) string {
	var kept []string
	for _, w := range why {
		if w != "" {
			kept = append(kept, w)
		}
	}
	return strings.Join(kept, "; ")
}

// oneUnit says what an interval without repeats lacks.
const oneUnit = "one run or assembly on a side: how much re-assembly scatters is not in the interval"

// differenceU returns the expanded uncertainty of the difference of two measured sides: Welch's over
// the units where both sides have two or more, else from the sides' own uncertainties.
func differenceU(a, b side, r Row) (u float64, why string) {
	own := math.Hypot(r.A.Uncertainty, r.B.Uncertainty)
	if len(a.units) < 2 || len(b.units) < 2 {
		if math.IsNaN(own) {
			return own, "the uncertainty of a single run is not known"
		}
		return own, oneUnit
	}
	u = stats.WelchT(b.units, a.units).Diff.Expanded()
	// Units may agree better than a run is sure of itself, as when all read the same step of an
	// encoder. What is common to both sides, such as the stand, cancels in the difference, so what is
	// left of a run's own doubt averages over the units.
	if own := math.Hypot(a.averaged(), b.averaged()); !math.IsNaN(own) {
		return math.Max(u, own), ""
	}
	if u == 0 {
		return math.NaN(), "all runs of a side read the same and their own uncertainties are not known"
	}
	return u, ""
}

// undirected are measures of which neither more nor less is better: a place, a time, a property of
// the leg, a condition of the run.
var undirected = map[string]bool{
	"tight_spot_angle": true, "offset_step_time": true, "natural_frequency": true, "resonance": true,
	"damping_ratio": true, loadMeasure: true, "load_torque_amplitude": true,
}

const noDirection = "neither more nor less of it is better"

// judge says what a difference with the expanded uncertainty u means. Deviations with a sign are
// better when they are nearer to zero.
func judge(d health.Definition, a, b, u float64) (Verdict, string) {
	if math.IsNaN(u) {
		return Cannot, ""
	}
	if math.Abs(b-a) <= u {
		return Same, ""
	}
	if undirected[d.Name] {
		return Differs, noDirection
	}
	gain := math.Abs(a) - math.Abs(b)
	if d.More {
		gain = b - a
	}
	switch {
	case gain > u:
		return Better, ""
	case gain < -u:
		return Worse, ""
	}
	return Differs, "the sign changed, the size did not"
}

// boundVerdict compares where a side has only bounds: a side that lies wholly beyond the other
// decides, anything else does not.
func boundVerdict(d health.Definition, a, b health.Measure) (Verdict, string) {
	alo, ahi := reach(d, a)
	blo, bhi := reach(d, b)
	more, less := Worse, Better
	if d.More {
		more, less = Better, Worse
	}
	if undirected[d.Name] {
		more, less = Differs, Differs
	}
	const beyond = "a side is known from one side only and lies wholly beyond the other"
	switch {
	case blo > ahi:
		return more, beyond
	case bhi < alo:
		return less, beyond
	}
	return Cannot, "a side is known from one side only"
}

// reach returns the ends between which a measure lies, of its size where less is better.
func reach(d health.Definition, m health.Measure) (lo, hi float64) {
	v, u := m.Value, m.Uncertainty
	if !d.More {
		v = math.Abs(v)
	}
	if math.IsNaN(u) {
		if m.Status == health.Measured {
			return math.Inf(-1), math.Inf(1) // a figure whose doubt is not known proves nothing
		}
		u = 0 // a bound without more is the bound itself
	}
	switch m.Status {
	case health.BoundLow:
		return v - u, math.Inf(1)
	case health.BoundHigh:
		return math.Inf(-1), v + u
	}
	return v - u, v + u
}

// apart says how many runs of the first side lie wholly beyond every run of the second, where the
// sides as wholes cannot be told apart. It decides nothing: the runs it counts are no fair choice.
func apart(d health.Definition, a, b side) string {
	first, second := a.all(), b.all()
	if len(first) == 0 || len(second) == 0 {
		return ""
	}
	lowest, highest := math.Inf(1), math.Inf(-1)
	for _, m := range second {
		lo, hi := reach(d, m)
		lowest, highest = math.Min(lowest, lo), math.Max(highest, hi)
	}
	below, above := 0, 0
	for _, m := range first {
		lo, hi := reach(d, m)
		if hi < lowest {
			below++
		}
		if lo > highest {
			above++
		}
	}
	var out []string
	if below > 0 {
		out = append(out, fmt.Sprintf("%d of %d runs of the first side lie wholly below the second", below, len(first)))
	}
	if above > 0 {
		out = append(out, fmt.Sprintf("%d of %d runs of the first side lie wholly above the second", above, len(first)))
	}
	return joined(out)
}

func unseen(a, b health.Measure) string {
	var out []string
	for _, s := range []struct {
		side string
		m    health.Measure
	}{{"first", a}, {"second", b}} {
		if s.m.Status == health.NotObservable {
			w := "not seen on the " + s.side + " side"
			if s.m.Reason != "" {
				w += ": " + s.m.Reason
			}
			out = append(out, w)
		}
	}
	return strings.Join(out, "; ")
}

// chanceFrom is the number of intervals from which it is said that some exclude zero by chance.
const chanceFrom = 10

func chance(rows []Row) []string {
	n := 0
	for _, r := range rows {
		if !math.IsNaN(r.U) {
			n++
		}
	}
	if n < chanceFrom {
		return nil
	}
	return []string{fmt.Sprintf("each interval holds at 95 %% for itself: of %d, about %d may leave out zero by chance", n, max(1, n/20))}
}
