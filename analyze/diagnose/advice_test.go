package diagnose

import (
	"slices"
	"strings"
	"testing"

	"limbgauge/analyze/health"
)

// What to do next, and what looks alike, follows from what the run shows.
func TestAdviceFollowsTheEvidence(t *testing.T) {
	hold := func(change float64) *Evidence {
		e := joint(fig("creep", trans, -0.7, 0.1, 0.5))
		e.Creep = &Creep{LogShare: 0.95, CurrentChange: change}
		return e
	}
	stalled := func(use float64) *Evidence {
		e := joint(fig("stall_time", health.NoPath, 8, 0.1, none))
		e.NominalUse = use
		return e
	}
	used := func(e *Evidence, use float64) *Evidence { e.NominalUse = use; return e }
	gone := health.Judge(health.Bound("belt_tension", trans, health.BoundHigh, 0.5, none, "test", "a dead zone has opened"), 25)
	for _, c := range []struct {
		title string
		e     *Evidence
		cause health.Cause
		also  []health.Cause
		part  string
		next  string
	}{
		{"a stall under a load that explains it", stalled(1.1), health.Stall, nil, "servo", "mass"},
		{"a stall under next to no load is a jam", stalled(0.1), health.Stall, []health.Cause{health.TightSpot}, "stop", "by hand"},
		// The torque goes with the load: 0.98 ± 0.03 keeps 0.5 for certain from 0.5/1.01 of it on.
		{"all the torque in use, no current logged", used(blind(joint(fig("torque_use", health.NoPath, 0.98, 0.03, 0.5), hidden("stall_time", health.NoPath, none))), 0.98),
			health.Stall, []health.Cause{health.NearStall}, "servo", "49 %"},
		{"much of the torque in use, no current logged", blind(joint(fig("torque_use", health.NoPath, 0.75, 0.03, 0.5), hidden("stall_time", health.NoPath, none))),
			health.NearStall, []health.Cause{health.Stall}, "servo", "64 %"},
		{"much of the torque in use", joint(fig("torque_use", health.NoPath, 0.75, 0.03, 0.5), fig("stall_time", health.NoPath, 0, 0.1, none)),
			health.NearStall, nil, "servo", "64 %"},
		{"a part that creeps leaves the current alone", hold(0.01), health.Creep, []health.Cause{health.HornSlip}, "printed part", "ten minutes"},
		{"a servo that fades does not", hold(-0.3), health.Creep, []health.Cause{health.HornSlip, health.NearStall}, "printed part", "ten minutes"},
		// A string's tone goes with the square root of its tension: from 6.25 N to 25 N is an octave.
		{"low tension", joint(fig("belt_tension", trans, 6.25, 0.5, 25)), health.BeltTensionLow, nil, "belt", "2.0 times"},
		{"no tension, by a dead zone that is not the belt's for certain", joint(gone, fig("play", trans, 0.2, 0.05, 0.5)),
			health.BeltTensionLow, []health.Cause{health.BeltSlack, health.HornSlip}, "belt", "pluck"},
		{"play beside a belt that is tight", joint(fig("play", trans, 0.8, 0.05, 0.5), atLeast("belt_tension", trans, 40, 25)), health.BeltSlack, []health.Cause{health.HornSlip}, "hub", "hub"},
		{"play without tension", joint(fig("play", trans, 0.8, 0.05, 0.5), gone), health.BeltSlack, []health.Cause{health.HornSlip}, "belt", "re-tension"},
		{"play of a belt that is tight, seen by one sensor", blind(joint(fig("play", total, 0.8, 0.05, 0.5), atLeast("belt_tension", total, 40, 25))), health.ServoPlay,
			[]health.Cause{health.BeltSlack, health.HornSlip}, "servo", "or the belt"},
		{"play of the servo", joint(fig("play", servo, 0.8, 0.05, 0.5)), health.ServoPlay, []health.Cause{health.HornSlip}, "servo", "else the horn's seat"},
		{"friction under a belt as it should be", joint(fig("friction", trans, 0.2, 0.03, 0.06), atLeast("belt_tension", trans, 40, 25)), health.HighFriction, nil, "bearing", "axle"},
		{"friction under a very tight belt", joint(fig("friction", trans, 0.2, 0.03, 0.06), atLeast("belt_tension", trans, 90, 25)), health.HighFriction, nil, "bearing", "slacken"},
	} {
		f := Diagnose(c.e)[0]
		var also []health.Cause
		for _, a := range f.CouldAlsoBe {
			also = append(also, health.Cause(a))
		}
		if f.Cause != c.cause || !slices.Equal(also, c.also) || !strings.Contains(f.Part, c.part) || !strings.Contains(f.Next, c.next) {
			t.Errorf("%s: %s, also %v, part %q, next %q", c.title, f.Cause, also, f.Part, f.Next)
		}
	}
	sure, unsure := Diagnose(joint(fig("belt_tension", trans, 0.5, 0.2, 25)))[0], Diagnose(joint(gone))[0]
	if unsure.Confidence >= sure.Confidence {
		t.Errorf("a bound from a dead zone is as sure (%g) as a knee (%g)", unsure.Confidence, sure.Confidence)
	}
}
