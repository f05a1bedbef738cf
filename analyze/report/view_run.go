package report

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"limbgauge/analyze/health"
)

type revisionView struct {
	Name, Parent, Why, Made string
	Parts                   []partView
	PartWords               string
	Changed                 []string
}

type partView struct{ Name, File, Hash, Size string }

type problemView struct {
	Joint, Title             string
	Mark                     Sign
	Opened, Answered, Closed string
	Evidence                 []string
}

// compareView holds apart what differs and what does not or cannot be told.
type compareView struct {
	A, B               string
	Rows               int
	Decided, Undecided comparedView
	Open               int // rows of Undecided
	OpenWords          string
	Says               []string
	Reasons, Notes     []string
}

type comparedView struct {
	A, B, Label string
	Rows        []differenceView
}

type differenceView struct {
	Joint, Title, Path, A, B, Diff string
	Mark                           Sign
}

type lossView struct {
	Joint, Samples, Lost, Damaged, Late string
	Any                                 bool
}

type sourceView struct{ Title, Source string }

func timeWords(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format("2 January 2006, 15:04 MST")
}

func revisionOf(r *Revision) *revisionView {
	if r == nil {
		return nil
	}
	v := &revisionView{Name: clean(r.Name), Parent: clean(r.Parent), Why: Sentence(r.Why), Made: timeWords(r.Made)}
	for _, c := range r.Changed {
		v.Changed = append(v.Changed, Sentence(c))
	}
	for _, p := range r.Parts {
		v.Parts = append(v.Parts, partView{clean(p.Name), clean(p.File), clean(p.Hash), bytesWords(p.Size)})
	}
	v.PartWords = plural(len(v.Parts), "part and the file it was made from", "parts and the files they were made from")
	return v
}

// bytesWords writes a size in decimal multiples.
func bytesWords(n int64) string {
	switch {
	case n <= 0:
		return "–"
	case n < 1000:
		return strconv.FormatInt(n, 10) + " B"
	case n < 1_000_000:
		return number(float64(n)/1e3, 1) + " kB"
	}
	return number(float64(n)/1e6, 1) + " MB"
}

func problemsOf(ps []Problem) []problemView {
	var out []problemView
	for _, p := range ps {
		out = append(out, problemView{Joint: clean(p.Joint), Title: CauseTitle(p.Cause), Mark: StateSign(p.State),
			Opened: clean(p.OpenedBy), Answered: clean(p.AnsweredBy), Closed: clean(p.ClosedBy), Evidence: cleanAll(p.Evidence)})
	}
	return out
}

func comparisonOf(c *Comparison) *compareView {
	if c == nil {
		return nil
	}
	v := &compareView{A: side(c.A, c.RunsA), B: side(c.B, c.RunsB), Says: cleanAll(c.Says), Reasons: cleanAll(c.Reasons), Notes: cleanAll(c.Notes), Rows: len(c.Rows)}
	a, b := shorten(v.A, 40), shorten(v.B, 40)
	v.Decided = comparedView{A: a, B: b, Label: "What differs"}
	v.Undecided = comparedView{A: a, B: b, Label: "What does not differ, or cannot be told"}
	for _, r := range c.Rows {
		m := r.A
		if m.Name == "" {
			m = r.B
		}
		d := differenceView{Joint: clean(r.Joint), Title: measureTitle(m.Name), Path: clean(string(m.Path)),
			A: Amount(r.A), B: Amount(r.B), Diff: "–", Mark: VerdictSign(r.Mark)}
		if r.Mark == health.NoVerdict {
			d.Mark = Sign{shapeNone, "no difference found"}
		}
		if w := clean(r.Verdict); w != "" {
			d.Mark.Word = w
		}
		if drawable(r.Diff) {
			diff := health.Measure{Name: m.Name, Value: r.Diff, Uncertainty: r.U, Unit: m.Unit}
			d.Diff = Amount(diff)
			if r.Diff > 0 {
				d.Diff = "+" + d.Diff
			}
		}
		if r.Mark == health.Pass || r.Mark == health.Fail {
			v.Decided.Rows = append(v.Decided.Rows, d)
		} else {
			v.Undecided.Rows = append(v.Undecided.Rows, d)
		}
	}
	v.Open = len(v.Undecided.Rows)
	v.OpenWords = "reasons behind the verdicts"
	if v.Open > 0 {
		v.OpenWords = plural(v.Open, "measure that does not differ, or cannot be told, and why", "measures that do not differ, or cannot be told, and why")
	}
	return v
}

func side(name string, runs int) string {
	if runs <= 0 {
		return clean(name)
	}
	return fmt.Sprintf("%s (%s)", clean(name), plural(runs, "run", "runs"))
}

// factsOf lists what is known of the run, in fixed order, without what is not.
func factsOf(d *Document) []Fact {
	r := d.Run
	var out []Fact
	put := func(name, value string) {
		if value = clean(value); strings.TrimSpace(value) != "" {
			out = append(out, Fact{name, value})
		}
	}
	put("Run", d.runID())
	put("Leg", d.leg())
	put("Revision", d.revision())
	put("Routine", r.Routine)
	put("Started", timeWords(r.Started))
	if r.DurationS > 0 {
		put("Lasted", number(r.DurationS, 1)+" s")
	}
	put("Ended", r.Ended)
	put("Stand", r.Stand)
	put("Firmware", r.Firmware)
	if r.SampleHz > 0 {
		put("Sample rate", plain(r.SampleHz)+" Hz for each joint")
	}
	return out
}

func cleanFacts(facts []Fact) []Fact {
	var out []Fact
	for _, f := range facts {
		out = append(out, Fact{clean(f.Name), first(clean(f.Value), "–")})
	}
	return out
}

// noLoss says in words that nothing was lost, "" where something was or nobody counted.
func noLoss(js []JointFacts) string {
	kept := 0
	for _, j := range js {
		if l := j.Losses; l.Lost+l.Damaged+l.Late > 0 {
			return ""
		}
		kept += j.Samples
	}
	if len(js) == 0 {
		return ""
	}
	return "Nothing was lost: " + plural(kept, "sample", "samples") + " kept, none lost, damaged or late."
}

func lossesOf(js []JointFacts) []lossView {
	var out []lossView
	if noLoss(js) != "" {
		return nil
	}
	count := func(n int) string { return strconv.Itoa(n) }
	for _, j := range js {
		l := j.Losses
		lost := count(l.Lost)
		if all := l.Lost + j.Samples; l.Lost > 0 && all > 0 {
			lost += " (" + number(100*float64(l.Lost)/float64(all), 2) + " %)"
		}
		out = append(out, lossView{clean(j.Joint), count(j.Samples), lost, count(l.Damaged), count(l.Late),
			l.Lost+l.Damaged+l.Late > 0})
	}
	return out
}

// sourcesOf lists where the measures of the report come from, those of one source together.
func sourcesOf(h health.Health) []sourceView {
	shown := map[string]bool{}
	for _, j := range h.Joints {
		for _, m := range j.Measures {
			shown[m.Name] = true
		}
	}
	var out []sourceView
	at := map[string]int{}
	for _, d := range health.Definitions() {
		if !shown[d.Name] {
			continue
		}
		i, ok := at[d.Source]
		if !ok {
			at[d.Source] = len(out)
			out = append(out, sourceView{d.Title, d.Source})
			continue
		}
		out[i].Title += "; " + lower(d.Title)
	}
	return out
}
