package main

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"limbgauge/analyze/health"
	"limbgauge/analyze/report"
)

// printHealth writes an answer for people: per joint the findings, then every measure that was
// seen, then what was not and why; of the latter only what has a limit, unless all is asked for.
func printHealth(w io.Writer, h health.Health, form answerForm) {
	st := styleOf(w)
	for i, j := range h.Joints {
		if i > 0 {
			fmt.Fprintln(w)
		}
		where := h.Leg + ", " + j.Joint
		if h.Revision != "" {
			where += ", revision " + h.Revision
		}
		if h.Run != "" {
			where += ", run " + h.Run
		}
		say(w, "", where+": "+form.headline(st, j))
		if form.brokenOff(j) {
			say(w, "  ", "next: "+report.AfterCut(form.byHand))
		} else {
			printFindings(w, j.Findings)
		}
		fmt.Fprintln(w)
		printMeasures(w, h.Run, j, form)
		for _, n := range j.Notes {
			fmt.Fprintln(w)
			say(w, "  ", "Note: "+n)
		}
	}
}

// headline puts the joint's answer into a few words.
func headline(j health.Joint) string { return headlineIn(style{}, j) }

func headlineIn(st style, j health.Joint) string {
	f := j.Findings[0]
	switch {
	case j.Silent():
		return st.doubt("nothing can be said, too little was seen")
	case f.Cause == health.None && f.Confidence >= 0.9:
		return st.good("no fault found")
	case f.Cause == health.None:
		return st.doubt("no fault found, but not all could be seen")
	}
	return findingWords(st, f)
}

// brokenOff says of a joint that nothing was found in a run that did not come to its end: what was not seen
// says nothing then, and neither does what to look at for it.
func (f answerForm) brokenOff(j health.Joint) bool {
	return f.broken && j.Findings[0].Cause == health.None
}

func (f answerForm) headline(st style, j health.Joint) string {
	if f.brokenOff(j) && !j.Silent() {
		return st.doubt("no fault found up to where it was broken off")
	}
	return headlineIn(st, j)
}

// findingWords names a finding, how much it matters and how sure it is.
func findingWords(st style, f health.Finding) string {
	return fmt.Sprintf("%s, %s (confidence %.0f %%)", st.as(string(f.Severity), string(f.Severity)), report.CauseTitle(f.Cause), 100*f.Confidence)
}

func printFindings(w io.Writer, fs []health.Finding) {
	for i, f := range fs {
		if i > 0 {
			say(w, "  ", "also "+findingWords(styleOf(w), f))
		}
		if f.Part != "" {
			say(w, "  ", "part: "+f.Part)
		}
		for _, e := range f.Evidence {
			say(w, "  ", "- "+e)
		}
		if len(f.CouldAlsoBe) > 0 {
			names := make([]string, len(f.CouldAlsoBe))
			for i, c := range f.CouldAlsoBe {
				names[i] = report.CauseTitle(health.Cause(c))
			}
			words := "could also be: "
			if f.Cause == health.None {
				words = "not excluded: "
			}
			say(w, "  ", words+strings.Join(names, ", "))
		}
		if f.Next != "" {
			say(w, "  ", "next: "+f.Next)
		}
	}
}

// shownOf says which measures are listed. Of those that were not seen what has no limit would bury what was
// found, since a routine asks for some measures only; in the short form nothing without a limit is listed.
// A joint without any limit has nothing that stands out, so all of its are.
func shownOf(j health.Joint, form answerForm) func(health.Measure) bool {
	limited := slices.ContainsFunc(j.Measures, func(m health.Measure) bool { return !math.IsNaN(m.Limit) })
	return func(m health.Measure) bool {
		unseen := m.Status == health.NotObservable
		return !limited || !math.IsNaN(m.Limit) || unseen && form.all || !unseen && !form.short
	}
}

func printMeasures(w io.Writer, run string, j health.Joint, form answerForm) {
	t := sheet{indent: "  ", gap: 1, columns: []column{{title: "measure", least: 18}, {title: "path"}, {title: "value", right: true},
		{title: "unit"}, {title: "limit", right: true}, {title: "verdict"}}}
	st := styleOf(w)
	var unseen, bare, own, unproven []health.Measure
	folded, left, shown := 0, 0, shownOf(j, form)
	for _, m := range j.Measures {
		switch seen := m.Status != health.NotObservable; {
		case shown(m) && !seen:
			unseen = append(unseen, m)
			continue
		case !shown(m) && !seen:
			folded++
			continue
		case !shown(m):
			left++
			continue
		}
		if m.Status == health.Measured && math.IsNaN(m.Uncertainty) && !form.short {
			bare = append(bare, m)
		}
		d, _ := health.DefinitionOf(m.Name)
		unit := m.Unit
		if unit == "1" {
			unit = ""
		}
		limit := ""
		if !math.IsNaN(m.Limit) {
			limit = fmt.Sprintf("%g", m.Limit)
		}
		if m.Verdict == health.Unproven && !math.IsNaN(m.Conforms()) {
			unproven = append(unproven, m)
		}
		if m.FromBaseline() {
			limit += "*"
			own = append(own, m)
		}
		t.add(short(d), pathWord(m.Path), tableFigure(m), unit, limit, st.as(string(m.Verdict), string(m.Verdict)))
	}
	if len(t.rows) > 0 {
		t.print(w)
	}
	printChances(w, unproven)
	printOwn(w, own)
	printReasons(w, "without an interval, so no verdict rests on them:", bare)
	if !form.short || j.Findings[0].Cause != health.None { // else the findings say it
		printReasons(w, "not seen:", unseen)
	}
	switch {
	case left > 0:
		sayApart(w, "  ", fmt.Sprintf(`%s without a limit: "limbgauge analyze %s" shows them too`, count(left, "figure"), run))
	case folded > 0 && !form.short:
		sayApart(w, "  ", fmt.Sprintf(`%s without a limit could not be seen in this run; "limbgauge analyze --all" says why`, count(folded, "figure")))
	}
}

// tableFigure is a figure as narrow as a table needs it.
func tableFigure(m health.Measure) string {
	return strings.NewReplacer("at least", "≥", "at most", "≤").Replace(figure(m))
}

// printChances says of verdicts that are not proven how likely their limits are kept.
func printChances(w io.Writer, unproven []health.Measure) {
	var list []string
	for _, m := range unproven {
		d, _ := health.DefinitionOf(m.Name)
		what := lowerFirst(short(d))
		if m.Path != "" {
			what += " (" + string(m.Path) + ")"
		}
		list = append(list, fmt.Sprintf("%s %.0f %%", what, 100*min(max(m.Conforms(), 0.01), 0.99)))
	}
	if len(list) > 0 {
		sayApart(w, "  ", "how likely a limit that is unproven is kept: "+strings.Join(list, "; "))
	}
}

func lowerFirst(s string) string { return strings.ToLower(s[:1]) + s[1:] }

// printOwn says where limits come from that bench.toml does not state.
func printOwn(w io.Writer, own []health.Measure) {
	var from []string
	for _, m := range own {
		if !slices.Contains(from, m.LimitFrom) {
			from = append(from, m.LimitFrom)
		}
	}
	if len(from) > 0 {
		fmt.Fprintf(w, "\n")
		say(w, "  ", "* no limit is stated; what this joint was when new, and three standard deviations of a further run beyond: "+strings.Join(from, "; ")+".")
	}
}

// printReasons lists measures with why they are as they are.
func printReasons(w io.Writer, title string, unseen []health.Measure) {
	if len(unseen) == 0 {
		return
	}
	fmt.Fprintf(w, "\n  %s\n", title)
	// Measures that share a reason are named together, and the paths of one measure behind it.
	var reasons []string
	names := map[string][]string{}
	paths := map[[2]string][]string{}
	for _, m := range unseen {
		if _, ok := names[m.Reason]; !ok {
			reasons = append(reasons, m.Reason)
		}
		d, _ := health.DefinitionOf(m.Name)
		name := lowerFirst(short(d))
		key := [2]string{m.Reason, name}
		if _, ok := paths[key]; !ok {
			names[m.Reason] = append(names[m.Reason], name)
		}
		paths[key] = append(paths[key], string(m.Path))
	}
	for _, r := range reasons {
		var list []string
		for _, n := range names[r] {
			if p := strings.Join(paths[[2]string{r, n}], ", "); p != "" {
				n += " (" + p + ")"
			}
			list = append(list, n)
		}
		say(w, "  ", "- "+strings.Join(list, "; ")+": "+r)
	}
}

// short is a measure's title cut to the width of its column.
func short(d health.Definition) string {
	t := d.Title
	if len(t) > 28 {
		t = strings.ReplaceAll(d.Name, "_", " ")
		t = strings.ToUpper(t[:1]) + t[1:]
	}
	return t
}

func pathWord(p health.Path) string {
	if p == health.Transmission {
		return "transm."
	}
	return string(p)
}

// figure writes value and uncertainty, rounded to the uncertainty; bounds say which side they bound.
func figure(m health.Measure) string {
	d, _ := health.DefinitionOf(m.Name)
	v, pm := report.Figure(m.Value, m.Uncertainty, d.Decimals)
	if pm != "" {
		v += " ± " + pm
	}
	switch m.Status {
	case health.BoundLow:
		return "at least " + v
	case health.BoundHigh:
		return "at most " + v
	}
	return v
}
