package report

import (
	"fmt"
	"html/template"
	"math"
	"slices"

	"limbgauge/analyze/health"
)

// The views are what page.html shows: finished texts and drawings, no figures left to format. Every
// text from outside passes clean on its way in and is escaped by the template.

type jointView struct {
	ID, Name, Place string
	Mark            Sign
	State           string // in a few words, for the overview
	Summary         string // the same, where the first finding does not say it already
	Findings        []findingView
	Judged          []measureView
	Others          []groupView
	Missing         []groupView // seen on no path
	Split           *split
	Drawings        []drawingView
	Courses         []drawingView
	Boundaries      []string // of the courses, each once
	Notes           []string
}

type findingView struct {
	Mark                  Sign
	Title, Sureness, Part string
	Evidence, Alike       []string
	Next                  string
	Again                 *Again // nil: nothing to run
}

// groupView is one measure over its paths.
type groupView struct {
	Title  string
	Rows   []measureView
	Remark string // that all rows share
	Paths  string // of rows that were not seen for one reason
}

type measureView struct {
	Title, Path, PathTitle string
	Bound, Value, PM, Unit string
	Unseen                 bool
	Limit, Own             string // Own names the runs that a limit comes from which is not stated
	Kept                   string // how likely a limit is kept that is not proven
	Mark                   Sign
	Gauge                  template.HTML
	Method, Source, Remark string
}

type drawingView struct {
	Title   string
	SVG     template.HTML
	Caption string
	Failed  string
}

func jointViews(d *Document) []jointView {
	out := make([]jointView, len(d.Health.Joints))
	for i, j := range d.Health.Joints {
		v := jointView{ID: fmt.Sprintf("joint-%d", i+1), Name: clean(j.Joint), Notes: cleanAll(j.Notes),
			Place: fmt.Sprintf("joint %d of %d", i+1, len(d.Health.Joints)),
			Split: splitOf(j)}
		v.Judged, v.Others, v.Missing = tablesOf(j.Measures)
		v.Mark, v.State = StateOf(j)
		for _, f := range j.Findings {
			found := findingOf(f)
			found.Again = AgainOf(f.Cause, clean(j.Joint), d.Run.Routine)
			v.Findings = append(v.Findings, found)
		}
		if len(v.Findings) == 0 || v.Findings[0].Title != v.State {
			v.Summary = v.State
		}
		for _, c := range j.Curves {
			v.Drawings = append(v.Drawings, drawingOf(c))
		}
		for _, h := range historiesOf(d.History, j) {
			v.Courses = append(v.Courses, courseOf(h))
			for _, w := range boundaryWords(h) {
				if !slices.Contains(v.Boundaries, w) {
					v.Boundaries = append(v.Boundaries, w)
				}
			}
		}
		out[i] = v
	}
	return out
}

// StateOf sums one joint up in a sign and a few words.
func StateOf(j health.Joint) (Sign, string) {
	rank := map[health.Severity]int{health.SeverityFault: 3, health.SeverityWarning: 2, health.SeverityHint: 1}
	var worst *health.Finding
	for i, f := range j.Findings {
		if f.Cause != health.None && (worst == nil || rank[f.Severity] > rank[worst.Severity]) {
			worst = &j.Findings[i]
		}
	}
	v := j.Worst()
	if worst != nil && (rank[worst.Severity] > 1 || v == health.Pass || v == health.NoVerdict) {
		return SeveritySign(worst.Severity), CauseTitle(worst.Cause)
	}
	words := map[health.Verdict]string{health.Fail: "a limit is missed, no cause found",
		health.Unproven: "no fault found, not all limits proven", health.Pass: "no fault found, all limits kept",
		health.NoVerdict: "no fault found, no limit set"}
	return VerdictSign(v), words[v]
}

func findingOf(f health.Finding) findingView {
	v := findingView{Mark: SeveritySign(f.Severity), Title: CauseTitle(f.Cause), Part: clean(f.Part),
		Evidence: cleanAll(f.Evidence), Next: Sentence(f.Next)}
	if f.Confidence > 0 && f.Confidence <= 1 {
		v.Sureness = number(math.Round(min(f.Confidence, 0.99)*100), 0) + " %"
		if f.Confidence > 0.99 {
			v.Sureness = "over " + v.Sureness
		}
	}
	for _, a := range cleanAll(f.CouldAlsoBe) {
		v.Alike = append(v.Alike, CauseTitle(health.Cause(a)))
	}
	return v
}

// historiesOf picks those of a joint, in the order its table has the measures.
func historiesOf(hs []History, j health.Joint) []History {
	at := map[string]int{}
	for i, m := range worstFirst(j.Measures) {
		at[m.Name+" "+string(m.Path)] = i + 1
	}
	var out []History
	for _, h := range hs {
		if h.Joint == j.Joint {
			out = append(out, h)
		}
	}
	slices.SortStableFunc(out, func(a, b History) int {
		return at[a.Measure+" "+string(a.Path)] - at[b.Measure+" "+string(b.Path)]
	})
	return out
}

func measureOf(m health.Measure) measureView {
	d, ok := health.DefinitionOf(m.Name)
	if !ok {
		d = health.Definition{Decimals: 3}
	}
	v := measureView{Title: measureTitle(m.Name), Path: clean(string(m.Path)), PathTitle: pathTitles[m.Path],
		Unit: clean(unit(m.Unit)), Mark: VerdictSign(m.Verdict), Method: Sentence(m.Method), Source: Sentence(d.Source),
		Remark: clean(m.Reason), Gauge: gauge(m)}
	v.Bound = boundWord(m.Status)
	v.Value, v.PM = Figure(m.Value, m.Uncertainty, d.Decimals)
	if m.Status == health.NotObservable || v.Value == "–" {
		v.Unseen, v.Remark = true, first(v.Remark, "no reason was given")
	}
	if drawable(m.Limit) {
		side := "at most "
		if d.More {
			side = "at least "
		}
		v.Limit = side + plain(m.Limit)
		if m.FromBaseline() {
			v.Own = clean(m.LimitFrom)
		}
	}
	if p := m.Conforms(); m.Verdict == health.Unproven && !math.IsNaN(p) {
		v.Kept = "kept with " + number(100*min(max(p, 0.01), 0.99), 0) + " %"
	}
	return v
}

func boundWord(s health.Status) string {
	switch s {
	case health.BoundLow:
		return "at least"
	case health.BoundHigh:
		return "at most"
	}
	return ""
}

// Amount writes a measure's value in running text.
func Amount(m health.Measure) string {
	v := measureOf(m)
	if v.Unseen {
		return "not seen"
	}
	s := v.Value
	if v.Bound != "" {
		s = v.Bound + " " + s
	}
	if v.PM != "" {
		s += " ± " + v.PM
	}
	if v.Unit != "" {
		s += " " + v.Unit
	}
	return s
}

func drawingOf(c health.Curve) drawingView {
	v := drawingView{Title: first(clean(c.Title), clean(c.ID)), Caption: Sentence(c.Alt)}
	svg, err := SVG(c, plotSize)
	if err != nil {
		v.Failed = clean(err.Error())
		return v
	}
	v.SVG = template.HTML(svg)
	return v
}

func courseOf(h History) drawingView {
	v := drawingView{Title: historyTitle(h) + " over runs", Caption: courseWords(h)}
	svg, err := HistorySVG(h, plotSize)
	if err != nil {
		v.Failed = clean(err.Error())
		return v
	}
	v.SVG = template.HTML(svg)
	return v
}
