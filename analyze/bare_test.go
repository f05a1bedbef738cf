package analyze

import (
	"math"
	"slices"
	"strings"
	"testing"

	"limbgauge/analyze/health"
	"limbgauge/rig"
	"limbgauge/rig/virtual"
)

// virtualKnee is a belt joint without motor-side angle, as bench.toml describes it.
func virtualKnee(t *testing.T, ratio float64) rig.Joint {
	t.Helper()
	b, err := rig.ParseBench("example", []byte(rig.ExampleBench()))
	if err != nil {
		t.Fatal(err)
	}
	j, _ := b.JointByName("knee")
	j.Sensors.MotorCounts, j.Belt.Ratio = 0, ratio
	return j
}

// played is what a virtual joint's sensors say of a routine.
func played(t *testing.T, j rig.Joint, truth virtual.Truth, routine string) *rig.Series {
	t.Helper()
	r, err := rig.BuiltinRoutine(routine, j)
	if err != nil {
		t.Fatal(err)
	}
	out, err := virtual.Play(virtual.NewWorld([]virtual.Truth{truth}), []rig.Joint{j}, []rig.Routine{r}, 250)
	if err != nil {
		t.Fatal(err)
	}
	return rig.SeriesOf(j.Name, out[0])
}

func bareOf(t *testing.T, j rig.Joint, truth virtual.Truth) *Bare {
	t.Helper()
	j = j.BareServo()
	b, err := BareServo("0031", "assembly", played(t, j, truth.BareServo(), "assembly"), j)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// A belt joint without a motor-side angle: slack and gear play look alike in the total, and a run of
// the bare servo tells them apart.
func TestBareServoTellsBeltFromServo(t *testing.T) {
	j := virtualKnee(t, 1)
	healthy := virtual.Healthy(j, 5)
	for _, c := range []struct {
		fault     string
		size      float64
		want      health.Cause
		trans     float64 // true play of the transmission, deg
		servoPlay float64
	}{
		{"belt_slack", 0.9, health.BeltSlack, 0.9 + healthy.Part.PlayDeg, healthy.Servo.PlayDeg},
		{"servo_play", 1.6, health.ServoPlay, healthy.Part.PlayDeg, 1.6},
		{"", 0, health.None, healthy.Part.PlayDeg, healthy.Servo.PlayDeg},
	} {
		truth := healthy
		if c.fault != "" {
			var err error
			if truth, err = virtual.WithFault(healthy, c.fault, c.size); err != nil {
				t.Fatal(err)
			}
		}
		s := played(t, j, truth, "assembly")
		alone, err := RunAfter(s, j, Past{Routine: "assembly"})
		if err != nil {
			t.Fatal(err)
		}
		if c.fault != "" && !slices.ContainsFunc(alone.Findings, func(f health.Finding) bool {
			return slices.Contains(append(f.CouldAlsoBe, string(f.Cause)), string(health.BeltSlack)) && slices.Contains(append(f.CouldAlsoBe, string(f.Cause)), string(health.ServoPlay))
		}) {
			t.Errorf("%s, without the bare servo: %+v", c.fault, alone.Findings)
		}
		got, err := RunAfter(s, j, Past{Routine: "assembly", Bare: bareOf(t, j, truth)})
		if err != nil {
			t.Fatal(err)
		}
		play, _ := got.Find("play", health.Transmission)
		servo, _ := got.Find("play", health.Servo)
		comp, _ := got.Find("compliance", health.Transmission)
		t.Logf("%-10s transmission %.3f ± %.3f (true %.2f), servo %.3f ± %.3f (true %.2f), compliance %.2f ± %.2f (true %.2f): %s", c.fault,
			play.Value, play.Uncertainty, c.trans, servo.Value, servo.Uncertainty, c.servoPlay, comp.Value, comp.Uncertainty, truth.DegPerNm(), got.Findings[0].Cause)
		named := false
		for _, f := range got.Findings {
			named = named || f.Cause == c.want
			for _, other := range []health.Cause{health.BeltSlack, health.ServoPlay} {
				if other != c.want && f.Cause == other || slices.Contains(f.CouldAlsoBe, string(other)) {
					t.Errorf("%s: %+v", c.fault, got.Findings)
				}
			}
		}
		if !named {
			t.Errorf("%s: %+v", c.fault, got.Findings)
		}
		if !(math.Abs(play.Value-c.trans) < play.Uncertainty+0.02) || !strings.Contains(play.Method, "bare servo of run 0031") {
			t.Errorf("%s: play of the transmission %+v, true %.3f", c.fault, play, c.trans)
		}
		if tot, _ := got.Find("play", health.Total); tot.Verdict != health.NoVerdict {
			t.Errorf("%s: the total is judged beside its parts", c.fault)
		}
	}
}

// Closed form: values subtract, uncertainties add in quadrature; behind a belt of ratio 2 the servo's
// angles count half and its give a quarter, since the torque on it was half as well.
func TestBareServoSubtracted(t *testing.T) {
	j := virtualKnee(t, 2)
	c := &subject{s: &rig.Series{}, j: j}
	total := func(ms ...health.Measure) []health.Measure {
		return append(ms, health.Of("load_torque_peak", health.NoPath, 0.4, 0.01, ""))
	}
	of := func(name string, v, u float64) health.Measure { return health.Of(name, health.Total, v, u, "loop") }
	bare := func(ms ...health.Measure) Past {
		return Past{Routine: "assembly", Bare: &Bare{Run: "0031", Routine: "assembly", Joint: j.BareServo(), PeakNm: 0.2, RestV: math.NaN(), Measures: ms}}
	}
	ms, apart, _ := c.withoutServo(total(of("play", 0.9, 0.05), of("compliance", 5, 0.3), of("mean_reversal", -0.2, 0.03)),
		bare(of("play", 0.6, 0.24), of("compliance", 4, 1.6), of("mean_reversal", 0.4, 0.08)))
	joint := health.Joint{Measures: ms}
	if !apart {
		t.Error("not told apart")
	}
	for _, w := range []struct {
		name     string
		path     health.Path
		value, u float64
	}{
		{"play", health.Servo, 0.3, 0.12}, {"play", health.Transmission, 0.6, 0.13},
		{"compliance", health.Servo, 1, 0.4}, {"compliance", health.Transmission, 4, 0.5},
		{"mean_reversal", health.Servo, 0.2, 0.04}, {"mean_reversal", health.Transmission, -0.4, 0.05},
	} {
		m, ok := joint.Find(w.name, w.path)
		if !ok || math.Abs(m.Value-w.value) > 1e-12 || math.Abs(m.Uncertainty-w.u) > 1e-12 || m.Status != health.Measured {
			t.Errorf("%s (%s): %+v, want %g ± %g", w.name, w.path, m, w.value, w.u)
		}
	}
	// Signed near nothing, refused far below it; a bound stays one; what one run does not show is not there.
	for what, d := range map[string]struct {
		total, servo health.Measure
		want         health.Status
		value        float64
	}{
		"a little below nothing": {of("play", 0.25, 0.1), of("play", 0.6, 0.1), health.Measured, -0.05},
		"less than the servo":    {of("play", 0.1, 0.05), of("play", 1, 0.1), health.NotObservable, math.NaN()},
		"a bound":                {health.Bound("play", health.Total, health.BoundHigh, 0.9, 0.05, "", "ramps"), of("play", 0.6, 0.1), health.BoundHigh, 0.6},
		"a servo only bounded":   {of("play", 0.9, 0.1), health.Bound("play", health.Total, health.BoundHigh, 0.6, 0.05, "", "ramps"), health.NotObservable, math.NaN()},
		"a total not seen":       {health.Unseen("play", health.Total, "", "one-sided"), of("play", 0.6, 0.1), health.NotObservable, math.NaN()},
		"a servo not seen":       {of("play", 0.9, 0.1), health.Unseen("play", health.Total, "", "one-sided"), health.NotObservable, math.NaN()},
	} {
		ms, apart, _ := c.withoutServo(total(d.total), bare(d.servo))
		m, ok := health.Joint{Measures: ms}.Find("play", health.Transmission)
		if !ok || m.Status != d.want || !(math.Abs(m.Value-d.value) < 1e-12 || math.IsNaN(m.Value) && math.IsNaN(d.value)) || m.Status == health.NotObservable && m.Reason == "" {
			t.Errorf("%s: %+v", what, m)
		}
		if apart { // compliance is not there
			t.Errorf("%s: told apart", what)
		}
	}
}

// What was usual is compared without the servo too: a joint without limits, whose runs had only a
// total, is judged on its transmission once the bare servo is known.
func TestBareServoOffTheBaseline(t *testing.T) {
	j := virtualKnee(t, 2)
	c := &subject{s: &rig.Series{}, j: j}
	past := Past{Usual: usualRuns("compliance", health.Total, 0.3, 5, 5, 5), Bare: &Bare{Run: "0031",
		Measures: []health.Measure{health.Of("compliance", health.Total, 4, 1.6, "")}}}
	for i := range past.Usual { // as a run judged with another bare servo says it: that one does not count
		past.Usual[i].Measures = append(past.Usual[i].Measures, health.Of("compliance", health.Transmission, 1, 0.1, ""))
	}
	// 5 - 4/2² = 4 with U = √(0.3² + (1.6/4)²) = 0.5: three times 0.25·√(4/3) beyond is 4.866.
	limit, from, ok := baseline("compliance", health.Transmission, c.usualWithout(past))
	if !ok || math.Abs(limit-4.867) > 1e-9 || from != "baseline of runs 0001, 0002, 0003" {
		t.Errorf("%g, %q, %v", limit, from, ok)
	}
}

// A bare-servo run that does not compare is not used, and the answer says why and what to do.
func TestBareServoNotComparable(t *testing.T) {
	j := virtualKnee(t, 1)
	j.Servo.Serial = "S-07"
	volts := []float64{6, 6, 6}
	c := &subject{s: &rig.Series{Supply: volts}, j: j}
	ms := []health.Measure{health.Of("play", health.Total, 0.9, 0.05, ""), health.Of("compliance", health.Total, 4, 0.1, ""),
		health.Of("load_torque_peak", health.NoPath, 0.4, 0.01, "")}
	for _, w := range []struct {
		why    string
		change func(*Bare)
	}{
		{"dead band", func(b *Bare) { b.Joint.Servo.DeadbandUS = 9 }},
		{"serial S-08, here", func(b *Bare) { b.Joint.Servo.Serial = "S-08" }},
		{"belt on", func(b *Bare) { b.Joint.Belt = &rig.Belt{Teeth: 20} }},
		{"its routine is quick", func(b *Bare) { b.Routine = "quick" }},
		{"hang about the same torque", func(b *Bare) { b.PeakNm = 0.2 }},
		{"unknown torque", func(b *Bare) { b.PeakNm = math.NaN() }},
		{"the supply gave 5.00 V there and 6.00 V here", func(b *Bare) { b.RestV = 5 }},
		{"", func(b *Bare) {
			b.PeakNm, b.RestV, b.Joint.Servo.BareRun, b.Joint.Servo.CurrentLaw = 0.45, 6.2, "x", rig.CurrentDuty
		}},
		{"", func(b *Bare) { b.RestV = math.NaN() }}, // no voltage is logged there: nothing speaks against it
	} {
		b := &Bare{Run: "0031", Routine: "assembly", Joint: j.BareServo(), PeakNm: 0.4, RestV: 6,
			Measures: []health.Measure{health.Of("play", health.Total, 0.2, 0.05, ""), health.Of("compliance", health.Total, 1, 0.1, "")}}
		w.change(b)
		got, apart, note := c.withoutServo(ms, Past{Routine: "assembly", Bare: b})
		trans, ok := health.Joint{Measures: got}.Find("play", health.Transmission)
		if w.why == "" {
			if !apart || trans.Status != health.Measured {
				t.Errorf("%+v, %s", trans, note)
			}
			continue
		}
		_, servo := health.Joint{Measures: got}.Find("play", health.Servo)
		if apart || servo || !ok || trans.Status != health.NotObservable || !strings.Contains(trans.Reason, w.why) || !strings.Contains(note, w.why) {
			t.Errorf("%s: %+v, note %q", w.why, trans, note)
		}
	}
	// With a motor-side angle it is not needed.
	c.s = &rig.Series{Motor: []float64{1, 2, 3}}
	if got, apart, note := c.withoutServo(ms, Past{Bare: &Bare{Run: "0031"}}); apart || len(got) != len(ms) || !strings.Contains(note, "not needed") {
		t.Errorf("%v %q", got, note)
	}
}
