package main

import (
	"math"

	"limbgauge/analyze/health"
	"limbgauge/analyze/stats"
	"limbgauge/analyze/trend"
)

// The JSON of trends. Figures that are not there are null.
type trendsJSON struct {
	Schema    int             `json:"schema"`
	FalseRate float64         `json:"false_warning_rate"` // of a healthy joint, all measures together
	Runs      int             `json:"false_warning_runs"` // within so many runs
	Joints    []jointTrendsJS `json:"joints"`
}

type jointTrendsJS struct {
	Joint    string        `json:"joint"`
	Sentence string        `json:"sentence"`
	Warnings []warningJSON `json:"warnings"` // those that stand, most urgent first
	Measures []measureJS   `json:"measures"`
}

type measureJS struct {
	Name      string        `json:"name"`
	Path      health.Path   `json:"path"`
	Unit      string        `json:"unit"`
	Limit     *float64      `json:"limit"`
	LimitFrom string        `json:"limit_from,omitempty"`
	Watched   bool          `json:"watched"`
	Stretches []stretchJSON `json:"stretches"`
}

type stretchJSON struct {
	Since    string       `json:"since"`
	Routine  string       `json:"routine"`
	Sentence string       `json:"sentence"`
	Baseline baselineJSON `json:"baseline"`
	Readings int          `json:"readings"`
	Bounds   int          `json:"bounds"`
	Unseen   int          `json:"not_observable"`
	LeftOut  int          `json:"left_out"`
	Others   int          `json:"other_routines"`
	Shape    trend.Shape  `json:"shape"`
	From     string       `json:"from,omitempty"` // run from which the slope or the new level counts
	PerRun   *slopeJSON   `json:"per_run"`
	PerCycle *slopeJSON   `json:"per_cycle"`
	P        *float64     `json:"mann_kendall_p"`
	Forecast forecastJSON `json:"forecast"`
	Warning  *warningJSON `json:"warning"`
	Runs     []rowJSON    `json:"runs"`
}

type baselineJSON struct {
	Runs    []string `json:"runs"`
	Centre  *float64 `json:"centre"`
	Ceiling bool     `json:"only_a_bound"`
	Sigma   *float64 `json:"sigma"`
}

type slopeJSON struct {
	Value *float64 `json:"value"`
	Lo    *float64 `json:"lo"`
	Hi    *float64 `json:"hi"`
}

type forecastJSON struct {
	Passed string     `json:"passed_since,omitempty"`
	Runs   *slopeJSON `json:"runs"`
	Cycles *slopeJSON `json:"cycles"`
	Days   *slopeJSON `json:"days"`
	Beyond *float64   `json:"beyond"`
	Why    string     `json:"why,omitempty"` // there is none
}

type warningJSON struct {
	Level    trend.Level `json:"level"`
	Measure  string      `json:"measure"`
	Path     health.Path `json:"path"`
	Better   bool        `json:"better,omitempty"`
	First    string      `json:"first_raised"`
	Stands   bool        `json:"stands"`
	Text     string      `json:"text"`
	Evidence []string    `json:"evidence"`
}

type rowJSON struct {
	Run     string         `json:"run"`
	X       float64        `json:"number"`
	Cycles  *float64       `json:"cycles"`
	Measure health.Measure `json:"measure"`
	Used    bool           `json:"used"`
	Base    bool           `json:"baseline"`
	Why     string         `json:"why,omitempty"`
	Z       *chartJSON     `json:"z"`
	EWMA    *chartJSON     `json:"ewma"`
	CUSUM   *chartJSON     `json:"cusum"`
	Slope   *chartJSON     `json:"slope_z"`
}

// chartJSON is a value of a chart, in standard deviations to the worse, and where it warns.
type chartJSON struct {
	Value float64 `json:"value"`
	Limit float64 `json:"limit"`
}

func chartOf(c trend.Chart) *chartJSON {
	if math.IsNaN(c.Value) {
		return nil
	}
	return &chartJSON{c.Value, c.Limit}
}

func known(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

func trendJSON(all []jointTrend, o trendOptions) trendsJSON {
	out := trendsJSON{Schema: 1, FalseRate: trend.FalseRate, Runs: trend.Runs, Joints: []jointTrendsJS{}}
	for _, j := range all {
		jj := jointTrendsJS{Joint: j.joint, Sentence: verdictOf(j), Warnings: []warningJSON{}, Measures: []measureJS{}}
		for _, w := range trend.Stand(j.trends) {
			jj.Warnings = append(jj.Warnings, *warningOf(&w))
		}
		for _, t := range j.trends {
			if o.measure != "" && (t.Name != o.measure || o.path != "" && string(t.Path) != o.path) {
				continue
			}
			m := measureJS{Name: t.Name, Path: t.Path, Unit: t.Unit, Limit: known(t.Limit), LimitFrom: t.LimitFrom, Watched: t.Watched, Stretches: []stretchJSON{}}
			for _, s := range t.Stretches {
				m.Stretches = append(m.Stretches, stretchOf(s))
			}
			jj.Measures = append(jj.Measures, m)
		}
		out.Joints = append(out.Joints, jj)
	}
	return out
}

func stretchOf(s trend.Stretch) stretchJSON {
	out := stretchJSON{Since: s.Since, Routine: s.Routine, Sentence: s.Saying, Readings: s.Readings, Bounds: s.Bounds, Unseen: s.Unseen, LeftOut: s.Left, Others: len(s.Others),
		Baseline: baselineJSON{append([]string{}, s.Baseline.Runs...), known(s.Baseline.Centre), s.Baseline.Ceiling, known(s.Baseline.Sigma)},
		Shape:    s.Course.Shape, PerRun: slopeOf(s.Course.Slope), PerCycle: slopeOf(s.Course.CycleSlope), P: known(s.Course.P),
		Forecast: forecastJSON{s.Forecast.Passed, rangeOf(s.Forecast.Runs), rangeOf(s.Forecast.Cycles), rangeOf(s.Forecast.Days), known(s.Forecast.Beyond), s.Forecast.Unsaid},
		Warning:  warningOf(s.Warning), Runs: []rowJSON{}}
	if s.Course.From < len(s.Rows) {
		out.From = s.Rows[s.Course.From].Run
	}
	for _, r := range s.Rows {
		out.Runs = append(out.Runs, rowJSON{r.Run, r.X, known(r.Cycles), r.Measure, r.Used, r.Base, r.Why,
			chartOf(r.Z), chartOf(r.Mean), chartOf(r.Sum), chartOf(r.Tilt)})
	}
	return out
}

func slopeOf(s stats.Slope) *slopeJSON {
	if math.IsNaN(s.Slope) {
		return nil
	}
	return &slopeJSON{known(s.Slope), known(s.Lo), known(s.Hi)}
}

func rangeOf(r trend.Range) *slopeJSON {
	if math.IsNaN(r.Value) {
		return nil
	}
	return &slopeJSON{known(r.Value), known(r.Lo), known(r.Hi)}
}

func warningOf(w *trend.Warning) *warningJSON {
	if w == nil {
		return nil
	}
	return &warningJSON{w.Level, w.Measure, w.Path, w.Better, w.First, w.Stands, w.Text, append([]string{}, w.Evidence...)}
}
