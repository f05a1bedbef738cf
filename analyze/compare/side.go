package compare

import (
	"fmt"
	"math"
	"slices"

	"limbgauge/analyze/health"
	"limbgauge/analyze/stats"
)

// side is what the runs of one side know of a measure.
type side struct {
	units   []float64        // means of the assemblies that measured it
	known   map[string]bool  // assemblies that measured or bounded it
	values  []health.Measure // measured
	bounds  []health.Measure
	runs    int
	unknown int  // runs that do not know it
	named   bool // a run names it at all
	reason  string
	limit   float64
}

func collect(d health.Definition, p health.Path, runs []Run) side {
	s := side{known: map[string]bool{}, runs: len(runs), limit: math.NaN()}
	groups := map[string][]float64{}
	for _, r := range runs {
		m, ok := r.Joint.Find(d.Name, p)
		if !ok {
			s.unknown++
			continue
		}
		s.named = true
		if !math.IsNaN(m.Limit) && !m.FromBaseline() { // what one side was at first is no measure for the other
			s.limit = m.Limit // the newest: what the builder accepts now
		}
		if m.Status == health.NotObservable || !finite(m.Value) {
			s.unknown++
			s.reason = m.Reason
			continue
		}
		key := "tag " + r.Assembly // so that no tag is taken for a run
		if r.Assembly == "" {
			key = "run " + r.ID
		}
		s.known[key] = true
		if m.Status != health.Measured {
			s.bounds = append(s.bounds, m)
			continue
		}
		s.values = append(s.values, m)
		groups[key] = append(groups[key], m.Value)
	}
	for _, g := range groups {
		s.units = append(s.units, stats.Mean(g))
	}
	slices.Sort(s.units) // a map has no order, and sums must not change from call to call
	return s
}

// n returns the number of independent units that know the measure.
func (s side) n() int { return len(s.known) }

// all returns the figures of every run that knows the measure.
func (s side) all() []health.Measure { return append(slices.Clone(s.bounds), s.values...) }

// own returns the mean expanded uncertainty of a single run, NaN where one is not known.
func (s side) own() float64 {
	sum := 0.0
	for _, m := range s.values {
		sum += m.Uncertainty
	}
	return sum / float64(len(s.values))
}

// averaged returns the share of the runs' own expanded uncertainty that the mean of the units keeps.
func (s side) averaged() float64 { return s.own() / math.Sqrt(float64(len(s.units))) }

// measure puts a side into one figure: the mean of the units where every run that knows the measure
// has measured it. A mean over the runs that happened to measure it would lean to one side where
// others saw a bound, so then the figure is what holds for every run.
func (s side) measure(d health.Definition, p health.Path) health.Measure {
	var m health.Measure
	switch {
	case s.n() == 0:
		reason := s.reason
		if !s.named {
			reason = "no run of this side has it"
		}
		m = health.Unseen(d.Name, p, "", reason)
	case len(s.bounds) > 0:
		m = s.bound(d, p)
	default:
		u := s.averaged()
		if n := float64(len(s.units)); n >= 2 {
			scatter := stats.T95(n-1) * stats.SD(s.units) / math.Sqrt(n)
			switch {
			case !math.IsNaN(u):
				u = math.Max(u, scatter)
			case scatter > 0:
				u = scatter
			}
		}
		m = health.Of(d.Name, p, stats.Mean(s.units), u, "mean of the side")
	}
	m.Limit = s.limit
	return m
}

// bound returns the bound that holds for every run of the side: the weakest.
func (s side) bound(d health.Definition, p health.Path) health.Measure {
	status := s.bounds[0].Status
	if slices.ContainsFunc(s.bounds, func(m health.Measure) bool { return m.Status != status }) {
		return health.Unseen(d.Name, p, "", "some runs say at least, others at most")
	}
	if slices.ContainsFunc(s.values, func(m health.Measure) bool { return math.IsNaN(m.Uncertainty) }) {
		return health.Unseen(d.Name, p, "", "a run has no uncertainty and others only bounds")
	}
	end := func(m health.Measure) float64 {
		m.Status = status // a measured value bounds its run from both sides
		lo, hi := reach(d, m)
		if status == health.BoundLow {
			return lo
		}
		return -hi
	}
	all := s.all()
	weakest := slices.MinFunc(all, func(x, y health.Measure) int {
		switch ex, ey := end(x), end(y); {
		case ex < ey:
			return -1
		case ex > ey:
			return 1
		}
		return 0
	})
	v := weakest.Value
	if !d.More {
		v = math.Abs(v)
	}
	reason := weakest.Reason
	if len(s.values) > 0 {
		reason = fmt.Sprintf("%d of %d runs have only a bound", len(s.bounds), len(all))
	}
	return health.Bound(d.Name, p, status, v, weakest.Uncertainty, "what holds for every run of the side", reason)
}

// missing says how many runs do not know the measure, since those that do may be no fair choice.
func (s side) missing(name string) string {
	if s.unknown == 0 {
		return ""
	}
	return fmt.Sprintf("not seen in %d of %d runs of the %s side", s.unknown, s.runs, name)
}
