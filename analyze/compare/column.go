package compare

import (
	"fmt"
	"math"
	"slices"

	"limbgauge/analyze/alike"
	"limbgauge/analyze/health"
	"limbgauge/analyze/stats"
)

// key names a measure; def is what there is to know of it.
type key struct {
	name string
	path health.Path
	def  health.Definition
}

// entry is one run's figure of a measure.
type entry struct {
	value, u float64
	status   health.Status
	unit     int
}

// column is what the runs of one side know of a measure.
type column struct {
	key
	side   string    // what the side is called
	runs   int       // of the side
	seen   []entry   // measured or bounded
	means  []float64 // see values
	bounds int       // of those
	named  bool      // a run names it at all
	known  []bool    // by unit: it measured or bounded it
	unseen int       // runs that have it and do not know it
	reason string
	limit  float64
	// What alike says: of how many runs, and of the first of them.
	refused, corrected, said             int
	refusedWhy, correctedWhy, remarkedAs string
}

// sheet is one side of a routine, measure by measure.
type sheet struct {
	columns map[columnName]*column
	order   []*column // as a run gives them
}

type columnName struct {
	name string
	path health.Path
}

// collect turns runs into columns, each figure brought to the conditions `to`. Runs come in the order of
// their names, so that nothing hangs on the order they are given in.
func collect(runs []*Run, to alike.Conditions, called string) sheet {
	s := sheet{columns: map[columnName]*column{}}
	units := map[string]int{}
	column := func(i int, m *health.Measure) *column {
		// Runs of one routine give their measures in one order, so the place is a good guess.
		if i < len(s.order) && s.order[i].name == m.Name && s.order[i].path == m.Path {
			return s.order[i]
		}
		at := columnName{m.Name, m.Path}
		c, ok := s.columns[at]
		if !ok {
			c = &column{key: key{name: m.Name, path: m.Path}, side: called, runs: len(runs), limit: math.NaN(), seen: make([]entry, 0, len(runs))}
			c.def, _ = health.DefinitionOf(m.Name)
			s.columns[at], s.order = c, append(s.order, c)
		}
		return c
	}
	for _, r := range runs {
		tag := "tag " + r.Assembly // so that no tag is taken for a run
		if r.Assembly == "" {
			tag = "run " + r.ID
		}
		unit, ok := units[tag]
		if !ok {
			unit = len(units)
			units[tag] = unit
		}
		b := bringer(r, to)
		for i := range r.Joint.Measures {
			m := &r.Joint.Measures[i]
			c := column(i, m)
			if b.plain {
				c.add(m, nothing, unit)
				continue
			}
			brought, answer := b.bring(*m)
			c.add(&brought, answer, unit)
		}
	}
	return s
}

// nothing is the answer of runs whose conditions are alike.
var nothing = alike.Answer{Kind: alike.Alike}

func (c *column) add(m *health.Measure, a alike.Answer, unit int) {
	c.named = true
	if !math.IsNaN(m.Limit) && !m.FromBaseline() { // what one side was at first is no measure for the other
		c.limit = m.Limit // the newest: what the builder accepts now
	}
	count := func(n *int, first *string) {
		if *n++; *n == 1 {
			*first = a.Why
		}
	}
	switch {
	case a.Kind == alike.NotComparable:
		count(&c.refused, &c.refusedWhy)
		return
	case m.Status == health.NotObservable || !finite(m.Value):
		c.unseen++
		c.reason = m.Reason
		return
	case a.Kind == alike.Corrected:
		count(&c.corrected, &c.correctedWhy)
	case a.Why != "":
		count(&c.said, &c.remarkedAs)
	}
	if m.Status != health.Measured {
		c.bounds++
	}
	for len(c.known) <= unit {
		c.known = append(c.known, false)
	}
	c.known[unit] = true
	c.seen = append(c.seen, entry{m.Value, m.Uncertainty, m.Status, unit})
}

// n returns the number of independent units that know the measure.
func (c *column) n() (n int) {
	if c == nil {
		return 0
	}
	for _, k := range c.known {
		if k {
			n++
		}
	}
	return n
}

// values returns the mean over the runs of each unit that measured it, in rising order. All are measured
// where it is asked.
func (c *column) values() []float64 {
	if c.means == nil {
		c.means = c.units(func(e entry) float64 { return e.value })
	}
	return c.means
}

// units returns the mean of a figure over the runs of each unit, in rising order.
func (c *column) units(of func(entry) float64) []float64 {
	sum, count := make([]float64, len(c.known)), make([]int, len(c.known))
	for _, e := range c.seen {
		sum[e.unit] += of(e)
		count[e.unit]++
	}
	out := make([]float64, 0, len(sum))
	for i, n := range count {
		if n > 0 {
			out = append(out, sum[i]/float64(n))
		}
	}
	slices.Sort(out)
	return out
}

// averaged returns the share of the runs' own expanded uncertainty that the mean of the units keeps;
// NaN where a run's is not known. A bound without one is the bound itself.
func (c *column) averaged() float64 {
	sum := 0.0
	for _, e := range c.seen {
		if math.IsNaN(e.u) && e.status != health.Measured {
			continue
		}
		sum += e.u
	}
	return sum / float64(len(c.seen)) / math.Sqrt(float64(c.n()))
}

// measure puts a side into one figure: the mean of the units where every run that knows the measure
// has measured it. A mean over the runs that happened to measure it would lean to one side where
// others saw a bound, so then the figure is what holds for every run.
func (c *column) measure(k key) health.Measure {
	var m health.Measure
	switch {
	case c == nil:
		return health.Unseen(k.name, k.path, "", "no run of this side has it")
	case c.n() == 0 && c.refused > 0:
		m = health.Unseen(k.name, k.path, "", c.refusedWhy)
	case c.n() == 0:
		m = health.Unseen(k.name, k.path, "", c.reason)
	case c.bounds > 0:
		m = c.bound(k)
	default:
		units, u := c.values(), c.averaged()
		if n := float64(len(units)); n >= 2 {
			scatter := stats.T95(n-1) * stats.SD(units) / math.Sqrt(n)
			switch {
			case !math.IsNaN(u):
				u = math.Max(u, scatter)
			case scatter > 0:
				u = scatter
			}
		}
		m = health.Of(k.name, k.path, stats.Mean(units), u, "mean of the side")
	}
	m.Limit = c.limit
	return m
}

// bound returns the bound that holds for every run of the side: the weakest.
func (c *column) bound(k key) health.Measure {
	var status health.Status
	for _, e := range c.seen {
		switch {
		case e.status == health.Measured && math.IsNaN(e.u):
			return health.Unseen(k.name, k.path, "", "a run has no uncertainty and others only bounds")
		case e.status == health.Measured:
		case status == "":
			status = e.status
		case status != e.status:
			return health.Unseen(k.name, k.path, "", "some runs say at least, others at most")
		}
	}
	end := func(e entry) float64 {
		e.status = status // a measured value bounds its run from both sides
		lo, hi := reach(k, e)
		if status == health.BoundLow {
			return lo
		}
		return -hi
	}
	weakest := c.seen[0]
	for _, e := range c.seen[1:] {
		if end(e) < end(weakest) {
			weakest = e
		}
	}
	v := weakest.value
	if !k.def.More {
		v = math.Abs(v)
	}
	reason := "a bound in every run"
	if c.bounds < len(c.seen) {
		reason = fmt.Sprintf("%d of %d runs have only a bound", c.bounds, len(c.seen))
	}
	return health.Bound(k.name, k.path, status, v, weakest.u, "what holds for every run of the side", reason)
}

// reach returns the ends between which a figure lies, of its size where less is better.
func reach(k key, e entry) (lo, hi float64) {
	v, u := e.value, e.u
	if !k.def.More {
		v = math.Abs(v)
	}
	if math.IsNaN(u) {
		if e.status == health.Measured {
			return math.Inf(-1), math.Inf(1) // a figure whose doubt is not known proves nothing
		}
		u = 0 // a bound without more is the bound itself
	}
	switch e.status {
	case health.BoundLow:
		return v - u, math.Inf(1)
	case health.BoundHigh:
		return math.Inf(-1), v + u
	}
	return v - u, v + u
}

// remarks says what there is to know of how the side's figures came to stand here.
func (c *column) remarks() (out []string) {
	if c == nil {
		return nil
	}
	share := func(n int, what string) {
		switch {
		case n > 0 && n == c.runs:
			out = append(out, c.side+": "+what)
		case n > 0:
			out = append(out, fmt.Sprintf("%d of %d runs of %s: %s", n, c.runs, c.side, what))
		}
	}
	share(c.corrected, c.correctedWhy)
	share(c.said, c.remarkedAs)
	if c.n() > 0 {
		share(c.refused, c.refusedWhy)
		if n := c.runs - len(c.seen) - c.refused; n > 0 { // those that do may be no fair choice
			out = append(out, fmt.Sprintf("not seen in %d of %d runs of %s", n, c.runs, c.side))
		}
	}
	return out
}
