package main

import (
	"fmt"
	"html"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"limbgauge/analyze/health"
	"limbgauge/analyze/report"
)

// press presses keys one after the other, as a hand does.
func (b *tab) press(keys ...string) {
	b.t.Helper()
	for _, k := range keys {
		b.do(chromedp.KeyEvent(k))
	}
}

// must fails unless an expression of the page is true.
func (b *tab) must(expression string) {
	b.t.Helper()
	ok, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool](expression))
	if err != nil {
		b.t.Fatalf("%s: %v", expression, err)
	}
	if !ok {
		has, _ := chromedp.Run(b.ctx, chromedp.Evaluate[string]("document.activeElement.outerHTML.slice(0, 200)"))
		b.t.Errorf("not so: %s; the focus is on %s", expression, has)
	}
}

// find presses Tab until an element has the focus.
func (b *tab) find(selector string) {
	b.t.Helper()
	for range 200 {
		b.press(kb.Tab)
		there, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool](fmt.Sprintf("document.activeElement.matches(%s)", quoted(selector))))
		if err != nil {
			b.t.Fatal(err)
		}
		if there {
			return
		}
	}
	b.t.Fatalf("Tab does not reach %s", selector)
}

// What a hand on the keyboard does on the pages: past the way to the pages, filters, folds, plots.
func testKeys(t *testing.T, p *benchPage) {
	b := p.tab(t)
	b.do(look(1280, 900, false))
	b.open(p.url + "/runs")
	b.press(kb.Tab)
	b.must(`document.activeElement.matches(".past") && document.activeElement.getBoundingClientRect().left >= 0`)
	b.press(kb.Enter, kb.Tab)
	b.must(`document.activeElement === document.querySelector("main select")`)
	b.press("k", kb.Tab)
	b.find("main form button")
	b.press(kb.Enter)
	b.arrives(`new URLSearchParams(location.search).get("joint") === "knee"`)
	b.must(`[...document.querySelectorAll("tbody tr")].length > 10 && [...document.querySelectorAll("tbody tr")].every((r) => r.textContent.includes("knee"))`)
	b.find("tbody a")
	b.press(kb.Enter)
	b.arrives(`/^\/runs\/\d+$/.test(location.pathname)`)
	b.find("summary")
	for _, open := range []string{"true", "false"} {
		b.press(kb.Enter)
		b.must("document.activeElement.parentElement.open === " + open)
	}
	b.find("input[type=range]")
	b.must(`document.activeElement.getAttribute("aria-valuetext").length > 10`)
	b.open(p.url + "/problems")
	b.find(".problem a[href^='/?']")
	b.press(kb.Enter)
	b.arrives(`location.pathname === "/"`)
	b.must(`new URLSearchParams(location.search).get("joint") === "knee"`)
	b.must(`[...document.querySelectorAll("[name=joint]:checked, [name=routine]:checked")].map((e) => e.value).join() === [...new URLSearchParams(location.search).values()].join()`)
}

// A cursor reads off what was drawn: a line, two lines of one plot, a loop that passes a place twice, and marks.
func TestPlotIsReadOff(t *testing.T) {
	curve := health.Curve{ID: "c", Title: "Made", XLabel: "angle in deg", YLabel: "torque in N·m", Alt: "made", Lines: []health.Line{
		{Name: "up", Role: health.RoleUp}, {Name: "down", Role: health.RoleDown}}}
	for x := 0.0; x <= 10; x += 0.25 {
		curve.Lines[0].X, curve.Lines[0].Y = append(curve.Lines[0].X, x), append(curve.Lines[0].Y, 2*x+1)
		curve.Lines[1].X, curve.Lines[1].Y = append(curve.Lines[1].X, 10-x), append(curve.Lines[1].Y, 2*(10-x)-3)
	}
	loop := health.Curve{ID: "l", Title: "Loop", XLabel: "angle in deg", YLabel: "torque in N·m", Alt: "loop", Lines: []health.Line{
		{Name: "loop", Role: health.RoleValue, X: []float64{0, 5, 10, 5, 0}, Y: []float64{0, 4, 0, -4, 0}}}}
	marks := health.Curve{ID: "m", Title: "Marks", XLabel: "angle in deg", YLabel: "gain, coherence", Alt: "marks", Lines: []health.Line{
		{Name: "stops", Role: health.RoleUp, Points: true, X: []float64{0, 5, 10}, Y: []float64{1, 2, 3}}}}
	body := ""
	past := report.History{Joint: "knee", Measure: "play", Limit: 1}
	for i, v := range []float64{0.2, 0.4} {
		past.Points = append(past.Points, report.Point{Run: fmt.Sprint(i + 1), Measure: health.Of("play", health.NoPath, v, 0.1, "made")})
	}
	for _, c := range []health.Curve{curve, loop, marks} {
		svg, err := report.SVG(c, report.Size{})
		if err != nil {
			t.Fatal(err)
		}
		body += "<figure>" + string(svg) + "</figure>"
	}
	svg, err := report.HistorySVG(past, report.Size{})
	if err != nil {
		t.Fatal(err)
	}
	body += "<figure>" + string(svg) + "</figure>"
	script, err := os.ReadFile("web/look/plot.js")
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if strings.HasSuffix(r.URL.Path, ".js") {
			w.Header().Set("Content-Type", "text/javascript; charset=utf-8")
			w.Write(script)
			return
		}
		fmt.Fprintf(w, "<!DOCTYPE html><html lang=en><title>%s</title><link rel=icon href='data:,'><body>%s<script src=/plot.js></script>", html.EscapeString(t.Name()), body)
	}))
	defer srv.Close()
	b := openBrowser(t).tab(t)
	b.open(srv.URL + "/plots")
	said := func(want ...string) {
		t.Helper()
		for _, w := range want {
			b.must(fmt.Sprintf(`document.activeElement.getAttribute("aria-valuetext").includes(%s)`, quoted(w)))
		}
	}
	box := `document.querySelector("svg").getAttribute("viewBox").split(" ").map(Number)`
	b.press(kb.Tab)
	b.must(`document.activeElement.type === "range"`)
	said("angle 5.0 deg: torque up 11.0, down 7.0 N·m")
	b.press(kb.ArrowRight)
	b.must(`document.activeElement.value === "201"`)
	b.press(kb.Home)
	said("nothing drawn here") // the edge of the plot lies a little beyond the lines
	b.press(kb.PageUp)
	b.must(`document.activeElement.value === "40"`)
	b.press("+", "+")
	b.must(box + `[2] < 200`)
	b.press(kb.End) // the view follows the cursor
	b.must(box + `[0] > 150`)
	b.press("-")
	b.must(box + `[2] > 200`)
	b.press("0")
	b.must(box + `.join() === "0,0,390,300"`)
	b.find("input[type=range]")
	said("angle 5.0 deg: torque −4.00 and 4.00 N·m")
	b.press(kb.Tab)
	said("angle 5.0 deg: gain, coherence 2.00")
	b.press(kb.Tab) // over runs, from the newest back
	said("run 2: 0.40 ± 0.10 deg")
	b.press(kb.ArrowLeft)
	said("run 1: 0.20 ± 0.10 deg")
	b.press(kb.Tab) // no trap
	b.must(`document.activeElement === document.body || document.activeElement.type !== "range" || document.activeElement === document.querySelector("input")`)
}
