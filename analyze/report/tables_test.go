package report

import (
	"testing"

	"limbgauge/analyze/health"
)

// What no path shows stands apart, once for each measure; what one path shows stays whole, and what
// has a limit is judged even unseen.
func TestMissingStandsApart(t *testing.T) {
	no := func(name string, path health.Path, why string) health.Measure {
		return health.Unseen(name, path, "", why)
	}
	judged := no("belt_tension", health.Transmission, "too light")
	judged.Limit, judged.Verdict = 25, health.Unproven
	js, others, missing := tablesOf([]health.Measure{
		health.Of("play", health.Total, 0.2, 0.1, ""), no("play", health.Servo, "one-sided"),
		no("creep", health.Total, "no hold"), no("creep", health.Servo, "no hold"),
		no("friction", health.Total, "no ramp"), no("friction", health.Transmission, "no load"),
		judged})
	if len(js) != 1 || js[0].Title != measureTitle("belt_tension") {
		t.Errorf("judged: %+v", js)
	}
	if len(others) != 1 || others[0].Title != measureTitle("play") || len(others[0].Rows) != 2 {
		t.Errorf("others: %+v", others)
	}
	if len(missing) != 2 {
		t.Fatalf("missing: %+v", missing)
	}
	got := map[string]string{}
	for _, g := range missing {
		got[g.Title] = g.Paths
	}
	if p := got[measureTitle("creep")]; p != "total, servo" {
		t.Errorf("one reason for two paths: %q", p)
	}
	if p, ok := got[measureTitle("friction")]; !ok || p != "" {
		t.Errorf("two reasons are told as one: %q", p)
	}
}
