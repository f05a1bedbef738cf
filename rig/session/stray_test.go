package session

import (
	"errors"
	"strings"
	"testing"
	"time"

	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
	"limbgauge/rig/link"
	"limbgauge/rig/record"
	"limbgauge/rig/virtual"
)

func TestStrayed(t *testing.T) {
	driven := func(mdeg ...int32) heading {
		var h heading
		b := &rig.Batch{}
		for _, c := range mdeg {
			b.Append(rig.Row{Segment: 1, Command: c, Angle: c})
		}
		b.Append(rig.Row{Segment: 0, Command: 75_000, Angle: 78_600}) // limp by now
		h.take(b)
		return h
	}
	for name, c := range map[string]struct {
		h     heading
		value int
		ahead bool
		says  string
	}{
		"on past it, upward":   {driven(43_000, 60_000, 60_000), 78_600, true, "18.6 deg ahead of its command at 60.0 deg"},
		"on past it, downward": {driven(-43_000, -60_000), -78_600, true, "18.6 deg ahead of its command at -60.0 deg"},
		"the other way":        {driven(60_000, -60_000), 78_600, false, "its command was at -60.0 deg"},
		"turned round by then": {driven(60_000, 59_000), 78_600, false, "its command was at 59.0 deg"},
		"a command that stood": {driven(60_000, 60_000), 78_600, false, "its command was at 60.0 deg"},
		"far":                  {driven(10_000, 20_000), 78_600, true, "58.6 deg ahead of its command at 20.0 deg"},
	} {
		trip := &link.TrippedError{Trip: link.Tripped{Reason: wire.ReasonRange, Joint: 1, Value: c.value, Limit: 75_000}, Joint: "knee"}
		err := strayed(trip, []heading{{}, c.h})
		var got *StrayError
		if !errors.As(err, &got) || got.Ahead != c.ahead || !errors.Is(err, trip) {
			t.Errorf("%s: got %v, want ahead %t", name, err, c.ahead)
			continue
		}
		if end := ending(err); end.How != record.Tripped || !strings.HasSuffix(end.Reason, c.says) || !strings.HasPrefix(end.Reason, "joint at ") {
			t.Errorf("%s: the run ends with %+v, want %q", name, end, c.says)
		}
	}
	for name, err := range map[string]error{
		"no trip":          ErrStuck,
		"of the current":   &link.TrippedError{Trip: link.Tripped{Reason: wire.ReasonCurrent, Joint: 0}},
		"of no joint":      &link.TrippedError{Trip: link.Tripped{Reason: wire.ReasonRange, Joint: -1}},
		"before any move":  &link.TrippedError{Trip: link.Tripped{Reason: wire.ReasonRange, Joint: 0}},
		"nothing happened": nil,
	} {
		if got := strayed(err, []heading{{}}); got != err {
			t.Errorf("%s: became %v", name, got)
		}
	}
}

// A belt that jumps on in the way the joint goes throws it out of its range: the run says it was ahead.
func TestRangeTripSaysHowFarAhead(t *testing.T) {
	j := leg(t)[2]
	truth := virtual.Healthy(j, 0)
	truth.Belt.Skips = []virtual.Slip{{AtS: 1.5, Deg: 3}}
	res, err := Run(t.Context(), Config{Line: stand(t, virtual.Options{Joints: []rig.Joint{j}, Truths: []virtual.Truth{truth}}), Joints: []rig.Joint{j},
		SampleHz: 250, Consent: Agreed(), Bench: t.TempDir(), Plans: []Plan{{0, rig.Routine{Name: "up", Moves: []rig.Move{
			{Kind: rig.MoveRamp, TargetDeg: 60, RateDegPerS: 30, Dwell: time.Second}}}}}})
	var got *StrayError
	if !errors.As(err, &got) || !got.Ahead {
		t.Fatalf("got %v, want a joint ahead of its command", err)
	}
	// Three teeth of 18 deg, of which it tripped on the way, and what it swings over.
	if ahead := got.AngleDeg - got.CommandDeg; ahead < 18 || ahead > 60 || got.AngleDeg < 75 || got.CommandDeg > 60 {
		t.Errorf("%.1f deg ahead of %.1f, put in are 54 deg", ahead, got.CommandDeg)
	}
	if r := open(t, res); r.Info.End.How != record.Tripped || !strings.Contains(r.Info.End.Reason, "ahead of its command") {
		t.Errorf("ended %+v", r.Info.End)
	}
}
