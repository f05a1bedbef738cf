package compare

import (
	"math"
	"runtime"
	"sync"
	"sync/atomic"

	"limbgauge/analyze/alike"
	"limbgauge/analyze/health"
	"limbgauge/analyze/stats"
)

// Run is one run of a joint on one side.
type Run struct {
	ID       string
	Assembly string // runs with one tag are one assembly; empty: each run stands for itself
	Routine  string
	Joint    health.Joint
	// Conditions say what it was got under. Leg, Routine and LoadNm need not be filled in: legs are what
	// is compared, the others are taken from the run.
	Conditions alike.Conditions
}

// Options are what was settled before the figures were looked at.
type Options struct {
	A, B string // what the sides are called in sentences; default: the first side, the second side
	// Measures are the only ones compared. With none named, those with a limit are asked for. What is
	// asked for is what the sentence and the adjusting for many tests are about.
	Measures []string
	// All adds rows for what was not asked for.
	All bool
	// Margins say by measure, in its unit, how large a difference does not matter. The default is a
	// quarter of the limit.
	Margins map[string]float64
}

// Verdict says what the data allow to say of the second side against the first.
type Verdict string

// The verdicts.
const (
	Better  Verdict = "better"
	Worse   Verdict = "worse"
	Differs Verdict = "differs" // and neither way is the better one
	Same    Verdict = "same within margin"
	Cannot  Verdict = "cannot tell"
)

// Row is one measure on both sides. A and B hold the mean of the side with its expanded uncertainty,
// or what is known of every run of a side that has bounds.
type Row struct {
	Joint   string
	Routine string // the one whose runs are compared
	Asked   bool   // it has a limit or was named
	A, B    health.Measure
	NA, NB  int     // independent units that know the measure: assemblies, or runs without a tag
	Diff, U float64 // B - A and its expanded uncertainty, NaN where it cannot be had
	Evidence
	Verdict Verdict
	Why     string // what limits the verdict; parts are set apart by semicolons
}

// Evidence is what the verdict of a row rests on. Figures are NaN where they cannot be had: fewer than
// two units on a side, bounds.
type Evidence struct {
	DF         float64     // degrees of freedom of the difference, by Welch and Satterthwaite, fewer where units are few
	P          float64     // two-sided, that chance gives such a difference; of bounds, the least they differ by
	ByDoubt    bool        // P rests on what the runs themselves are unsure of, which is more than they scatter
	Adjusted   float64     // P by Holm over the measures asked for, or over all for those that are not
	Permuted   float64     // two-sided, by dealing the units out again
	Deals      int         // arrangements that Permuted rests on; 0: the normal law of all of them
	Shift      stats.Shift // Hodges-Lehmann, of B above A
	Margin     float64     // differences up to it do not matter
	MarginFrom string      // GivenMargin or LimitMargin
	SameP      float64     // that a difference beyond the margin looks like this: two one-sided tests
	Detectable float64     // true difference that such runs show with 80 % power, at 5 % for this measure alone
	// Apart is the least by which the second side lies above the first where a side has bounds, of the
	// size where less is better, with its expanded uncertainty; NaN where the sides may overlap.
	Apart, ApartU float64
}

// Where a margin comes from.
const (
	GivenMargin = "given"
	LimitMargin = "a quarter of the limit"
)

// Result is the whole comparison.
type Result struct {
	Rows     []Row
	Sentence string
	Headline string // the same without the names of measures that show no difference
	Few      string // what is missing for a verdict where a side has one assembly; "" for nothing
	Notes    []string
	Family   int // measures asked for whose probabilities are adjusted together
}

// Sides compares the runs of one joint: b against a.
func Sides(a, b []Run, o Options) Result {
	if o.A == "" || o.B == "" {
		o.A, o.B = "the first side", "the second side"
	}
	if len(a) == 0 || len(b) == 0 {
		const none = "Nothing can be compared: one side has no runs."
		return Result{Sentence: none, Headline: none}
	}
	routines, notes := pair(a, b, o)
	out := Result{Notes: notes}
	if len(routines) == 0 {
		out.Sentence = "The two sides are not comparable because no routine was run on both."
		out.Headline = out.Sentence
		return out
	}
	var done []rowSides
	for _, k := range keysOf(routines, o.Measures) {
		if s := widest(k, routines); o.All || len(o.Measures) > 0 || s.limited() {
			done = append(done, s)
		}
	}
	out.Rows = make([]Row, len(done))
	each(len(done), func(i int) { out.Rows[i] = done[i].row(o) })
	out.Family = adjust(out.Rows)
	for i := range out.Rows {
		out.Rows[i].Joint = a[0].Joint.Joint
		done[i].decide(&out.Rows[i], o)
	}
	out.Notes = append(out.Notes, families(out.Rows, out.Family, o)...)
	out.say(o)
	return out
}

// row fills in a measure's row but for what hangs on the other rows.
func (s rowSides) row(o Options) Row {
	r := Row{Routine: s.routine, Asked: len(o.Measures) > 0 || s.limited(), Diff: math.NaN(), U: math.NaN(),
		A: s.a.measure(s.key), B: s.b.measure(s.key), NA: s.a.n(), NB: s.b.n()}
	s.evidence(&r, o)
	return r
}

// each calls f for every number below n, on all processors.
func each(n int, f func(i int)) {
	var next atomic.Int64
	var all sync.WaitGroup
	for range min(n, runtime.GOMAXPROCS(0)) {
		all.Go(func() {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				f(i)
			}
		})
	}
	all.Wait()
}

// adjust adjusts probabilities for how many measures are looked at: those asked for among themselves,
// the others among all. It returns how many of the first there are.
func adjust(rows []Row) (asked int) {
	var first, all []float64
	for i := range rows {
		rows[i].Adjusted = math.NaN()
		if math.IsNaN(rows[i].P) {
			continue
		}
		all = append(all, rows[i].P)
		if rows[i].Asked {
			first = append(first, rows[i].P)
		}
	}
	asked = len(first)
	first, all = stats.Holm(first), stats.Holm(all)
	for i := range rows {
		if math.IsNaN(rows[i].P) {
			continue
		}
		rows[i].Adjusted = all[0]
		if rows[i].Asked {
			rows[i].Adjusted, first = first[0], first[1:]
		}
		all = all[1:]
	}
	return asked
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
