package compare

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"limbgauge/analyze/alike"
	"limbgauge/analyze/health"
)

// routine is one routine that both sides ran, with what they know.
type routine struct {
	name string
	a, b sheet
}

// pair sorts the runs by the routines that stand on both sides: another routine loads and moves the
// joint differently, so its figures do not compare. Notes say what is left out and what to know.
func pair(a, b []Run, o Options) (out []routine, notes []string) {
	first, second := byRoutine(a), byRoutine(b)
	notes = append(notes, left(first, second, o.A)...)
	notes = append(notes, left(second, first, o.B)...)
	var both []string
	for name := range first {
		if len(second[name]) > 0 {
			both = append(both, name)
		}
	}
	slices.Sort(both)
	tags := map[string]int{}
	alone := false
	for _, name := range both {
		a, b := first[name], second[name]
		to := reference(a, b)
		var sheets [2]sheet
		each(2, func(i int) { sheets[i] = collect([2][]*Run{a, b}[i], to, [2]string{o.A, o.B}[i]) })
		out = append(out, routine{name, sheets[0], sheets[1]})
		for side, runs := range [][]*Run{a, b} {
			untagged := 0
			for _, r := range runs {
				if r.Assembly == "" {
					untagged++
				} else {
					tags[r.Assembly] |= 1 << side
				}
			}
			alone = alone || untagged > 1
		}
	}
	if len(both) > 1 {
		notes = append(notes, fmt.Sprintf("both sides ran %s; each measure is compared within the one that knows most of it", strings.Join(both, ", ")))
	}
	if alone {
		notes = append(notes, "runs without an assembly tag count as one assembly each; where the leg was not taken apart between them, the intervals are too narrow")
	}
	if l, m := legs(a), legs(b); l != m {
		notes = append(notes, fmt.Sprintf("%s is of leg %s, %s of leg %s: what sets the legs apart is in the differences too", o.A, l, o.B, m))
	}
	if shared := onBoth(tags); len(shared) > 0 {
		notes = append(notes, "on both sides: assembly "+some(shared)+"; each counts once on either, as if they had nothing in common")
	}
	return out, notes
}

// byRoutine sorts runs by routine, and within one by name, so that the answer does not hang on the
// order they are given in.
func byRoutine(runs []Run) map[string][]*Run {
	out := map[string][]*Run{}
	for i := range runs {
		r := &runs[i]
		out[r.Routine] = append(out[r.Routine], r)
	}
	for _, list := range out {
		slices.SortStableFunc(list, func(x, y *Run) int { return strings.Compare(x.ID, y.ID) })
	}
	return out
}

func left(runs, other map[string][]*Run, called string) (notes []string) {
	for name, list := range runs {
		if len(other[name]) > 0 {
			continue
		}
		ids := make([]string, len(list))
		for i, r := range list {
			ids[i] = r.ID
		}
		notes = append(notes, fmt.Sprintf("of %s left out: run %s; routine %q was not run on the other side", called, some(ids), name))
	}
	slices.Sort(notes)
	return notes
}

// legs lists the legs of a side.
func legs(runs []Run) string {
	var out []string
	for i := range runs {
		if l := runs[i].Conditions.Leg; !slices.Contains(out, l) {
			out = append(out, l)
		}
	}
	slices.Sort(out)
	return strings.Join(out, ", ")
}

func onBoth(tags map[string]int) (out []string) {
	for tag, sides := range tags {
		if sides == 3 {
			out = append(out, tag)
		}
	}
	slices.Sort(out)
	return out
}

// some lists names, the first few when there are many.
func some(names []string) string {
	const few = 6
	if len(names) <= few {
		return strings.Join(names, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(names[:few], ", "), len(names)-few)
}

// How many runs of a side may give the conditions that all are brought to, and how many are asked how
// they fare with those.
const (
	candidates = 8
	asked      = 32
)

// reference returns the conditions of the run that the fewest conditions of others set apart, the
// first by name among equals.
func reference(a, b []*Run) alike.Conditions {
	var best alike.Conditions
	least, id := math.Inf(1), ""
	for _, side := range [][]*Run{a, b} {
		for _, c := range spread(side, candidates) {
			apart := 0.0
			for _, other := range [][]*Run{a, b} {
				sample := spread(other, asked)
				n := 0
				for _, r := range sample {
					n += alike.Between(conditions(r), conditions(c)).Refusals()
				}
				apart += float64(n) / float64(len(sample))
			}
			if apart < least || apart == least && c.ID < id {
				best, least, id = conditions(c), apart, c.ID
			}
		}
	}
	return best
}

// spread returns at most n runs, evenly over all.
func spread(runs []*Run, n int) []*Run {
	if len(runs) <= n {
		return runs
	}
	out := make([]*Run, n)
	for i := range out {
		out[i] = runs[i*len(runs)/n]
	}
	return out
}

const (
	loadMeasure  = "load_torque_peak"
	stallMeasure = "stall_time"
)

// Needs returns the measures that tell the conditions of a run: whoever hands over some measures only
// hands over these too.
func Needs() []string { return []string{loadMeasure, stallMeasure} }

// conditions returns a run's conditions as far as sides of a comparison differ in them. Legs are what
// is compared, and one routine is looked at at a time. A joint in stall does not reach the angle where
// its load is greatest, so what it saw of the load tells nothing.
func conditions(r *Run) alike.Conditions {
	c := r.Conditions
	c.Leg, c.Routine, c.LoadNm = "", "", math.NaN()
	stalled := false
	for i := range r.Joint.Measures {
		switch m := &r.Joint.Measures[i]; {
		case m.Status == health.NotObservable:
		case m.Name == loadMeasure && m.Path == health.NoPath && m.Status == health.Measured:
			c.LoadNm = m.Value
		case m.Name == stallMeasure && m.Status != health.BoundHigh && m.Value > 0:
			stalled = true
		}
	}
	if stalled {
		c.LoadNm = math.NaN()
	}
	return c
}

// bringing takes the figures of one run to the conditions of the comparison.
type bringing struct {
	all, cost alike.Differences
	plain     bool // nothing is to be done
	load      string
}

func bringer(r *Run, to alike.Conditions) bringing {
	d := alike.Between(conditions(r), to)
	b := bringing{all: d, cost: d, plain: d.None(), load: d.Load()}
	if b.load != "" {
		b.cost = d.WithLoadAsItIs()
	}
	return b
}

// bring leaves what the load costs the drive as it is: a revision may have made the leg heavier, and
// that is what shows in it.
func (b *bringing) bring(m health.Measure) (health.Measure, alike.Answer) {
	if b.load == "" || !alike.LoadCost(m.Name) {
		return b.all.Figures(m)
	}
	m, a := b.cost.Figures(m)
	if a.Kind != alike.NotComparable {
		a.Why = joined([]string{b.load + ", which may be all of it", a.Why})
	}
	return m, a
}

// rowSides is what is known of one measure within one routine. A side without it is nil.
type rowSides struct {
	key
	routine string
	a, b    *column
}

// limited says whether the builder states what is accepted of the measure.
func (s rowSides) limited() bool {
	return s.a != nil && !math.IsNaN(s.a.limit) || s.b != nil && !math.IsNaN(s.b.limit)
}

// keysOf returns the measures that any run has, in the order of the definitions.
func keysOf(routines []routine, only []string) (out []key) {
	for _, d := range health.Definitions() {
		if len(only) > 0 && !slices.Contains(only, d.Name) {
			continue
		}
		for _, p := range health.Paths() {
			at := columnName{d.Name, p}
			if slices.ContainsFunc(routines, func(r routine) bool { return r.a.columns[at] != nil || r.b.columns[at] != nil }) {
				out = append(out, key{d.Name, p, d})
			}
		}
	}
	return out
}

// widest returns a measure in the routine that knows most of it on both sides.
func widest(k key, routines []routine) rowSides {
	var out rowSides
	most := -1
	for _, r := range routines {
		at := columnName{k.name, k.path}
		s := rowSides{key: k, routine: r.name, a: r.a.columns[at], b: r.b.columns[at]}
		if s.a == nil && s.b == nil {
			continue
		}
		if n := min(s.a.n(), s.b.n()); n > most {
			out, most = s, n
		}
	}
	return out
}
