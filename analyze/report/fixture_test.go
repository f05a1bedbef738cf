package report

import (
	"bytes"
	"math"
	"testing"
	"time"

	"limbgauge/analyze/health"
	"limbgauge/rig"
)

var nan = math.NaN()

// fixture is a document with something in every field. Every text from outside passes through say,
// so that a test can make all of them hostile at once.
func fixture(say func(string) string) *Document {
	measures := func() []health.Measure {
		play := health.Judge(health.Of("play", health.Transmission, 0.624, 0.041, say("loop fit")), 0.5)
		play.Reason = say("fitted over six loops")
		return []health.Measure{play,
			health.Judge(health.Of("reversal_error", health.Total, 0.21, 0.03, say("stops")), 0.5),
			health.Judge(health.Of("repeatability", health.Total, 0.48, 0.05, say("stops")), 0.5),
			health.Judge(health.Bound("belt_tension", health.Transmission, health.BoundLow, 21.5, nan, say("knee"), say("no knee was reached")), 25),
			health.Bound("span_slack_torque", health.Transmission, health.BoundHigh, 0.7, 0.1, say("knee"), say("seen before the first step")),
			health.Judge(health.Unseen("compliance", health.Servo, say("loop"), say("no load was applied")), 2),
			health.Unseen("creep", health.Total, say("hold"), say("the hold was too short")),
			health.Of("systematic_deviation", health.Servo, 0.3, 0.02, say("stops")),
			health.Of("systematic_deviation", health.Transmission, 0.5, 0.02, say("stops")),
			health.Of("systematic_deviation", health.Total, 0.7, 0.02, say("stops")),
			{Name: say("home made"), Path: health.Path(say("elsewhere")), Unit: say("furlong"), Value: 3, Uncertainty: 1, Limit: nan, Status: health.Measured},
		}
	}
	curves := []health.Curve{{ID: say("loop-total"), Title: say("Loop"), XLabel: say("torque (N·m)"), YLabel: say("deviation (deg)"), Alt: say("a loop of two branches"),
		Lines: []health.Line{
			{Name: say("up"), Role: health.RoleUp, X: []float64{0, 1, 2}, Y: []float64{0, 1, 3}},
			{Name: say("down"), Role: health.RoleDown, Points: true, X: []float64{0, 1, 2}, Y: []float64{1, 2, 3}},
		}}}
	joint := func(name string, severity health.Severity, causes ...health.Cause) health.Joint {
		j := health.Joint{Joint: name, Measures: measures(), Curves: curves, Notes: []string{say("a remark on the data")}}
		for _, c := range causes {
			j.Findings = append(j.Findings, health.Finding{Cause: c, Severity: severity, Confidence: 0.97, Part: say("belt"),
				Evidence: []string{say("play above the limit"), say("a dead zone in the loop")}, CouldAlsoBe: []string{say("horn_slip")}, Next: say("tension the belt")})
		}
		return j
	}
	knee, hip := say("knee"), say("hip")
	points := []Point{
		{Run: say("0040"), Measure: health.Of("play", health.Transmission, 0.3, 0.04, "")},
		{Run: say("0041"), Measure: health.Bound("play", health.Transmission, health.BoundLow, 0.4, nan, "", "")},
		{Run: say("0042"), Measure: health.Bound("play", health.Transmission, health.BoundHigh, 0.9, nan, "", "")},
		{Run: say("0043"), Measure: health.Unseen("play", health.Transmission, "", say("not loaded"))},
		{Run: say("0044"), Measure: health.Of("play", health.Transmission, 0.62, 0.04, "")},
	}
	at := time.Date(2026, 3, 1, 10, 0, 0, 0, time.UTC)
	diff := func(name string, mark health.Verdict, a, b health.Measure, d, u float64) Difference {
		return Difference{Joint: knee, A: a, B: b, Diff: d, U: u, Verdict: say(name), Mark: mark}
	}
	a, b := points[0].Measure, points[4].Measure
	return &Document{
		Health: health.Health{Schema: health.Schema, Run: say("0044"), Leg: say("fore-left"), Revision: say("B"), Joints: []health.Joint{
			joint(knee, health.SeverityFault, health.BeltSlack, health.Cause(say("odd_cause"))),
			joint(hip, health.SeverityWarning, health.NearStall, health.Creep),
		}},
		Run: Run{Routine: say("sweep"), Started: at, DurationS: 41.7, Ended: say("stopped by hand"), CutShort: true, Stand: say("stand one"),
			Firmware: say("fw 3"), SampleHz: 500, Note: say("a note of the builder"),
			Joints:      []JointFacts{{knee, 900, rig.Losses{Lost: 100, Damaged: 2, Late: 1}}, {hip, 1000, rig.Losses{}}},
			Conditions:  []Fact{{say("supply"), say("6.0 V")}},
			Calibration: []Fact{{say("angle"), say("done in February")}}},
		Revision: &Revision{Name: say("B"), Parent: say("A"), Why: say("a wider belt"), Made: at,
			Parts: []Part{{say("shank"), say("shank.stl"), say("9f86d081"), 120400}}},
		Problems: []Problem{
			{knee, health.BeltSlack, StateOpen, say("opened 0041"), "", "", []string{say("seen twice")}},
			{knee, health.HornSlip, StateAnswered, "0039", say("answer B"), "", []string{say("horn moved")}},
			{hip, health.Stall, StateCured, "0030", "A", say("closed 0033"), []string{say("no stall since")}},
			{hip, health.Creep, StateReturned, "0031", "A", "0044", []string{say("grew again")}},
			{hip, health.Hunting, say("parked"), "0031", "", "", nil},
		},
		Comparison: &Comparison{A: say("rev A"), B: say("rev B"), RunsA: 3, RunsB: 1, Says: []string{say("B is worse in play")}, Reasons: []string{say("a reason behind it")}, Notes: []string{say("a reason to doubt")}, Rows: []Difference{
			diff("B is worse", health.Fail, a, b, 0.32, 0.057), diff("B is better", health.Pass, b, a, -0.32, 0.057),
			diff("cannot tell", health.Unproven, a, points[3].Measure, nan, nan), diff("", health.NoVerdict, a, a, 0, 0.05)}},
		History: []History{{Joint: knee, Measure: "play", Path: health.Transmission, Limit: 0.5, Points: points,
			Marks: []Mark{{Before: 1, Label: say("revision B")}, {Before: 3, Label: say("new grease"), Service: true}, {Before: 5, Label: say("after all")}}}},
	}
}

func asIs(s string) string { return s }

func render(t testing.TB, d *Document) string {
	t.Helper()
	var b bytes.Buffer
	if err := HTML(&b, d); err != nil {
		t.Fatal(err)
	}
	return b.String()
}
