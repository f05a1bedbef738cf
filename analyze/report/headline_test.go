package report

import (
	"strings"
	"testing"

	"limbgauge/analyze/health"
)

// The first sentence says the worst that is known, and never more good than was proven.
func TestHeadline(t *testing.T) {
	good := health.Judge(health.Of("play", health.Total, 0.1, 0.02, ""), 0.5)
	bad := health.Judge(health.Of("play", health.Total, 0.9, 0.02, ""), 0.5)
	open := health.Judge(health.Unseen("belt_tension", health.Total, "", "one-sided load"), 25)
	least := health.Judge(health.Bound("supply_sag", health.NoPath, health.BoundLow, 0.36, 0.01, "", ""), 0.9)
	free := health.Of("rise_time", health.NoPath, 0.1, 0.02, "")
	finding := func(c health.Cause, s health.Severity, next string) health.Finding {
		return health.Finding{Cause: c, Severity: s, Confidence: 0.9, Next: next, Part: map[health.Cause]string{health.BeltSlack: "belt", health.SupplySag: "supply and leads"}[c]}
	}
	none := finding(health.None, health.SeverityOK, "")
	slack := finding(health.BeltSlack, health.SeverityFault, "re-tension the belt")
	sag := finding(health.SupplySag, health.SeverityWarning, "")
	surer, odd := slack, slack
	surer.Confidence, odd.Confidence, odd.Part = 1, 0, ""
	jam := finding(health.Stall, health.SeverityFault, "lighten the load")
	jam.Part = "servo"
	skip := slack
	skip.Cause, skip.Confidence = health.ToothSkip, 0.8
	hides := none
	hides.CouldAlsoBe, hides.Next = []string{"stall"}, "log the supply current"
	hint := finding(health.Hunting, health.SeverityHint, "")
	joint := func(name string, ms []health.Measure, fs ...health.Finding) health.Joint {
		return health.Joint{Joint: name, Measures: ms, Findings: fs}
	}
	all := []health.Measure{good, free}
	for name, c := range map[string]struct {
		joints []health.Joint
		short  bool
		shape  string
		says   []string
	}{
		"no joint":        {nil, false, shapeNone, []string{"Nothing was analysed"}},
		"fault":           {[]health.Joint{joint("knee", all, slack)}, false, shapeBad, []string{"Change or repair the belt of the knee: belt slack, confidence 90 %.", "Re-tension the belt."}},
		"fault of two":    {[]health.Joint{joint("knee", all, slack), joint("hip", all, slack, sag)}, false, shapeBad, []string{"Change or repair the belt of the knee and hip: belt slack, confidence 90 %.", "First the knee: re-tension the belt.", "Also watch the supply and leads of the hip: supply sags, confidence 90 %."}},
		"unlike sure":     {[]health.Joint{joint("knee", all, surer), joint("hip", all, slack)}, false, shapeBad, []string{"the belt of the knee and hip: belt slack, confidence 90 %."}},
		"very sure":       {[]health.Joint{joint("knee", all, surer)}, false, shapeBad, []string{"belt slack, confidence over 99 %."}},
		"two parts":       {[]health.Joint{joint("knee", all, slack), joint("hip", all, jam)}, false, shapeBad, []string{"Change or repair the belt of the knee (belt slack) and the servo of the hip (stall), confidence 90 % or more."}},
		"two causes":      {[]health.Joint{joint("knee", all, slack, skip)}, false, shapeBad, []string{"Change or repair the belt of the knee: belt slack and belt skipped a tooth, confidence 80 %."}},
		"part not known":  {[]health.Joint{joint("knee", all, odd)}, false, shapeBad, []string{"Change or repair the knee: belt slack."}},
		"fault last":      {[]health.Joint{joint("hip", all, sag), joint("knee", all, slack)}, false, shapeBad, []string{"Change or repair the belt of the knee: belt slack"}},
		"warning":         {[]health.Joint{joint("knee", all, sag)}, false, shapeWarning, []string{"No fault yet, but watch the supply and leads of the knee: supply sags, confidence 90 %."}},
		"failed":          {[]health.Joint{joint("knee", []health.Measure{good, bad, open}, none)}, false, shapeBad, []string{"no cause was found: play (total) of the knee."}},
		"unproven":        {[]health.Joint{joint("knee", []health.Measure{good, open}, none)}, false, shapeDoubt, []string{"not proven good: belt tension (total) of the knee."}},
		"hidden":          {[]health.Joint{joint("knee", []health.Measure{good, open}, hides)}, false, shapeDoubt, []string{"not proven good: belt tension (total) of the knee.", "Log the supply current."}},
		"much unproven":   {[]health.Joint{joint("knee", []health.Measure{good, open, open, open, open}, none)}, false, shapeDoubt, []string{"4 of 5 limits are not proven kept", "Not proven: belt tension (total) of the knee"}},
		"much, and a sag": {[]health.Joint{joint("knee", []health.Measure{good, open, open, open, open, least}, none)}, false, shapeDoubt, []string{"5 of 6 limits are not proven kept", "Not proven: belt tension", "Not to be proven here", "supply sag of the knee"}},
		"unproven short":  {[]health.Joint{joint("knee", []health.Measure{good, open}, none)}, true, shapeDoubt, []string{"did not reach its end", "not proven good", "Find out what stopped it, then run the routine again", "cut short (tripped)."}},
		"one good":        {[]health.Joint{joint("knee", []health.Measure{good}, none)}, false, shapeGood, []string{"the one limit is kept."}},
		"never proven":    {[]health.Joint{joint("knee", []health.Measure{good, least}, none)}, false, shapeGood, []string{"1 of 2 limits is kept, 1 can not be proven here", "Not to be proven here", "supply sag of the knee, at least 0.360 ± 0.010 V"}},
		"nothing proven":  {[]health.Joint{joint("knee", []health.Measure{least}, none)}, false, shapeDoubt, []string{"nothing was proven good"}},
		"no limit":        {[]health.Joint{joint("knee", []health.Measure{free}, none)}, false, shapeDoubt, []string{"nothing was judged"}},
		"good":            {[]health.Joint{joint("knee", all, none), joint("hip", all, none)}, false, shapeGood, []string{"No fault found; all 2 limits are kept"}},
		"good with hint":  {[]health.Joint{joint("knee", all, hint)}, false, shapeGood, []string{"Worth knowing: hunting at rest in the knee."}},
		"good but short":  {[]health.Joint{joint("knee", all, none)}, true, shapeDoubt, []string{"did not reach its end", "cut short (tripped)."}},
		"fault, short":    {[]health.Joint{joint("knee", all, slack)}, true, shapeBad, []string{"Change or repair", "cut short (tripped)."}},
	} {
		h := headlineOf(&Document{Health: health.Health{Joints: c.joints}, Run: Run{CutShort: c.short, Ended: "tripped"}})
		text := h.Sentence + " " + h.Next + " " + strings.Join(h.Also, " ")
		if h.Mark.Shape != c.shape || h.Next == "" {
			t.Errorf("%s: marked %q, want %q; next %q", name, h.Mark.Shape, c.shape, h.Next)
		}
		for _, s := range c.says {
			if !strings.Contains(text, s) {
				t.Errorf("%s: %q does not say %q", name, text, s)
			}
		}
	}
}

// The verdict comes before what it rests on, and that before the fine print.
func TestPageIsInTheOrderOfUse(t *testing.T) {
	page := render(t, fixture(asIs))
	at := 0
	for _, next := range []string{`<h1 id="verdict">`, `<article class="finding`, "Next test", `<ul class="joints"`, `id="joint-1"`, `class="over"`, "<figcaption>", `<table class="measures"`,
		"Over the runs so far", `id="joint-2"`, `id="revision"`, `<table class="problems"`, `id="compare"`, `id="conditions"`, "<h3>Losses", `id="cautions"`, `id="method"`} {
		i := strings.Index(page[at:], next)
		if i < 0 {
			t.Fatalf("%s does not follow", next)
		}
		at += i
	}
}

// Marks over the runs: each status has a shape of its own, and boundaries keep their labels apart.
func TestHistoryTellsStatusByShape(t *testing.T) {
	h := fixture(asIs).History[0]
	svg, err := HistorySVG(h, Size{})
	e := checkDrawing(t, svg, err)
	text := e.text()
	for _, s := range []string{"?", "at least", "at most", "limit 0.5 deg", "revision B", "new grease", "0044"} {
		if !strings.Contains(text, s) {
			t.Errorf("the drawing does not say %q", s)
		}
	}
	dashed := 0
	for _, p := range e.all("path", "s-model") {
		if p.attrs["stroke-dasharray"] != "" {
			dashed++
		}
	}
	if dashed != 1 {
		t.Errorf("%d dashed boundaries, want the one service", dashed)
	}
	alt := historyAlt(h)
	for _, s := range []string{"Seen in 4 runs of 5", "last 0.620 ± 0.040 deg", "The limit is 0.5 deg", "Before run 0041: revision B", "Before run 0043: new grease"} {
		if !strings.Contains(alt, s) {
			t.Errorf("%q does not say %q", alt, s)
		}
	}
}

// A run is told whole: a joint that nothing was recorded of is named.
func TestHeadlineNamesWhatWasNotJudged(t *testing.T) {
	d := &Document{Health: health.Health{Joints: []health.Joint{{Joint: "hip", Findings: []health.Finding{{Cause: health.None, Severity: health.SeverityOK}}}}},
		Run: Run{Joints: []JointFacts{{Joint: "hip", Samples: 10}, {Joint: "knee"}}}}
	if also := strings.Join(headlineOf(d).Also, " "); !strings.Contains(also, "Not judged, as too little of it was recorded: knee.") {
		t.Errorf("said besides: %q", also)
	}
}

// A joint of which nothing was seen is never told sound, nor the run it is in good; what to do after a stop by
// hand is not to look for what stopped it.
func TestHeadlineWhereNothingWasSeen(t *testing.T) {
	none := health.Finding{Cause: health.None, Severity: health.SeverityOK, CouldAlsoBe: []string{"creep", "stall"}, Next: "run a whole routine"}
	mute := health.Joint{Joint: "knee", Findings: []health.Finding{none}, Measures: []health.Measure{
		health.Unseen("play", health.Total, "", "too short"), health.Of("stall_time", health.NoPath, 0, 0.3, "")}}
	limited := mute
	limited.Measures = []health.Measure{health.Judge(mute.Measures[0], 0.5), mute.Measures[1]}
	good := health.Joint{Joint: "hip", Findings: []health.Finding{{Cause: health.None, Severity: health.SeverityOK}},
		Measures: []health.Measure{health.Judge(health.Of("play", health.Total, 0.1, 0.02, ""), 0.5)}}
	cut := Run{CutShort: true, ByHand: true, DurationS: 2.6, Ended: "stopped: by the user"}
	for name, c := range map[string]struct {
		run              Run
		joints           []health.Joint
		sentence, next   string
		besides, without string
	}{
		"stopped":           {cut, []health.Joint{mute}, "Nothing can be said: only 2.6 s were recorded.", "Run the routine again, to its end.", "cut short (stopped: by the user).", "o fault"},
		"stopped, limits":   {cut, []health.Joint{limited}, "Nothing can be said: only 2.6 s were recorded.", "Run the routine again, to its end.", "", "o fault"},
		"tripped":           {Run{CutShort: true, DurationS: 2.6}, []health.Joint{mute}, "Nothing can be said: only 2.6 s were recorded.", "Find out what stopped it, then run the routine again, to its end.", "cut short.", "o fault"},
		"whole":             {Run{DurationS: 70}, []health.Joint{mute, limited}, "Nothing can be said: no measure that would show a fault was seen.", "Run a whole routine.", "", "o fault"},
		"one of two":        {Run{}, []health.Joint{good, mute}, "No fault found, but nothing can be said of the knee.", "", "", "all 1"},
		"one of two, cut":   {cut, []health.Joint{good, limited}, "The run did not reach its end. No fault found, but not proven good: play (total) of the knee.", "Run the routine again, to its end.", "Nothing can be said of the knee:", "limits are kept"},
		"one good, cut":     {cut, []health.Joint{good}, "Nothing wrong so far, but the run did not reach its end.", "Run the routine again, to its end.", "", "Nothing can be said"},
		"not yet ended, it": {Run{CutShort: true}, []health.Joint{mute}, "Nothing can be said: too little was recorded.", "", "", "o fault"},
	} {
		h := headlineOf(&Document{Health: health.Health{Joints: c.joints}, Run: c.run})
		also := strings.Join(h.Also, " ")
		if h.Sentence != c.sentence || c.next != "" && h.Next != c.next || h.Next == "" || h.Mark.Shape != shapeDoubt ||
			!strings.Contains(also, c.besides) || strings.Contains(h.Sentence+also, c.without) {
			t.Errorf("%s: %+v", name, h)
		}
	}
	page := render(t, &Document{Health: health.Health{Joints: []health.Joint{good, mute}}, Run: cut})
	for _, want := range []string{"<p>Nothing is excluded.</p>", "nothing can be said", `<span class="quiet">Next test</span> Run the routine again, to its end.`} {
		if !strings.Contains(page, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if strings.Contains(page, "Run a whole routine") {
		t.Error("the page gives two next steps")
	}
}

// A joint is not said to keep all its limits where one is only known from the side on which it fails.
func TestStateCountsTheLimits(t *testing.T) {
	good := health.Judge(health.Of("play", health.Total, 0.1, 0.02, ""), 0.5)
	open := health.Judge(health.Unseen("creep", health.Total, "", "no hold"), 0.5)
	least := health.Judge(health.Bound("supply_sag", health.NoPath, health.BoundLow, 0.36, 0.01, "", ""), 0.9)
	for _, c := range []struct {
		ms         []health.Measure
		sign, says string
	}{
		{[]health.Measure{good, good, least}, "good", "no fault found, 2 of 3 limits are kept, 1 can not be proven here"},
		{[]health.Measure{good, good}, "pass", "no fault found, all 2 limits are kept"},
		{[]health.Measure{good}, "pass", "no fault found, the one limit is kept"},
		{[]health.Measure{good, open, least}, "unproven", "no fault found, 1 of 3 limits proven kept"},
		{[]health.Measure{least}, "unproven", "no fault found, nothing proven good"},
	} {
		sign, says := StateOf(health.Joint{Measures: c.ms, Findings: []health.Finding{{Cause: health.None, Severity: health.SeverityOK}}})
		if sign.Word != c.sign || says != c.says {
			t.Errorf("%q, %q, want %q, %q", sign.Word, says, c.sign, c.says)
		}
	}
}

// Where nothing was found the page gives the step that the finding gives, which is the one the terminal prints.
func TestHeadlineNextIsTheFindings(t *testing.T) {
	free := health.Of("play", health.Total, 0.1, 0.02, "")
	good := health.Judge(free, 0.5)
	of := func(name string, m health.Measure, next string, also ...string) health.Joint {
		return health.Joint{Joint: name, Measures: []health.Measure{m}, Findings: []health.Finding{{Cause: health.None, Severity: health.SeverityOK, Next: next, CouldAlsoBe: also}}}
	}
	for name, c := range map[string]struct {
		joints []health.Joint
		want   string
	}{
		"no limits":       {[]health.Joint{of("knee", free, "set limits")}, "Set limits."},
		"two of the same": {[]health.Joint{of("knee", free, "set limits"), of("hip", free, "set limits")}, "Set limits."},
		"two that differ": {[]health.Joint{of("knee", free, "set limits"), of("hip", free, "set limits; then hang more on it")}, "First the knee: set limits."},
		"all kept":        {[]health.Joint{of("knee", good, "nothing to do"), of("hip", good, "nothing to do")}, "Nothing to do."},
		"kept, but blind": {[]health.Joint{of("knee", good, "nothing to do"), of("hip", good, "pluck a span", "belt_tension_low")}, "First the hip: pluck a span."},
	} {
		if h := headlineOf(&Document{Health: health.Health{Joints: c.joints}}); h.Next != c.want {
			t.Errorf("%s: %q, want %q", name, h.Next, c.want)
		}
	}
}
