package report

import (
	"strings"
	"testing"

	"limbgauge/analyze/health"
)

// Everything the document holds is on the page.
func TestPageShowsAll(t *testing.T) {
	var said []string
	d := fixture(func(s string) string { said = append(said, s); return s })
	root := parsePage(t, render(t, d))
	checkClosed(t, root)
	text := strings.ToLower(root.text())
	has := func(what, s string) {
		t.Helper()
		if !strings.Contains(text, strings.ToLower(s)) {
			t.Errorf("%s %q is not on the page", what, s)
		}
	}
	hidden := map[string]bool{"loop-total": true, "not loaded": true} // an id; the reason behind a "?" in a drawing
	for _, s := range said {
		if !hidden[s] {
			has("text", strings.ReplaceAll(strings.ReplaceAll(s, "horn_slip", CauseTitle(health.HornSlip)), "_", " "))
		}
	}
	for _, j := range d.Health.Joints {
		for _, m := range j.Measures {
			if def, ok := health.DefinitionOf(m.Name); ok {
				has("measure", def.Title)
				has("source", def.Source)
			}
		}
		for _, f := range j.Findings {
			has("finding", CauseTitle(f.Cause))
		}
	}
	for _, p := range d.Problems {
		has("problem", CauseTitle(p.Cause))
		has("state", p.State)
	}
	for _, c := range Cautions() {
		has("caution", c)
	}
	for _, s := range []string{"0.624 ± 0.041 deg", "at least 21.5 N", "at most 0.70 ± 0.10 N·m", "not seen: the hold was too short",
		"10.00 %", "120.4 kB", "+0.320 ± 0.057 deg", "−0.320 ± 0.057 deg", "41.7 s", "500 Hz", "1 March 2026"} {
		has("figure", s)
	}
	if n := len(root.all("section", "joint")); n != 2 {
		t.Errorf("%d joints on the page, want 2", n)
	}
	if n := len(root.all("article", "finding")); n != 4 {
		t.Errorf("%d findings on the page, want 4", n)
	}
	for _, word := range []string{"pass", "fail", "unproven"} {
		found := false
		for _, c := range root.all("td", "judged") {
			found = found || c.text() == word
		}
		if !found {
			t.Errorf("no measure is judged %q", word)
		}
	}
}

// Every cause has words of its own and no word is used twice.
func TestCauseTitles(t *testing.T) {
	seen := map[string]health.Cause{}
	for _, c := range health.Causes() {
		title := CauseTitle(c)
		if _, ok := causeTitles[c]; !ok {
			t.Errorf("cause %s has no words", c)
		}
		if other, ok := seen[title]; ok {
			t.Errorf("%s and %s are both called %q", c, other, title)
		}
		seen[title] = c
	}
}

// An id that is there twice leads links astray.
func TestLinksLeadSomewhere(t *testing.T) {
	root := parsePage(t, render(t, fixture(asIs)))
	ids := map[string]int{}
	root.each(func(e *element) {
		if id, ok := e.attrs["id"]; ok {
			ids[id]++
		}
	})
	for id, n := range ids {
		if n != 1 {
			t.Errorf("id %q is there %d times", id, n)
		}
	}
	root.each(func(e *element) {
		for _, name := range []string{"href", "aria-labelledby"} {
			if to, ok := e.attrs[name]; ok && ids[strings.TrimPrefix(to, "#")] != 1 {
				t.Errorf("%s leads to %q, which is not there", name, to)
			}
		}
	})
}

// What was not seen shows no figure, whatever stands in the fields of its value.
func TestUnseenIsNoFigure(t *testing.T) {
	for _, value := range []float64{nan, 0, 7} {
		m := health.Unseen("play", health.Total, "loop", "the load pulls one way")
		m.Value, m.Uncertainty = value, value
		judged := m
		judged.Limit, judged.Verdict = 0.5, health.Unproven
		h := History{Joint: "knee", Measure: "play", Path: health.Total, Limit: nan, Points: []Point{{Run: "a", Measure: m}}}
		d := &Document{Health: health.Health{Joints: []health.Joint{{Joint: "knee", Measures: []health.Measure{m, judged}}}},
			Comparison: &Comparison{A: "A", B: "B", Rows: []Difference{{Joint: "knee", A: m, B: m, Diff: nan, U: nan}}}, History: []History{h}}
		root := parsePage(t, render(t, d))
		cells := append(root.all("td", "value"), root.all("span", "unknown")...)
		for _, ul := range root.all("ul", "paths") {
			cells = append(cells, ul.all("li", "")...)
		}
		if len(cells) < 3 {
			t.Fatalf("only %d cells", len(cells))
		}
		for _, c := range cells {
			if strings.ContainsAny(c.text(), "0123456789") || !strings.Contains(c.text(), "not seen: the load pulls one way") {
				t.Errorf("value %v not seen is shown as %q", value, c.text())
			}
		}
		for _, td := range root.all("td", "right") {
			if s := td.text(); s != "not seen" && s != "–" {
				t.Errorf("compared as %q", s)
			}
		}
		if !strings.Contains(historyAlt(h), "never seen") {
			t.Errorf("history says %q", historyAlt(h))
		}
		for _, g := range root.all("svg", "gauge") {
			if len(g.all("circle", "")) > 0 {
				t.Error("a dot is drawn for a value not seen")
			}
		}
	}
}

// A document with nothing in it is still a page that says so.
func TestEmptyDocument(t *testing.T) {
	root := parsePage(t, render(t, &Document{}))
	checkClosed(t, root)
	for _, s := range []string{"Nothing was analysed", "Losses were not counted", "None is on record", "No calibration is on record"} {
		if !strings.Contains(root.text(), s) {
			t.Errorf("%q is not on the page", s)
		}
	}
}
