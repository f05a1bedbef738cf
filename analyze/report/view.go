package report

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"

	"limbgauge/analyze/health"
)

// The views are what page.html shows: finished texts and drawings, no figures left to format. Every
// text from outside passes clean on its way in and is escaped by the template.

type jointView struct {
	ID, Name, Place string
	Mark            Sign
	State           string        // in a few words
	Clear           []findingView // what was found where nothing is wrong
	Open            string        // what else nothing speaks against there, a sentence
	Judged          []measureView
	Others          []groupView
	Missing         []groupView // seen on no path
	Split           *split
	Key             *drawingView  // what shows most
	Drawings        []drawingView // what shows more, the rest is in MoreDrawings
	MoreDrawings    []drawingView
	Courses         []drawingView // of measures that go wrong, the rest is in MoreCourses
	MoreCourses     []drawingView
	CoursesTitle    string
	Boundaries      []string // of the courses, each once
	Notes           []string
	// The words of the folds.
	OtherWords, MissingWords, MoreDrawingsWords, MoreCoursesWords string
	ScreenOnly                                                    []string // of Drawings, those that are not printed
}

type findingView struct {
	Mark                  Sign
	Joint, JointID        string
	Title, Sureness, Part string
	Evidence, Alike       []string
	Next                  string
	Again                 *Again       // nil: nothing to run, or nobody to run it
	Drawing               *drawingView // the curve that shows it; nil where it stands with its joint
}

// groupView is one measure over its paths.
type groupView struct {
	Title  string
	Rows   []measureView
	Remark string // that all rows share
	Paths  string // of rows that were not seen for one reason
	How    []howView
}

// howView says how a figure was got, and of which paths that holds.
type howView struct{ PathTitle, Method, Source string }

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
	Shows   bool // it shows a finding
	SVG     template.HTML
	Caption string
	Failed  string
}

// jointViews makes what the page says of each joint, and the findings of all of them, faults first.
func jointViews(d *Document) (joints []jointView, findings []findingView) {
	joints = make([]jointView, len(d.Health.Joints))
	rank := map[string]int{}
	few := countFindings(d.Health) <= drawnBeside
	for i, j := range d.Health.Joints {
		v := jointView{ID: fmt.Sprintf("joint-%d", i+1), Name: clean(j.Joint), Notes: cleanAll(j.Notes),
			Place: fmt.Sprintf("joint %d of %d", i+1, len(d.Health.Joints)),
			Split: splitOf(j, d.ArmM[j.Joint])}
		v.Judged, v.Others, v.Missing = tablesOf(j.Measures)
		v.OtherWords = plural(len(v.Others), "figure without a limit", "figures without a limit")
		v.MissingWords = plural(len(v.Missing), "figure that could not be seen, and why", "figures that could not be seen, and why")
		v.Mark, v.State = StateOf(j)
		shows, open, folded := chosen(j)
		for k, f := range j.Findings {
			fv := findingOf(f)
			fv.Joint, fv.JointID = shortName(j.Joint), v.ID
			if f.Cause == health.None {
				if d.Run.CutShort {
					fv.Next = Sentence(AfterCut(d.Run.ByHand))
				}
				v.Open = openWords(j, fv.Alike)
				v.Clear = append(v.Clear, fv)
				continue
			}
			if shows[k] >= 0 {
				c := drawingOf(j.Curves[shows[k]])
				c.Shows = true
				if few {
					fv.Drawing = &c
				} else {
					v.Drawings = append(v.Drawings, c)
				}
			}
			fv.Again = AgainOf(f.Cause, v.Name, d.Run.Routine)
			rank[fv.Mark.Shape] = severityRank[f.Severity]
			findings = append(findings, fv)
		}
		for _, k := range open {
			v.Drawings = append(v.Drawings, drawingOf(j.Curves[k]))
		}
		for _, k := range folded {
			v.MoreDrawings = append(v.MoreDrawings, drawingOf(j.Curves[k]))
		}
		if len(v.Drawings) > 0 {
			v.Key, v.Drawings = &v.Drawings[0], v.Drawings[1:]
		}
		for _, c := range v.Drawings {
			if !c.Shows {
				v.ScreenOnly = append(v.ScreenOnly, c.Title)
			}
		}
		v.MoreDrawingsWords = plural(len(folded), "more curve", "more curves")
		hs := historiesOf(d.History, j)
		v.courses(hs, j)
		v.CoursesTitle = coursesTitle(hs, d.runID())
		joints[i] = v
	}
	slices.SortStableFunc(findings, func(a, b findingView) int { return rank[b.Mark.Shape] - rank[a.Mark.Shape] })
	return joints, findings
}

// drawnBeside is how many findings have their curve beside them. The curves of more would push the last
// finding off the first page; they stand with their joints.
const drawnBeside = 2

func countFindings(h health.Health) (n int) {
	for _, j := range h.Joints {
		for _, f := range j.Findings {
			if f.Cause != health.None {
				n++
			}
		}
	}
	return n
}

// courses draws the measures over the runs; those that go wrong are shown, the others folded.
func (v *jointView) courses(hs []History, j health.Joint) {
	for _, h := range hs {
		if badCourse(h, j) {
			v.Courses = append(v.Courses, courseOf(h))
		} else {
			v.MoreCourses = append(v.MoreCourses, courseOf(h))
		}
		for _, w := range boundaryWords(h) {
			if !slices.Contains(v.Boundaries, w) {
				v.Boundaries = append(v.Boundaries, w)
			}
		}
	}
	v.MoreCoursesWords = plural(len(v.MoreCourses), "measure over the runs", "measures over the runs")
}

var severityRank = map[health.Severity]int{health.SeverityFault: 3, health.SeverityWarning: 2, health.SeverityHint: 1}

// StateOf sums one joint up in a sign and a few words.
func StateOf(j health.Joint) (Sign, string) {
	rank := severityRank
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
	if j.Silent() {
		return Sign{shapeDoubt, "nothing seen"}, "nothing can be said"
	}
	switch v {
	case health.Fail:
		return VerdictSign(v), "a limit is missed, no cause found"
	case health.NoVerdict:
		return VerdictSign(v), "no fault found, no limit set"
	}
	kept, open, beyond := 0, 0, 0
	for _, m := range j.Measures {
		switch {
		case m.Verdict == health.Pass:
			kept++
		case m.Verdict == health.Unproven && m.OnlyFails():
			beyond++
		case m.Verdict == health.Unproven:
			open++
		}
	}
	switch {
	case open > 0:
		return VerdictSign(v), fmt.Sprintf("no fault found, %d of %d limits proven kept", kept, kept+open+beyond)
	case kept == 0:
		return VerdictSign(v), "no fault found, nothing proven good"
	case beyond > 0:
		return Sign{shapeGood, "good"}, "no fault found, " + limitsKept(kept, beyond)
	}
	return VerdictSign(v), "no fault found, " + limitsKept(kept, beyond)
}

// openWords says what is not excluded of a joint in which nothing was found.
func openWords(j health.Joint, alike []string) string {
	switch {
	case j.Silent():
		return "Nothing is excluded."
	case len(alike) > 0:
		return "Not excluded: " + strings.Join(alike, "; ") + "."
	}
	return ""
}

func findingOf(f health.Finding) findingView {
	v := findingView{Mark: SeveritySign(f.Severity), Title: CauseTitle(f.Cause), Part: clean(f.Part),
		Evidence: cleanAll(f.Evidence), Next: Sentence(f.Next), Sureness: sureness(f.Confidence)}
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
		v.Kept = number(100*min(max(p, 0.01), 0.99), 0) + " % likely kept"
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
	drawn, cut := Latest(h)
	if cut != "" {
		v.Caption += " " + cut
	}
	svg, err := HistorySVG(drawn, plotSize)
	if err != nil {
		v.Failed = clean(err.Error())
		return v
	}
	v.SVG = template.HTML(svg)
	return v
}
