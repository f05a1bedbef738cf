package compare

import (
	"math"
	"strings"
	"testing"

	"limbgauge/analyze/alike"
	"limbgauge/analyze/health"
	"limbgauge/analyze/internal/ref"
	"limbgauge/rig"
)

// under puts runs under conditions.
func under(runs []Run, change func(c *alike.Conditions)) []Run {
	for i := range runs {
		c := alike.Conditions{SampleHz: 250, SupplyV: 5, AmbientC: 20, Setup: rig.Joint{Name: "knee", RangeDeg: [2]float64{-75, 75},
			Load:  &rig.Load{MassKg: 0.25, LeverM: 0.11, InertiaKgM2: 0.0036},
			Servo: rig.Servo{Rated: []rig.Rating{{Volts: 5, StallNm: 1.2, NoLoadDegPerS: 350}, {Volts: 6, StallNm: 1.4, NoLoadDegPerS: 420}}}}}
		if change != nil {
			change(&c)
		}
		runs[i].Conditions = c
	}
	return runs
}

func uses(v float64) []Run {
	return equal(4, health.Judge(health.Of("torque_use", health.NoPath, v, 0.02, ""), 0.5))
}

// The same torque is 0.5 of what the servo has at 5 V and 0.5·1.2/1.4 at 6 V: brought to one voltage the
// sides are the same, taken as they stand the second would look better by 0.07.
func TestSidesAreBroughtToOneVoltage(t *testing.T) {
	a := under(uses(0.5), nil)
	b := under(uses(0.5*1.2/1.4), func(c *alike.Conditions) { c.SupplyV = 6 })
	row := find(t, Sides(a, b, Options{}), "torque_use")
	ref.Near(t, "difference", row.Diff, 0, 1e-12, "closed form")
	if row.Verdict != Same || !strings.Contains(row.Why, "by the servo's stall torque") {
		t.Errorf("%s: %s", row.Verdict, row.Why)
	}
	for i := range b {
		b[i].Conditions.SupplyV = 5
	}
	if row := find(t, Sides(a, b, Options{Margins: map[string]float64{"torque_use": 0.01}}), "torque_use"); row.Verdict != Better {
		t.Errorf("as they stand: %s", row.Verdict)
	}
}

func TestSidesDoNotCompareBecause(t *testing.T) {
	friction := func() []Run {
		return equal(3, health.Judge(of("friction", 0.03, 0.001), 0.06), play(0.3, 0.01))
	}
	a, b := under(friction(), nil), under(friction(), func(c *alike.Conditions) { c.AmbientC = 29 })
	res := Sides(a, b, Options{})
	row, free := find(t, res, "friction"), find(t, res, "play")
	if row.Verdict != Cannot || !math.IsNaN(row.Diff) || row.Why != "not comparable because in the second side it was 9 K warmer" {
		t.Errorf("%s %g: %s", row.Verdict, row.Diff, row.Why)
	}
	if free.Verdict != Same {
		t.Errorf("play: %s", free.Verdict)
	}
	// One warm run among cool ones is left out, whichever it is, and said.
	b = append(under(friction(), nil), under(renamed(friction()[:1]), func(c *alike.Conditions) { c.AmbientC = 29 })...)
	for range 2 {
		row := find(t, Sides(a, b, Options{}), "friction")
		if row.Verdict != Same || row.NB != 3 || !strings.Contains(row.Why, "1 of 4 runs of the second side: not comparable because it was 9 K warmer") {
			t.Errorf("%s of %d: %s", row.Verdict, row.NB, row.Why)
		}
		b[3].ID = "0" // the first by name
	}
}

// A leg made heavier on purpose is compared in what it costs the drive, and that is said.
func TestHeavierOnPurpose(t *testing.T) {
	a := under(uses(0.3), nil)
	b := under(uses(0.4), func(c *alike.Conditions) { c.Setup.Load = &rig.Load{MassKg: 0.35, LeverM: 0.11, InertiaKgM2: 0.005} })
	row := find(t, Sides(a, b, Options{Margins: map[string]float64{"torque_use": 0.01}}), "torque_use")
	if row.Verdict != Worse || !strings.Contains(row.Why, "the load torque is 0.378, not 0.270 N·m, which may be all of it") {
		t.Errorf("%s: %s", row.Verdict, row.Why)
	}
	ref.Near(t, "difference", row.Diff, 0.1, 1e-12, "arithmetic")
}

// Legs are compared like revisions, and it is said.
func TestTwoLegs(t *testing.T) {
	a := under(uses(0.3), func(c *alike.Conditions) { c.Leg = "fore-left" })
	b := under(uses(0.3), func(c *alike.Conditions) { c.Leg = "hind-left" })
	res := Sides(a, b, Options{})
	if n := strings.Join(res.Notes, "\n"); !strings.Contains(n, "the first side is of leg fore-left, the second side of leg hind-left") {
		t.Errorf("notes: %s", n)
	}
	if row := find(t, res, "torque_use"); row.Verdict != Same {
		t.Errorf("%s: %s", row.Verdict, row.Why)
	}
}
