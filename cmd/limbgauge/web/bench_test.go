package web

import (
	"testing"

	"limbgauge/analyze/health"
	"limbgauge/rig"
)

// A routine that can be chosen says what it is for.
func TestRoutinesHaveWords(t *testing.T) {
	for _, k := range rig.RoutineKinds() {
		if k.What == "" {
			t.Errorf("routine %s has no words", k.Name)
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

// What another routine left unproven leads to the one that measures all, with the same joints; what was found, or can
// never be proven, does not.
func TestUnprovenLeadsToTheRoutineOfAll(t *testing.T) {
	h := func(v health.Verdict, s health.Status, c health.Cause) health.Health {
		return health.Health{Joints: []health.Joint{{Joint: "knee", Measures: []health.Measure{{Name: "play", Verdict: v, Status: s}},
			Findings: []health.Finding{{Cause: c, Severity: health.SeverityWarning, Next: "look"}}}}}
	}
	open := h(health.Unproven, health.NotObservable, health.None)
	quick := Sweep{Joints: []string{"hip", "knee & co"}, Routine: "quick"}
	f := furtherOf(quick, open)
	if f == nil || f.Path != "/?joint=hip&joint=knee+%26+co&routine=assembly#ask" || f.Text != "Run hip, knee & co with routine assembly" {
		t.Errorf("%+v", f)
	}
	all, bare, long := quick, quick, quick
	all.Routine, bare.Bare, long.Endure = "assembly", true, &Endure{}
	for name, f := range map[string]*further{
		"all were measured": furtherOf(all, open), "bare servo": furtherOf(bare, open), "endurance": furtherOf(long, open),
		"all kept": furtherOf(quick, h(health.Pass, health.Measured, health.None)), "a warning": furtherOf(quick, h(health.Unproven, health.NotObservable, health.Creep)),
	} {
		if f != nil {
			t.Errorf("%s: %+v", name, f)
		}
	}
}
