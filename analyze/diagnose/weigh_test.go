package diagnose

import (
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"limbgauge/analyze/health"
)

func causesOf(fs []health.Finding) (out []health.Cause) {
	for _, f := range fs {
		out = append(out, f.Cause)
	}
	return out
}

// One fault shows in several measures; its cause is named once and first.
func TestOneFaultManyMeasures(t *testing.T) {
	slack := []health.Measure{fig("play", trans, 0.8, 0.05, 0.5), fig("compliance", trans, 7, 0.3, 4.5), fig("belt_tension", trans, 0.1, 0.1, 25)}
	weak := []health.Measure{atLeast("supply_sag", health.NoPath, 2.2, 0.6), fig("torque_use", health.NoPath, 0.9, 0.05, 0.5)}
	jammed := []health.Measure{fig("stall_time", health.NoPath, 8, 0.1, none), fig("torque_use", health.NoPath, 1.1, 0.05, 0.5), fig("compliance", trans, 30, 1, 4.5), fig("friction", trans, 0.4, 0.1, 0.06)}
	everything := slices.Concat(slack, weak, jammed)
	for _, c := range []struct {
		title string
		e     *Evidence
		want  []health.Cause
	}{
		{"slack belt", joint(slack...), []health.Cause{health.BeltSlack}},
		{"slack belt and servo play, told apart", joint(append(slices.Clone(slack), fig("play", servo, 1, 0.1, 0.5))...), []health.Cause{health.BeltSlack, health.ServoPlay}},
		{"low tension and the slope it makes", joint(fig("belt_tension", trans, 8, 0.5, 25), fig("compliance", trans, 7, 0.3, 4.5)), []health.Cause{health.BeltTensionLow}},
		{"play that one sensor sees and that is not proven, beside a tight spot that is", blind(joint(fig("play", total, 0.6, 0.15, 0.5), fig("tight_spot", total, 0.2, 0.03, none))), []health.Cause{health.TightSpot}},
		{"play that one sensor sees and that is not proven, beside friction that is", blind(joint(fig("play", total, 0.6, 0.15, 0.5), fig("friction", trans, 0.2, 0.03, 0.06))), []health.Cause{health.HighFriction}},
		{"play that is likely too great where no tension is left", joint(fig("play", trans, 0.55, 0.1, 0.5), fig("belt_tension", trans, 0.1, 0.1, 25)), []health.Cause{health.BeltSlack}},
		{"weak supply", joint(weak...), []health.Cause{health.SupplySag}},
		{"jammed", joint(jammed...), []health.Cause{health.Stall}},
		{"tight spot and the friction it makes", joint(fig("tight_spot", total, 0.2, 0.03, none), fig("friction", trans, 0.2, 0.03, 0.06)), []health.Cause{health.TightSpot}},
		{"slack belt that jumps forth and back", stepped(joint(slack...), Step{trans, -9, 0.2, 40, 0, -0.5, ""}), []health.Cause{health.BeltSlack}},
		{"slack belt that skipped a tooth", stepped(joint(slack...), Step{trans, 18, 0.2, 40, 1, 1, ""}), []health.Cause{health.BeltSlack, health.ToothSkip}},
		{"two faults of their own", joint(fig("play", trans, 0.8, 0.05, 0.5), fig("friction", trans, 0.2, 0.03, 0.06)), []health.Cause{health.HighFriction, health.BeltSlack}},
		{"a fault before a warning", joint(fig("torque_use", health.NoPath, 0.8, 0.05, 0.5), fig("friction", trans, 0.2, 0.03, 0.06)), []health.Cause{health.HighFriction, health.NearStall}},
		{"skip and the creep it looks like", stepped(joint(fig("creep", trans, 0.7, 0.1, 0.5)), Step{trans, 18, 0.2, 40, 1, 1, ""}), []health.Cause{health.ToothSkip}},
		{"creep that is likely, in a run with losses", joint(fig("creep", trans, -0.55, 0.1, 0.5), fig("lost_samples", health.NoPath, 0.05, 0, none)), []health.Cause{health.Creep, health.LostSamples}},
		{"spikes that were taken out beside low tension", func() *Evidence {
			e := joint(fig("belt_tension", trans, 8, 0.5, 25))
			e.Sensors = []SensorFault{{Sensor: "motor angle", Text: "jumps", Repaired: true}}
			return e
		}(), []health.Cause{health.BeltTensionLow, health.SensorFault}},
		{"a broken sensor beside everything", func() *Evidence {
			e := stepped(joint(everything...), Step{trans, 18, 0.2, 40, 1, 1, ""})
			e.Sensors = []SensorFault{{Sensor: "motor angle", Text: "jumps"}}
			return e
		}(), []health.Cause{health.SensorFault, health.SupplySag}},
	} {
		got := causesOf(Diagnose(c.e))
		if len(got) != len(c.want) || got[0] != c.want[0] || !sameSet(got, c.want) {
			t.Errorf("%s: %v, want %v", c.title, got, c.want)
		}
	}
}

func sameSet(a, b []health.Cause) bool {
	a, b = slices.Clone(a), slices.Clone(b)
	slices.Sort(a)
	slices.Sort(b)
	return slices.Equal(a, b)
}

// A supply that sags because the servo is asked for more than it has does not hide the overload.
func TestOverloadIsNotTheSupplys(t *testing.T) {
	e := joint(atLeast("supply_sag", health.NoPath, 2.2, 0.6), fig("torque_use", health.NoPath, 1.2, 0.05, 0.5))
	sure := Diagnose(e)[0]
	e.NominalUse = 1.1
	got := Diagnose(e)
	if !sameSet(causesOf(got), []health.Cause{health.SupplySag, health.NearStall}) {
		t.Fatalf("%v, want sag and near stall", causesOf(got))
	}
	for _, f := range got {
		if f.Cause == health.SupplySag && (f.Confidence >= sure.Confidence || !strings.Contains(strings.Join(f.Evidence, "\n"), "against it:")) {
			t.Errorf("what speaks against it is lost: %+v, was %+v", f, sure)
		}
	}
}

// Nothing is named for what passes, is unproven, has no limit or could not be seen.
func TestWhatNamesNothing(t *testing.T) {
	all := []struct {
		name  string
		path  health.Path
		value float64
		limit float64
	}{
		{"play", trans, 0.5, 0.5}, {"play", servo, 0.5, 0.5}, {"compliance", trans, 4.5, 4.5}, {"friction", trans, 0.06, 0.06},
		{"torque_use", health.NoPath, 0.5, 0.5}, {"belt_tension", trans, 25, 25}, {"creep", trans, 0.5, 0.5}, {"lost_samples", health.NoPath, 0.01, 0.01},
	}
	for _, m := range all {
		d, _ := health.DefinitionOf(m.name)
		good := m.value / 2
		if d.More {
			good = m.value * 2
		}
		for what, e := range map[string]*Evidence{
			"passes":   joint(fig(m.name, m.path, good, 0.01*m.value, m.limit)),
			"unproven": joint(fig(m.name, m.path, m.value, 0.1*m.value, m.limit)),
			"no limit": joint(fig(m.name, m.path, m.value, 0.01*m.value, none)),
			"unseen":   joint(hidden(m.name, m.path, m.limit)),
		} {
			if got := causesOf(Diagnose(e)); !slices.Equal(got, []health.Cause{health.None}) {
				t.Errorf("%s (%s) %s: %v, want none", m.name, m.path, what, got)
			}
		}
	}
	for what, e := range map[string]*Evidence{
		"a short stall":                   joint(fig("stall_time", health.NoPath, 0.1, 0.1, none)),
		"a tight spot not proven":         joint(fig("tight_spot", total, 0.02, 0.03, none)),
		"an accepted tight spot":          joint(fig("tight_spot", total, 0.1, 0.01, 0.2)),
		"no tight spot above a bound":     joint(health.Bound("tight_spot", total, health.BoundHigh, 0.02, none, "", "")),
		"a small sag without a limit":     joint(atLeast("supply_sag", health.NoPath, 0.5, none)),
		"a shift that may be the servo's": stepped(blind(joint()), Step{Path: total, Size: -0.42, SizeU: 0.06, TimeS: 85, ToothRatio: none}),
		"few losses":                      joint(fig("lost_samples", health.NoPath, 0.005, 0, none)),
		"play of the sum, told apart":     joint(fig("play", total, 0.9, 0.1, none)),
		"a sag that is at least little":   joint(atLeast("supply_sag", health.NoPath, 0.4, 0.6)),
	} {
		if got := causesOf(Diagnose(e)); !slices.Equal(got, []health.Cause{health.None}) {
			t.Errorf("%s: %v, want none", what, got)
		}
	}
}

// None says what it rests on, and is less sure where something could not be seen.
func TestNone(t *testing.T) {
	one := func(e *Evidence) health.Finding {
		t.Helper()
		got := Diagnose(e)
		if len(got) != 1 || got[0].Cause != health.None || got[0].Severity != health.SeverityOK {
			t.Fatalf("%+v", got)
		}
		if got[0].Evidence == nil || got[0].CouldAlsoBe == nil {
			t.Error("null instead of an empty list")
		}
		return got[0]
	}
	sure := one(joint(fig("play", trans, 0.1, 0.05, 0.5), fig("play", servo, 0.1, 0.05, 0.5)))
	if !strings.Contains(sure.Evidence[0], "2 measures pass") {
		t.Errorf("evidence %q", sure.Evidence)
	}
	blank := one(joint(fig("play", trans, 0.1, 0.05, none)))
	hid := one(joint(fig("compliance", trans, 2, 0.1, 4.5), hidden("play", trans, 0.5)))
	if !(sure.Confidence > blank.Confidence && sure.Confidence > hid.Confidence) {
		t.Errorf("confidence %g, without limits %g, with play hidden %g", sure.Confidence, blank.Confidence, hid.Confidence)
	}
	text := strings.Join(hid.Evidence, "\n")
	if !strings.Contains(text, "play (transmission) could not be seen: the load pulls one way") || hid.Next == sure.Next {
		t.Errorf("evidence %q, next %q", hid.Evidence, hid.Next)
	}
	one(&Evidence{NominalUse: none})
	one(&Evidence{})
}

// Signs that speak for one cause add up.
func TestSignsAddUp(t *testing.T) {
	e := joint(fig("creep", trans, -0.7, 0.1, 0.5))
	bare := Diagnose(e)[0]
	e.Creep = &Creep{LogShare: 0.95, CurrentChange: 0.01}
	full := Diagnose(e)[0]
	if full.Confidence <= bare.Confidence || len(full.Evidence) != 3 {
		t.Errorf("with log time and steady current %+v, without %+v", full, bare)
	}
	// 1/(1 + e^-x): prior -3 and a sign of 5.
	if want := math.Round(100/(1+math.Exp(-2))) / 100; bare.Confidence != want {
		t.Errorf("confidence %g, want %g", bare.Confidence, want)
	}
}

// Whatever the evidence: at least one finding, none only alone, no cause twice, the same answer again.
func TestAnyEvidence(t *testing.T) {
	paths := []health.Path{health.NoPath, servo, trans, total}
	rapid.Check(t, func(t *rapid.T) {
		e := &Evidence{Belt: rapid.Bool().Draw(t, "belt"), MotorAngle: rapid.Bool().Draw(t, "motor"), Current: rapid.Bool().Draw(t, "current"),
			NominalUse: rapid.SampledFrom([]float64{none, 0.2, 0.95, 2}).Draw(t, "use"), RestVolts: rapid.SampledFrom([]float64{0, none, 6}).Draw(t, "volts")}
		for range rapid.IntRange(0, 20).Draw(t, "n") {
			d := rapid.SampledFrom(health.Definitions()).Draw(t, "measure")
			m := fig(d.Name, rapid.SampledFrom(paths).Draw(t, "path"), rapid.Float64Range(-3, 30).Draw(t, "value"),
				rapid.SampledFrom([]float64{none, 0, 0.1, 5}).Draw(t, "u"), rapid.SampledFrom([]float64{none, 0.1, 10}).Draw(t, "limit"))
			e.Measures = append(e.Measures, m)
		}
		if rapid.Bool().Draw(t, "step") {
			e.Steps = []Step{{Path: rapid.SampledFrom(paths[1:]).Draw(t, "path"), Size: 5, Teeth: rapid.IntRange(0, 2).Draw(t, "teeth"), ToothRatio: none}}
		}
		if rapid.Bool().Draw(t, "creep") {
			e.Creep = &Creep{LogShare: rapid.Float64Range(0, 1).Draw(t, "log")}
		}
		if rapid.Bool().Draw(t, "hunting") {
			e.Hunting = &Hunting{AmplitudeDeg: 1, Hz: 5}
		}
		got := Diagnose(e)
		seen := map[health.Cause]bool{}
		for _, f := range got {
			if seen[f.Cause] || f.Cause == health.None && len(got) > 1 {
				t.Fatalf("%v", causesOf(got))
			}
			seen[f.Cause] = true
			if !(f.Confidence >= 0.5 && f.Confidence <= 1) || len(f.Evidence) == 0 || f.Next == "" {
				t.Fatalf("%+v", f)
			}
			for _, c := range f.CouldAlsoBe {
				if !slices.Contains(health.Causes(), health.Cause(c)) || c == string(f.Cause) {
					t.Fatalf("%s could also be %q", f.Cause, c)
				}
			}
		}
		if len(got) == 0 || !reflect.DeepEqual(got, Diagnose(e)) {
			t.Fatalf("%v, then %v", got, Diagnose(e))
		}
	})
}

// Creep that neither passes nor fails its limit is left open, with the longer hold that would tell:
// at 0.48 ± 0.10 deg a limit of 0.5 deg is passed with a chance of Φ(0.4) = 0.66.
func TestCreepNearItsLimitStaysOpen(t *testing.T) {
	got := Diagnose(joint(fig("creep", trans, 0.48, 0.10, 0.5)))
	if len(got) != 1 || got[0].Cause != health.None || !slices.Contains(got[0].CouldAlsoBe, string(health.Creep)) || !strings.Contains(got[0].Next, "minutes") {
		t.Errorf("%+v, want none that creep could be, and a longer hold next", got)
	}
	if got := Diagnose(joint(fig("creep", trans, 0.2, 0.10, 0.5))); slices.Contains(got[0].CouldAlsoBe, string(health.Creep)) {
		t.Errorf("%+v, but the creep passes", got)
	}
}

// What the routine never asked for is shown by another routine, not by more load; what it asked for and did
// not show is shown as before.
func TestWhatTheRoutineLacks(t *testing.T) {
	play := fig("play", trans, 0.04, 0.02, 0.5)
	lacks := health.Judge(health.Unseen("creep", trans, "", "the run has no hold of 4 s or more"), 0.5)
	blind := health.Judge(health.Unseen("friction", trans, "", "the load takes too few levels"), 0.06)
	for _, c := range []struct {
		title string
		ms    []health.Measure
		next  string
	}{
		{"a routine without a hold", []health.Measure{play, lacks}, "run a routine that has what this run lacks"},
		{"and friction hidden as well", []health.Measure{play, blind, lacks}, "run a routine that has what this run lacks"},
		{"friction hidden alone", []health.Measure{play, blind}, "sweep under more load"},
		{"all seen", []health.Measure{play}, "nothing to do"},
	} {
		e := joint(c.ms...)
		e.Current = true
		if f := Diagnose(e)[0]; f.Cause != health.None || !strings.HasPrefix(f.Next, c.next) {
			t.Errorf("%s: %s, next: %s", c.title, f.Cause, f.Next)
		}
	}
}
