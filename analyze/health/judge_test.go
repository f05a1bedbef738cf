package health

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"limbgauge/rig"
)

// Check 8h: limit 0.5, U 0.06: 0.40 passes, 0.46 is unproven, 0.57 fails; with g = 1.645·u, u 0.03,
// values up to 0.45065 pass. Source: ISO 14253-1:2017, decision rules with a guard band.
func TestDecisionRules(t *testing.T) {
	for _, c := range []struct {
		value, u float64
		want     Verdict
	}{
		{0.40, 0.06, Pass}, {0.46, 0.06, Unproven}, {0.57, 0.06, Fail},
		{0.5, 0.06, Unproven}, {0.55, 0.06, Unproven},
		{0.45064, 1.645 * 0.03, Pass}, {0.45066, 1.645 * 0.03, Unproven},
		{0.5, 0, Pass}, {0.500001, 0, Fail}, // a figure without doubt decides at the limit
		{0.4375, 0.0625, Pass}, {0.5625, 0.0625, Unproven}, // the interval just reaches the limit (exact in binary)
	} {
		if got := Judge(Of("play", Total, c.value, c.u, ""), 0.5).Verdict; got != c.want {
			t.Errorf("%g ± %g against at most 0.5: %s, want %s", c.value, c.u, got, c.want)
		}
	}
	for _, c := range []struct {
		value, u float64
		want     Verdict
	}{{30, 2, Pass}, {26, 2, Unproven}, {24, 2, Unproven}, {20, 2, Fail}, {27, 2, Pass}, {23, 2, Unproven}} {
		if got := Judge(Of("belt_tension", Transmission, c.value, c.u, ""), 25).Verdict; got != c.want {
			t.Errorf("%g ± %g N against at least 25: %s, want %s", c.value, c.u, got, c.want)
		}
	}
}

// A bound decides on the side it bounds; what was not seen never passes, nor does what has no doubt.
func TestBoundsDecideOneSide(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name  string
		m     Measure
		limit float64
		want  Verdict
	}{
		{"at least, above", Bound("supply_sag", NoPath, BoundLow, 2, nan, "", ""), 0.6, Fail},
		{"at least, below", Bound("supply_sag", NoPath, BoundLow, 0.2, nan, "", ""), 0.6, Unproven},
		{"at least, above within its doubt", Bound("supply_sag", NoPath, BoundLow, 0.65, 0.1, "", ""), 0.6, Unproven},
		{"at most, below", Bound("friction", Transmission, BoundHigh, 0.02, nan, "", ""), 0.06, Pass},
		{"at most, above", Bound("friction", Transmission, BoundHigh, 0.2, nan, "", ""), 0.06, Unproven},
		{"at most, below within its doubt", Bound("friction", Transmission, BoundHigh, 0.05, 0.02, "", ""), 0.06, Unproven},
		{"tension at least, above", Bound("belt_tension", Total, BoundLow, 30, nan, "", ""), 25, Pass},
		{"tension at least, below", Bound("belt_tension", Total, BoundLow, 20, nan, "", ""), 25, Unproven},
		{"tension at most, below", Bound("belt_tension", Total, BoundHigh, 3, nan, "", ""), 25, Fail},
		{"tension at most, above", Bound("belt_tension", Total, BoundHigh, 40, nan, "", ""), 25, Unproven},
		{"not seen", Unseen("play", Total, "", "so"), 0.5, Unproven},
		{"no doubt known", Of("play", Total, 0.1, nan, ""), 0.5, Unproven},
		{"no doubt known, far off", Of("play", Total, 9, nan, ""), 0.5, Unproven},
		{"no limit", Of("play", Total, 9, 0.1, ""), nan, NoVerdict},
		{"no limit, not seen", Unseen("play", Total, "", "so"), nan, NoVerdict},
		{"negative deviation, small", Of("creep", Transmission, -0.2, 0.1, ""), 0.5, Pass},
		{"negative deviation, great", Of("creep", Transmission, -0.7, 0.1, ""), 0.5, Fail},
		{"negative deviation, near", Of("creep", Transmission, -0.45, 0.1, ""), 0.5, Unproven},
		{"play about nothing", Of("play", Transmission, -0.02, 0.05, ""), 0.5, Pass},
		{"doubt greater than the limit", Of("creep", Transmission, -0.02, 0.6, ""), 0.5, Unproven},
	} {
		got := Judge(c.m, c.limit)
		if got.Verdict != c.want {
			t.Errorf("%s: %s, want %s", c.name, got.Verdict, c.want)
		}
		if !(got.Limit == c.limit || math.IsNaN(got.Limit) && math.IsNaN(c.limit)) || got.Status != c.m.Status {
			t.Errorf("%s: judging changed the measure to %+v", c.name, got)
		}
	}
}

// More doubt never turns unproven into proven, nor one verdict into the other; a signed deviation is
// judged by its size.
func TestJudgeProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := rapid.SampledFrom(Definitions()).Draw(t, "measure")
		v := rapid.Float64Range(-10, 10).Draw(t, "value")
		u := rapid.Float64Range(0, 5).Draw(t, "u")
		limit := rapid.Float64Range(0.001, 10).Draw(t, "limit")
		m := Judge(Of(d.Name, Total, v, u, ""), limit)
		wider := Judge(Of(d.Name, Total, v, u+rapid.Float64Range(0, 5).Draw(t, "more"), ""), limit)
		if wider.Verdict != m.Verdict && wider.Verdict != Unproven {
			t.Fatalf("%g ± %g: %s, with more doubt %s", v, u, m.Verdict, wider.Verdict)
		}
		if mirrored := Judge(Of(d.Name, Total, -v, u, ""), limit); !d.More && mirrored.Verdict != m.Verdict {
			t.Fatalf("%g: %s, %g: %s", v, m.Verdict, -v, mirrored.Verdict)
		}
		unknown := Judge(Unseen(d.Name, Total, "", "so"), limit)
		if unknown.Verdict == Pass || unknown.Verdict == Fail {
			t.Fatalf("not seen, and %s", unknown.Verdict)
		}
	})
}

// Every key of [joint.limits] limits a measure that exists, in its unit; a key ends in that unit.
func TestLimitKeysNameMeasures(t *testing.T) {
	suffix := map[string]string{"deg": "_deg", "deg/N·m": "_deg_per_nm", "N·m": "_nm", "N": "_n", "V": "_v", "s": "_s", "1": ""}
	for _, k := range rig.LimitKeys() {
		d, ok := DefinitionOf(k.Measure)
		if !ok {
			t.Errorf("limit %q is of no measure %q", k.Key, k.Measure)
			continue
		}
		if d.Unit != k.Unit {
			t.Errorf("limit %q is in %s, measure %q in %s", k.Key, k.Unit, k.Measure, d.Unit)
		}
		if want, ok := suffix[k.Unit]; !ok || k.Key != k.Measure+want {
			t.Errorf("limit %q of measure %q in %s", k.Key, k.Measure, k.Unit)
		}
	}
}

// The names of measures and causes are those of the design, all of them in its order; what was added
// to them stands here.
func TestNamesOfTheDesign(t *testing.T) {
	measures := []string{"reversal_error", "mean_reversal", "repeatability", "systematic_deviation", "accuracy",
		"pose_repeatability", "play", "compliance", "span_slack_torque", "belt_tension", "friction",
		"viscous_friction", "tight_spot", "tight_spot_angle", "load_torque_peak", "torque_use", "stall_time",
		"supply_sag", "offset_step", "offset_step_time", "creep", "rise_time", "overshoot", "settle_time",
		"natural_frequency", "damping_ratio", "peak_speed", "dead_time", "lost_samples"}
	added := []string{"permanent_set", "bandwidth", "resonance", "friction_asymmetry", "tight_spot_width",
		"load_torque_amplitude", "heat_share", "temp_rise"}
	var got []string
	for _, d := range Definitions() {
		if !slices.Contains(added, d.Name) {
			got = append(got, d.Name)
		}
		if d.Unit == "" || d.Title == "" || d.Source == "" || d.Decimals < 0 {
			t.Errorf("%+v", d)
		}
	}
	same(t, "measures", got, measures)
	causes := []string{"none", "belt_tension_low", "belt_slack", "servo_play", "excess_compliance", "creep", "horn_slip",
		"tooth_skip", "tight_spot", "high_friction", "near_stall", "stall", "supply_sag", "hunting", "sensor_fault", "lost_samples"}
	got = nil
	for _, c := range Causes() {
		got = append(got, string(c))
	}
	same(t, "causes", got, causes)
}

func same(t *testing.T, what string, got, want []string) {
	t.Helper()
	if len(got) != len(want) {
		t.Errorf("%d %s, want %d", len(got), what, len(want))
	}
	for i := range min(len(got), len(want)) {
		if got[i] != want[i] {
			t.Errorf("%s: %q, want %q", what, got[i], want[i])
		}
	}
}

func TestWorstAndFind(t *testing.T) {
	pass := Judge(Of("play", Servo, 0.1, 0.01, ""), 0.5)
	fail := Judge(Of("play", Transmission, 0.9, 0.01, ""), 0.5)
	doubt := Judge(Of("compliance", Total, 4.4, 0.5, ""), 4.5)
	bare := Of("friction", Total, 0.1, 0.01, "")
	for _, c := range []struct {
		ms   []Measure
		want Verdict
	}{{nil, NoVerdict}, {[]Measure{bare}, NoVerdict}, {[]Measure{bare, pass}, Pass}, {[]Measure{pass, doubt}, Unproven}, {[]Measure{doubt, fail, pass}, Fail}} {
		if got := (Joint{Measures: c.ms}).Worst(); got != c.want {
			t.Errorf("worst of %v = %q, want %q", c.ms, got, c.want)
		}
	}
	j := Joint{Measures: []Measure{pass, fail}}
	if m, ok := j.Find("play", Transmission); !ok || m.Value != 0.9 {
		t.Errorf("found %+v, %v", m, ok)
	}
	if _, ok := j.Find("play", Total); ok {
		t.Error("found a measure of another path")
	}
}

func TestUnknownMeasureIsTheCallersMistake(t *testing.T) {
	defer func() {
		if recover() == nil {
			t.Error("no panic")
		}
	}()
	Of("wobble", Total, 1, 1, "")
}
