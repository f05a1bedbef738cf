package trend

import (
	"cmp"
	"math"
	"runtime"
	"slices"
	"sync"
	"time"

	"limbgauge/analyze/alike"
	"limbgauge/analyze/health"
)

// Point is what one run says of a measure.
type Point struct {
	Run     string
	Started time.Time
	Cycles  float64 // travelled up to the run, NaN where it is not known
	Measure health.Measure
	At      *alike.Conditions
	Good    bool // whole, and with nothing wrong found in it: fit for a baseline
	Broken  bool // the run did not come to its end: it is shown, and counts for nothing
}

// Series is one measure of a joint on one path over its runs, in the order of runs.
type Series struct {
	Name   string
	Path   health.Path
	Points []Point
}

// Break is what was done to the joint: from the first run at or after its time a new stretch counts.
type Break struct {
	At   time.Time
	What string
}

// Trend is what the runs say of one measure.
type Trend struct {
	Name  string
	Path  health.Path
	Unit  string
	Limit float64 // what the newest runs were judged by, NaN without one
	// LimitFrom says where the limit comes from, as in health.Measure.
	LimitFrom string
	// Watched says whether a change for the worse raises a warning. A measure without a limit, or of which
	// neither more nor less is better, gives notes only.
	Watched bool
	// Stretches are in the order of time; the last is the one that goes on.
	Stretches []Stretch
}

// Newest returns the stretch that goes on; ok is false where there is no run.
func (t Trend) Newest() (s Stretch, ok bool) {
	if len(t.Stretches) == 0 {
		return s, false
	}
	return t.Stretches[len(t.Stretches)-1], true
}

// Stretch is the time between two breaks, as far as its runs compare.
type Stretch struct {
	Since    string // what began it; "" for the joint's first
	Routine  string
	Rows     []Row   // every run of the routine, in order
	Runs     int     // rows whose run came to its end
	Others   []Point // runs of other routines, in order
	Readings int     // rows with a value
	Bounds   int     // rows with a bound
	Unseen   int     // rows that did not see the measure
	Left     int     // rows left out, see Row.Why
	Baseline Baseline
	Course   Course
	Forecast Forecast
	Warning  *Warning // nil for none
	// Saying is what there is to say of the stretch in one sentence.
	Saying string
}

// Row is one run with its place in the charts.
type Row struct {
	Point
	X float64 // number of the run within the stretch, from 1
	// Why says why the row counts for nothing, or why its figure was corrected.
	Why  string
	Used bool
	Charts
}

// Charts is where a run stands in the charts.
type Charts struct {
	Base bool // part of the baseline
	// Z is how far the run lies to the bad side of those of the baseline before it, in standard
	// deviations of a normal reading; Mean (EWMA) and Sum (CUSUM) are made of it. Tilt is the slope up to
	// this run over its standard uncertainty, as a normal deviate.
	Z, Mean, Sum, Tilt Chart
}

// Chart is a value of a control chart and the height above which it warns, NaN where there is none.
type Chart struct{ Value, Limit float64 }

// Out reports whether the value is above the limit.
func (c Chart) Out() bool { return c.Value > c.Limit }

var (
	noChart  = Chart{math.NaN(), math.NaN()}
	noCharts = Charts{Z: noChart, Mean: noChart, Sum: noChart, Tilt: noChart}
)

// Options choose what is looked at.
type Options struct {
	Routine string  // "" takes for each stretch the one with most runs, see usual
	Rate    float64 // probability of a false warning of the joint in Runs healthy runs; 0 for FalseRate
	// Newest leaves the stretches before the one that goes on unlooked at: they say what began them and no more.
	Newest bool
}

const (
	// FalseRate is the probability that any measure of a healthy joint raises a warning within Runs runs.
	FalseRate = 0.03
	// Runs is the length of a stretch that FalseRate holds for; in longer ones limits widen slowly.
	Runs = 20
)

// undirected says whether a measure has no bad direction. The width of a tight spot is taken for one, as
// its height says how bad it is.
func undirected(name string) bool { return health.Undirected(name) || name == "tight_spot_width" }

// twins show what another measure shows in other words; they raise no warning of their own.
var twins = map[string]bool{"span_slack_torque": true}

// signed measures have a sign and are judged by their size.
var signed = map[string]bool{
	"creep": true, "permanent_set": true, "offset_step": true, "mean_reversal": true, "friction_asymmetry": true,
}

// unlimited are watched even where nothing limits them, as they are early signs by themselves.
var unlimited = map[string]bool{"belt_tension": true}

// Joint looks at all measures of one joint together: the probability of a false warning is shared
// between those that are watched. Trends come in the order of the series.
func Joint(series []Series, breaks []Break, o Options) []Trend {
	out := make([]Trend, len(series))
	watched := 0
	for i, s := range series {
		d, _ := health.DefinitionOf(s.Name)
		t := Trend{Name: s.Name, Path: s.Path, Unit: d.Unit, Limit: math.NaN()}
		for _, p := range slices.Backward(s.Points) {
			if !math.IsNaN(p.Measure.Limit) && (o.Routine == "" || p.At.Routine == o.Routine) {
				t.Limit, t.LimitFrom = p.Measure.Limit, p.Measure.LimitFrom
				break
			}
		}
		t.Watched = !undirected(s.Name) && !twins[s.Name] && (!math.IsNaN(t.Limit) || unlimited[s.Name])
		if t.Watched {
			watched++
		}
		out[i] = t
	}
	rate := o.Rate
	if rate == 0 {
		rate = FalseRate
	}
	share := rate / float64(max(1, watched))
	// What one measure says does not hang on another, so they are worked out side by side.
	var all sync.WaitGroup
	free := make(chan struct{}, runtime.GOMAXPROCS(0))
	for i, s := range series {
		free <- struct{}{}
		all.Go(func() {
			defer func() { <-free }()
			parts := split(s.Points, breaks)
			for k, part := range parts {
				if o.Newest && k < len(parts)-1 {
					out[i].Stretches = append(out[i].Stretches, Stretch{Since: part.since})
					continue
				}
				routine := o.Routine
				if routine == "" {
					routine = usual(part.points, s.Points)
				}
				out[i].Stretches = append(out[i].Stretches, out[i].look(part, share, routine))
			}
		})
	}
	all.Wait()
	return out
}

// look works out one stretch.
func (t Trend) look(p part, share float64, routine string) Stretch {
	s := rows(p, routine)
	d, _ := health.DefinitionOf(t.Name)
	w := watch{stretch: &s, trend: t, decimals: d.Decimals, share: share}
	switch {
	case d.More:
		w.bad = []float64{-1}
	case signed[t.Name] || undirected(t.Name):
		w.bad = []float64{1, -1}
	default:
		w.bad = []float64{1}
	}
	w.run()
	return s
}

// Stand returns the warnings that stand in the newest stretches: those of limits that the builder states
// first, then by how near the limit is.
func Stand(trends []Trend) []Warning {
	var out []Warning
	for _, t := range trends {
		if s, ok := t.Newest(); ok && s.Warning != nil && s.Warning.Stands && s.Warning.Level == LevelWarning {
			out = append(out, *s.Warning)
		}
	}
	slices.SortStableFunc(out, func(a, b Warning) int {
		if a.stated != b.stated {
			return pick(a.stated, -1, 1)
		}
		return cmp.Compare(a.urgency, b.urgency)
	})
	return out
}
