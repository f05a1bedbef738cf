package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"limbgauge/cmd/limbgauge/web"
	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
	"limbgauge/rig/record"
	"limbgauge/rig/session"
)

// tripsFolder is a bench whose knee trips at a current that its load needs.
func tripsFolder(t *testing.T) string {
	t.Helper()
	folder := t.TempDir()
	text := strings.ReplaceAll(rig.ExampleBench(), "current_max_a = 2.5", "current_max_a = 0.2")
	if err := os.WriteFile(filepath.Join(folder, benchFile), []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return folder
}

// A run that came to its end: the verdict comes first, with its mark, and leads to the run. What was asked for is
// what was run.
func TestBenchPageVerdict(t *testing.T) {
	p := servePage(t, exampleFolder(t), 0)
	b := p.tab(t)
	b.do(chromedp.Navigate(p.url+"/?joint=hip&joint=knee&routine=quick"), says("state", "limp"))
	b.do(click("[name=new_assembly]"), chromedp.SendKeys(chromedp.CSS("[name=note]"), "warm"), click("summary"), chromedp.SendKeys(chromedp.CSS("[name=supply_v]"), "6.2"))
	b.do(click("#agree"), click("#arm"), says("state", "Armed."), says("hint", "This is assembly "))
	b.holdsNow("the plan", `[...document.querySelectorAll("#turns tr")].map((r) => r.textContent).join().match(/^hipbetween −.* and .* deg.*60 deg\/s.*min,kneebetween −.* and .* deg.*60 deg\/s.*min$/) !== null`)
	b.do(click("#start"), says("see", "See run 0001"))
	b.holdsNow("the verdict", `document.getElementById("mark").checkVisibility() && document.querySelector("#mark use").getAttribute("href").startsWith("#shape-") &&
		/fault|limits|Repair|watch/.test(document.getElementById("state").textContent)`)
	b.holdsNow("nothing else runs", `document.getElementById("stop").hidden && !document.getElementById("agree").checked`)
	b.shot("bench-verdict")
	b.holdsNow("the way to the run", `[...document.querySelectorAll("#see a")].at(-1).pathname === "/runs/0001"`)
	b.holdsNow("what to do next", `document.querySelector("#see a").search === "?joint=hip&joint=knee&routine=assembly" && document.getElementById("hint").textContent.includes("measures a part only")`)
	b.open(p.url + "/runs/0001")
	for _, want := range []string{"knee", "hip", "warm", "6.2"} {
		b.holdsNow("the run says "+want, `document.body.textContent.includes("`+want+`")`)
	}
}

// After a trip the page says why, and what to do.
func TestBenchPageTrip(t *testing.T) {
	p := servePage(t, tripsFolder(t), 0)
	b := p.tab(t)
	b.do(chromedp.Navigate(p.url+"/?joint=knee&routine=quick"), says("state", "limp"), click("#agree"), click("#arm"), says("state", "Armed."), click("#start"),
		says("state", "The stand tripped: current"), says("state", "stayed over 0.20 A"), says("hint", tripNext[wire.ReasonCurrent][1:]), says("see", "See run 0001"))
	b.shot("bench-trip")
}

// The runs of an endurance test say when they end and begin: nothing moves between.
func TestEnduranceTellsItsRuns(t *testing.T) {
	a := app{in: strings.NewReader(""), out: t.Output(), err: t.Output(), bench: exampleFolder(t), now: time.Now}
	d := &desk{app: a, o: serveOptions{lineOptions: lineOptions{seed: 1}}}
	p, err := d.Plan(t.Context(), web.Sweep{Joints: []string{"knee"}, Routine: checkRoutine, Endure: &web.Endure{Cycles: 30, CheckEvery: 30}})
	if err != nil {
		t.Fatal(err)
	}
	var told []bool
	out, err := p.Run(t.Context(), web.Watch{Consent: session.Agreed(), Live: session.NewLive(1), Say: func(string) {}, AtRest: func() {}, Between: func(b bool) { told = append(told, b) }})
	if err != nil || !strings.Contains(out.Said, "has done 30 cycles") {
		t.Fatalf("%+v, %v", out, err)
	}
	runs, err := record.List(a.folder())
	if err != nil || len(told) != 2*len(runs) || len(runs) < 3 {
		t.Fatalf("told %v of %d runs, %v", told, len(runs), err)
	}
	for i, b := range told {
		if b != (i%2 == 1) {
			t.Fatalf("told %v", told)
		}
	}
}

// An endurance test from the page goes on by itself, tells how far it is, and ends by its rule.
func TestBenchPageEndures(t *testing.T) {
	p := servePage(t, exampleFolder(t), 0)
	b := p.tab(t)
	b.quiet.Store(true) // a refusal is told on the console too
	b.do(chromedp.Navigate(p.url+"/?joint=knee"), says("state", "limp"), click("input[value=gait]"),
		chromedp.Evaluate[chromedp.Void](`for (const [k, v] of [["cycles", 40], ["check_every", 40]]) document.forms.ask.elements[k].value = v, 0`),
		click("[value=hip]"), click("#agree"), click("#arm"), says("state", "An endurance test is of one joint."))
	b.holdsNow("the reason", `(() => { const r = document.getElementById("state").getBoundingClientRect(); return r.top >= 0 && r.bottom <= innerHeight; })()`)
	b.do(click("[value=hip]"), click("#arm"), says("state", "Armed."), click("#start"),
		says("said", "cycles"), says("hint", "Ended by rule"), says("hint", "has done 40 cycles"))
	b.holdsNow("the check's verdict", `document.getElementById("mark").checkVisibility() && document.querySelector("#see a") !== null`)
	b.shot("bench-endured")
}
