package web

import (
	"testing"

	"limbgauge/analyze/health"
	"limbgauge/rig"
)

// A routine that can be chosen says what it is for.
func TestRoutinesHaveWords(t *testing.T) {
	for _, n := range rig.RoutineNames() {
		if routineWords[n] == "" {
			t.Errorf("routine %s has no words", n)
		}
	}
}

// A fault of any joint goes before a warning of another.
func TestNextIsOfTheWorst(t *testing.T) {
	joint := func(name string, s health.Severity, c health.Cause) health.Joint {
		return health.Joint{Joint: name, Findings: []health.Finding{{Cause: c, Severity: s, Next: "look at the " + name}}}
	}
	warm := joint("hip", health.SeverityWarning, health.Creep)
	for _, c := range []struct {
		joints []health.Joint
		want   string
	}{
		{nil, ""},
		{[]health.Joint{joint("yaw", health.SeverityHint, health.None)}, ""},
		{[]health.Joint{warm}, "Joint hip: look at the hip."},
		{[]health.Joint{warm, joint("knee", health.SeverityFault, health.ServoPlay)}, "Joint knee: look at the knee."},
	} {
		if got := nextOf(health.Health{Joints: c.joints}); got != c.want {
			t.Errorf("%+v: %q, want %q", c.joints, got, c.want)
		}
	}
}
