package report

import (
	"bytes"
	"strings"
	"testing"

	"limbgauge/analyze/health"
)

// A finding asks for a run with the routine that showed it; one of another make falls back on the routine that
// measures all; creep needs the long hold.
func TestAgain(t *testing.T) {
	for _, c := range []struct {
		cause         health.Cause
		routine, want string
	}{{health.BeltSlack, "check", "check"}, {health.NearStall, "gait", "assembly"}, {health.Creep, "assembly", "hold"}} {
		if got := AgainOf(c.cause, "knee", c.routine); got == nil || *got != (Again{"knee", c.want}) {
			t.Errorf("%s, found with %s: %v, want %s", c.cause, c.routine, got, c.want)
		}
	}
	if got := AgainOf(health.None, "knee", "check"); got != nil {
		t.Errorf("nothing found: %v", got)
	}
}

// The way to the bench is in the record that a server shows, and not in the file, which is alone.
func TestAgainIsForAServer(t *testing.T) {
	d := &Document{Health: health.Health{Joints: []health.Joint{{Joint: "knee & co", Findings: []health.Finding{{Cause: health.BeltSlack, Severity: health.SeverityFault, Next: "re-tension"}}}}}, Run: Run{Routine: "check"}}
	const way = `href="/?joint=knee%20%26%20co&amp;routine=check"`
	shown, err := Record(d)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(shown), way) {
		t.Errorf("the record has no %s", way)
	}
	var file bytes.Buffer
	if err := HTML(&file, d); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(file.String(), `href="/`) {
		t.Error("the file links to a server")
	}
}
