package alike

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"limbgauge/analyze/drive"
	"limbgauge/analyze/health"
	"limbgauge/analyze/internal/ref"
	"limbgauge/rig"
)

var nan = math.NaN()

// knee is a joint on a usual stand at 5 V.
func knee() Conditions {
	return Conditions{Leg: "fore-left", Routine: "assembly", SampleHz: 250, SupplyV: 5, AmbientC: 20,
		Setup: rig.Joint{Name: "knee", RangeDeg: [2]float64{-75, 75},
			Load: &rig.Load{MassKg: 0.25, LeverM: 0.11, InertiaKgM2: 0.0036},
			Servo: rig.Servo{Rated: []rig.Rating{{Volts: 5, StallNm: 1.2, NoLoadDegPerS: 350, StallA: 2},
				{Volts: 6, StallNm: 1.4, NoLoadDegPerS: 420, StallA: 2.4}}},
			Belt: &rig.Belt{Teeth: 20, PitchMM: 2, Ratio: 1}, Sensors: rig.Sensors{JointCounts: 4096}}}
}

// with returns the knee changed; the load is the copy's own.
func with(change func(c *Conditions)) Conditions {
	c := knee()
	change(&c)
	return c
}

func volt(v float64) Conditions { return with(func(c *Conditions) { c.SupplyV = v }) }

func figure(name string, v, u float64) health.Measure {
	return health.Of(name, health.Total, v, u, "m")
}

// The torque at a load is a share of the stall torque at the voltage: 0.5 of 1.2 N·m at 5 V is 0.6 N·m,
// which is 0.6/1.4 at 6 V and, the ratings being drawn straight between, 0.6/1.3 at 5.5 V.
func TestTorqueUseByVoltage(t *testing.T) {
	for _, c := range []struct{ to, want float64 }{{6, 0.6 / 1.4}, {5.5, 0.6 / 1.3}} {
		got, a := Figures(figure("torque_use", 0.5, 0.02), volt(5), volt(c.to))
		ref.Near(t, "use", got.Value, c.want, 1e-12, "closed form")
		k := c.want / 0.5
		ref.Near(t, "U", got.Uncertainty, math.Hypot(k*0.02, lawDoubt*(1-k)*0.5), 1e-12, "closed form, JCGM 100:2008, 5.1.2")
		if a.Kind != Corrected || !strings.Contains(a.Why, "the supply is 5.00, not ") || !strings.Contains(got.Method, a.Why) {
			t.Errorf("%+v, method %q", a, got.Method)
		}
	}
	// 0.55 fails at 5 V against at most 0.5, and 0.55·1.2/1.4 = 0.471 passes at 6 V.
	m := health.Judge(figure("torque_use", 0.55, 0.01), 0.5)
	m.LimitFrom = health.FromBench
	if got, _ := Figures(m, volt(5), volt(6)); m.Verdict != health.Fail || got.Verdict != health.Pass || got.LimitFrom != health.FromBench {
		t.Errorf("at 5 V %s, at 6 V %+v", m.Verdict, got)
	}
}

// The truth is computed from the motor's lines at both conditions; the corrected figure must hold it.
func TestLawsHoldTheTruth(t *testing.T) {
	heavy := with(func(c *Conditions) { c.Setup.Load = &rig.Load{MassKg: 0.4, LeverM: 0.11, InertiaKgM2: 0.0055} })
	const nm = 0.25 * rig.Gravity * 0.11
	motor := func(v float64) drive.Motor {
		m, err := drive.At([]drive.Rating{{Volts: 5, StallNm: 1.2, NoLoadDegPerS: 350, StallA: 2}, {Volts: 6, StallNm: 1.4, NoLoadDegPerS: 420, StallA: 2.4}}, 0, v)
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
	swing := func(j float64) float64 { return math.Sqrt(20/j) / 2 / math.Pi }
	for _, c := range []struct {
		name   string
		at, to Conditions
		v, u   float64
		want   float64
		tol    float64 // of the value; 0 where only the interval must hold the truth
	}{
		{"torque_use", knee(), heavy, motor(5).Use(nm), 0, motor(5).Use(1.6 * nm), 1e-12},
		{"peak_speed", volt(5), volt(6), motor(5).Speed(nm), 0, motor(6).Speed(nm), 0},
		{"peak_speed", volt(5), volt(6), motor(5).Speed(-nm), 0, motor(6).Speed(-nm), 0},
		{"peak_speed", volt(6), volt(5), motor(6).Speed(0), 0, motor(5).Speed(0), 1e-9},
		{"rise_time", volt(5), volt(6), 20 / motor(5).Speed(0), 0, 20 / motor(6).Speed(0), 0},
		{"rise_time", volt(5), volt(6), 0.05, 0, 0.05, 0}, // never at full voltage
		{"creep", knee(), heavy, 0.2, 0, 0.32, 1e-12},
		{"natural_frequency", knee(), heavy, swing(0.0036), 0, swing(0.0055), 1e-9},
		{"heat_share", knee(), heavy, 0.2, 0, 0.2 * 1.6 * 1.6, 1e-12},
		{"supply_sag", knee(), heavy, 0.3, 0, 0.3 * 1.6, 0},       // motor law
		{"supply_sag", knee(), heavy, 0.3, 0, 0.3 * 1.6 * 1.6, 0}, // duty law
	} {
		got, a := Figures(figure(c.name, c.v, c.u), c.at, c.to)
		if a.Kind != Corrected {
			t.Errorf("%s: %+v", c.name, a)
			continue
		}
		if c.tol > 0 {
			ref.Near(t, c.name, got.Value, c.want, c.tol, "closed form")
		}
		if !(math.Abs(got.Value-c.want) <= got.Uncertainty+1e-12) || !(got.Uncertainty > 0) || got.Uncertainty > 0.6*c.want {
			t.Errorf("%s: %g ± %g, truth %g", c.name, got.Value, got.Uncertainty, c.want)
		}
	}
}

func TestNotComparableBecause(t *testing.T) {
	warm := with(func(c *Conditions) { c.AmbientC = 29 })
	for _, c := range []struct {
		measure string
		path    health.Path
		at, to  Conditions
		want    string // of the reason; "" where the figures compare
	}{
		{"friction", health.Total, warm, knee(), "not comparable because it was 9 K warmer"},
		{"friction", health.Total, knee(), warm, "it was 9 K colder"},
		{"creep", health.Total, warm, knee(), "9 K warmer"},
		{"play", health.Total, warm, knee(), ""},
		{"friction", health.Total, with(func(c *Conditions) { c.AmbientC = 24 }), knee(), ""},
		{"friction", health.Total, with(func(c *Conditions) { c.AmbientC = nan }), knee(), ""},
		{"play", health.Total, with(func(c *Conditions) { c.Routine = "step" }), knee(), `the routine is "step", not "assembly"`},
		{"play", health.Total, with(func(c *Conditions) { c.Bare = true }), knee(), "it speaks of the servo alone"},
		{"play", health.Total, with(func(c *Conditions) { c.Leg = "hind-left" }), knee(), `it is of leg "hind-left"`},
		{"settle_time", health.Total, with(func(c *Conditions) { c.SampleHz = 100 }), knee(), "it was sampled at 100, not 250 Hz"},
		{"settle_time", health.Total, with(func(c *Conditions) { c.SampleHz = 200 }), knee(), ""},
		{"dead_time", health.Total, with(func(c *Conditions) { c.SampleHz = 0 }), knee(), ""},
		{"accuracy", health.Total, with(func(c *Conditions) { c.Calibration = "k2" }), knee(), "the calibration is k2, not none"},
		{"friction", health.Total, with(func(c *Conditions) { c.Calibration = "k2" }), knee(), "the calibration is k2"},
		{"reversal_error", health.Total, with(func(c *Conditions) { c.Calibration = "k2" }), knee(), ""},
		{"play", health.Total, with(func(c *Conditions) { c.Calibration = "k2" }), with(func(c *Conditions) { c.Calibration = "none" }), ""},
		{"reversal_error", health.Servo, volt(6), knee(), "the supply is 6.00, not 5.00 V"},
		{"reversal_error", health.Transmission, volt(6), knee(), ""},
		{"reversal_error", health.Servo, volt(5.2), knee(), ""},
		{"compliance", health.Total, volt(6), knee(), "the supply is 6.00"},
		{"compliance", health.Transmission, volt(6), knee(), ""},
		{"accuracy", health.Total, with(func(c *Conditions) { c.Setup.RangeDeg[1] = 60 }), knee(), "range_deg differs"},
		{"torque_use", health.NoPath, with(func(c *Conditions) { c.Setup.Load = &rig.Load{MassKg: 0.25, LeverM: 0.11, DownDeg: 90} }), knee(), "load.down_deg differs"},
		{"accuracy", health.Total, with(func(c *Conditions) { c.Setup.Load = &rig.Load{MassKg: 0.5, LeverM: 0.11, InertiaKgM2: 0.0072} }), knee(), "the load torque is 0.539, not 0.270 N·m"},
		{"overshoot", health.Total, with(func(c *Conditions) { c.Setup.Load = &rig.Load{MassKg: 0.25, LeverM: 0.11, InertiaKgM2: 0.0072} }), knee(), "load.inertia_kg_m2 is 0.0072, not 0.0036"},
		{"torque_use", health.NoPath, with(func(c *Conditions) { c.SupplyV, c.Setup.Servo.Rated = 6, nil }), knee(), "servo.rated does not say"},
	} {
		m := health.Of(c.measure, c.path, 0.4, 0.02, "m")
		got, a := Figures(m, c.at, c.to)
		if c.want == "" {
			if a.Kind != Alike || got != m && !(got.Value == m.Value && got.Uncertainty == m.Uncertainty && got.Status == m.Status) {
				t.Errorf("%s: %+v %+v, want it alike", c.measure, a, got)
			}
			continue
		}
		if a.Kind != NotComparable || !strings.Contains(a.Why, c.want) || got.Status != health.NotObservable || !math.IsNaN(got.Value) || got.Reason != a.Why {
			t.Errorf("%s: %+v, measure %+v, want %q", c.measure, a, got, c.want)
		}
	}
}

// What differs and does not stand in the way is said.
func TestSaidBesideTheFigures(t *testing.T) {
	for _, c := range []struct {
		measure string
		path    health.Path
		change  func(c *Conditions)
		want    string
	}{
		{"play", health.Transmission, func(c *Conditions) { c.Setup.Belt = &rig.Belt{Teeth: 24, PitchMM: 2, Ratio: 1} }, "belt.teeth differs"},
		{"play", health.Servo, func(c *Conditions) { c.Setup.Belt = nil }, ""},
		{"play", health.Total, func(c *Conditions) { c.Setup.Belt = nil }, "belt differs"},
		{"play", health.Total, func(c *Conditions) { c.Setup.Servo.Serial = "2"; c.Setup.Sensors.JointCounts = 16384 }, "servo.serial, sensors.joint_counts differ"},
		{"play", health.Transmission, func(c *Conditions) { c.Setup.Servo.Serial = "2" }, ""},
		{"friction", health.Total, func(c *Conditions) { c.Setup.Load = &rig.Load{MassKg: 0.5, LeverM: 0.11} }, "the load torque is 0.539, not 0.270 N·m, which may show in it a little"},
		{"friction", health.Total, func(c *Conditions) { c.Setup.Load = nil }, "the load is known of one only"},
		{"play", health.Total, func(c *Conditions) { c.Setup = rig.Joint{Load: c.Setup.Load} }, ""}, // a set-up that is not known
		{"lost_samples", health.NoPath, func(c *Conditions) { c.SampleHz = 1000 }, "1000, not 250 Hz"},
	} {
		_, a := Figures(health.Of(c.measure, c.path, 0.1, 0.01, ""), with(c.change), knee())
		if a.Kind != Alike || a.Why != c.want && (c.want == "" || !strings.Contains(a.Why, c.want)) {
			t.Errorf("%s %s: %+v, want %q", c.measure, c.path, a, c.want)
		}
	}
}

// Without a load in the set-up, what the runs saw of it counts, if both did.
func TestLoadSeenByTheRun(t *testing.T) {
	seen := func(nm float64) Conditions {
		return with(func(c *Conditions) { c.Setup.Load, c.LoadNm = nil, nm })
	}
	if _, a := Figures(figure("torque_use", 0.2, 0.01), seen(0.2), seen(0.3)); a.Kind != Corrected {
		t.Errorf("%+v", a)
	}
	if _, a := Figures(figure("torque_use", 0.2, 0.01), seen(0.2), seen(nan)); a.Kind != Alike || !strings.Contains(a.Why, "one only") {
		t.Errorf("%+v", a)
	}
}

// Bounds stay bounds of their kind, what was not seen stays so with its own reason.
func TestBoundsKeepTheirKind(t *testing.T) {
	low := health.Bound("torque_use", health.NoPath, health.BoundLow, 0.7, nan, "", "in stall")
	got, a := Figures(low, volt(5), volt(6))
	ref.Near(t, "bound", got.Value, 0.7*1.2/1.4, 1e-12, "closed form")
	if got.Status != health.BoundLow || a.Kind != Corrected || got.Reason != "in stall" {
		t.Errorf("%+v %+v", got, a)
	}
	none := health.Unseen("torque_use", health.NoPath, "", "no load is stated")
	if got, _ := Figures(none, volt(5), volt(6)); got.Reason != "no load is stated" || got.Status != health.NotObservable {
		t.Errorf("%+v", got)
	}
}

// Every measure has a row and every row a measure, and the same conditions change nothing.
func TestTableIsWhole(t *testing.T) {
	for _, d := range health.Definitions() {
		m := health.Of(d.Name, health.NoPath, 1, 0.1, "")
		if got, a := Figures(m, knee(), knee()); a != (Answer{Kind: Alike}) || got.Value != 1 || got.Uncertainty != 0.1 {
			t.Errorf("%s: %+v %+v", d.Name, a, got)
		}
	}
	if len(table) != len(health.Definitions()) {
		t.Errorf("%d rows for %d measures", len(table), len(health.Definitions()))
	}
	for name := range loadCost {
		if _, ok := table[name]; !ok || !LoadCost(name) {
			t.Errorf("load cost %q", name)
		}
	}
}

// There and back gives the figure again where the law is one number; comparability does not hang on
// which of the two is asked; a correction never makes a figure surer.
func TestThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func(of string) Conditions {
			c := knee()
			c.SupplyV = rapid.Float64Range(4, 8).Draw(t, of+" volts")
			c.AmbientC = rapid.SampledFrom([]float64{nan, 10, 18, 20, 30}).Draw(t, of+" ambient")
			c.SampleHz = rapid.SampledFrom([]float64{0, 100, 250, 1000}).Draw(t, of+" rate")
			c.Calibration = rapid.SampledFrom([]string{"", "none", "c"}).Draw(t, of+" calibration")
			m := rapid.Float64Range(0.1, 0.5).Draw(t, of+" mass")
			c.Setup.Load = &rig.Load{MassKg: m, LeverM: 0.1, InertiaKgM2: m * 0.0144}
			return c
		}
		at, to := draw("at"), draw("to")
		d := rapid.SampledFrom(health.Definitions()).Draw(t, "measure")
		m := health.Of(d.Name, health.Total, 0.5, 0.01, "")
		there, a := Figures(m, at, to)
		back, b := Figures(there, to, at)
		if a.Kind != b.Kind {
			t.Fatalf("there %+v, back %+v", a, b)
		}
		if a.Kind != Corrected {
			return
		}
		if back.Uncertainty < m.Uncertainty {
			t.Fatalf("%g ± %g came back as %g ± %g", m.Value, m.Uncertainty, back.Value, back.Uncertainty)
		}
		if exact := d.Name != "rise_time" && d.Name != "supply_sag"; exact && math.Abs(back.Value-m.Value) > 1e-9 {
			t.Fatalf("%s came back as %g", d.Name, back.Value)
		}
	})
}
