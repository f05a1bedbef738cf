package main

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"limbgauge/analyze/alike"
	"limbgauge/analyze/compare"
	"limbgauge/analyze/health"
	"limbgauge/analyze/report"
)

// printComparison writes one joint for people: what is to be said of the whole, then measure by
// measure both sides, the difference and the verdict.
func (a *app) printComparison(c comparisonOfJoint, settled compare.Options, o compareOptions) {
	say(a.out, "", fmt.Sprintf("%s, %s (%s) against %s (%s)", c.joint, settled.B, c.count[1], settled.A, c.count[0]))
	say(a.out, "", c.res.Sentence)
	shown := c.res.Rows
	var whys []string // reasons behind verdicts, numbered in the order they come
	t := sheet{indent: "  ", gap: 1, columns: []column{{title: "measure"}, {title: "path"}, {title: inWidth(settled.A, 16), right: true},
		{title: inWidth(settled.B, 16), right: true}, {title: "verdict"}}}
	for _, r := range shown {
		d, _ := health.DefinitionOf(r.A.Name)
		t.add(inWidth(short(d), 24), pathWord(r.A.Path), cell(r.A), cell(r.B), styleOf(a.out).as(string(r.Verdict), verdictWord(r.Verdict)))
		unit, difference := "", ""
		if r.A.Unit != "1" {
			unit = "  " + r.A.Unit
		}
		value := signed(r.Diff, r.U, d.Decimals)
		if !math.IsNaN(r.Diff) {
			difference = "difference"
		}
		t.add(unit, "", difference, value, footnote(&whys, r.Why))
	}
	if len(shown) > 0 {
		fmt.Fprintln(a.out)
		t.print(a.out)
	}
	if len(whys) > 0 {
		fmt.Fprintln(a.out)
	}
	for i, why := range whys {
		say(a.out, "  ", fmt.Sprintf("[%d] %s", i+1, why))
	}
	if o.why {
		fmt.Fprintln(a.out)
		for _, r := range shown {
			a.printEvidence(r)
		}
	}
	if len(c.res.Notes) > 0 {
		fmt.Fprintln(a.out)
	}
	for _, n := range c.res.Notes {
		say(a.out, "  ", "Note: "+n)
	}
	if !o.all && !c.all && len(o.measures) == 0 {
		sayApart(a.out, "  ", "measures without a limit are not shown; --all shows them")
	}
}

// printEvidence writes what a verdict rests on.
func (a *app) printEvidence(r compare.Row) {
	d, _ := health.DefinitionOf(r.A.Name)
	title := d.Title
	if r.A.Path != "" {
		title += " (" + string(r.A.Path) + ")"
	}
	line := func(format string, args ...any) {
		say(a.out, "    ", fmt.Sprintf(format, args...))
	}
	in := func(v float64) string {
		s, _ := report.Figure(v, math.NaN(), d.Decimals+1)
		if r.A.Unit != "1" {
			s += " " + r.A.Unit
		}
		return s
	}
	fmt.Fprintf(a.out, "  %s: %s\n", title, r.Verdict)
	line("routine %s; units: %d against %d", r.Routine, r.NA, r.NB)
	if math.IsNaN(r.P) {
		return
	}
	by := fmt.Sprintf("Welch, %.1f degrees of freedom", r.DF)
	if r.ByDoubt {
		by = "the runs' own doubt, which is more than they scatter"
	}
	line("chance gives such a difference with p %s (%s), adjusted %s", p(r.P), by, p(r.Adjusted))
	if !math.IsNaN(r.Permuted) {
		by := fmt.Sprintf("%d deals", r.Deals)
		if r.Deals == 0 {
			by = "normal law of all deals"
		}
		line("dealt out again: p %s (%s)", p(r.Permuted), by)
	}
	switch s := r.Shift; {
	case math.IsNaN(s.Value):
	case math.IsNaN(s.Lo):
		line("shift by ranks (Hodges-Lehmann): %s; too few units for an interval", in(s.Value))
	default:
		line("shift by ranks (Hodges-Lehmann): %s, from %s to %s with %.1f %%", in(s.Value), in(s.Lo), in(s.Hi), 100*s.Coverage)
	}
	switch {
	case math.IsNaN(r.Margin):
		line("no margin: --margin %s=VALUE gives one", r.A.Name)
	case !math.IsNaN(r.SameP):
		line("a difference beyond %s (%s) looks like this with p %s (two one-sided tests)", in(r.Margin), r.MarginFrom, p(r.SameP))
	}
	if !math.IsNaN(r.Detectable) {
		line("a true difference of %s shows with 80 %% in such runs, this measure taken alone", in(r.Detectable))
	}
	if !math.IsNaN(r.Apart) {
		line("by bounds the sides lie at least %s apart", in(math.Abs(r.Apart)))
	}
}

// p writes a probability.
func p(v float64) string {
	switch {
	case v < 0.0001:
		return "below 0.0001"
	case v < 0.01:
		return fmt.Sprintf("%.4f", v)
	}
	return fmt.Sprintf("%.3f", v)
}

// signed writes a difference with its sign, "" where there is none.
func signed(v, u float64, decimals int) string {
	if math.IsNaN(v) {
		return ""
	}
	s, pm := report.Figure(v, u, decimals)
	if v > 0 {
		s = "+" + s
	}
	if pm != "" {
		s += " ± " + pm
	}
	return s
}

// verdictWord is a verdict short enough for a table.
func verdictWord(v compare.Verdict) string {
	if v == compare.Same {
		return "same"
	}
	return string(v)
}

func inWidth(s string, width int) string {
	r := []rune(s)
	if len(r) > width {
		return string(r[:width])
	}
	return s
}

// footnote returns the mark of a reason, which joins the list when it is new; "" for none.
func footnote(list *[]string, why string) string {
	if why == "" {
		return ""
	}
	i := slices.Index(*list, why)
	if i < 0 {
		*list = append(*list, why)
		i = len(*list) - 1
	}
	return fmt.Sprintf("[%d]", i+1)
}

// cell writes one side of a measure; what is known from one end only needs no interval here.
func cell(m health.Measure) string {
	if m.Status == health.NotObservable && strings.HasPrefix(m.Reason, string(alike.NotComparable)) {
		return string(alike.NotComparable)
	}
	if m.Status == health.NotObservable || math.IsNaN(m.Value) {
		return "not seen"
	}
	if m.Status != health.Measured {
		m.Uncertainty = math.NaN()
	}
	return figure(m)
}
