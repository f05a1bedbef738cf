package virtual

import (
	"errors"
	"math"
	"slices"
	"testing"
)

func TestFaultsGrow(t *testing.T) {
	fresh := Healthy(knee(), 0)
	loosening := Faults{{Cause: "belt_tension_low", Size: 50, PerWeek: -4, PerRun: -0.5, FromRun: 2}}
	for _, test := range []struct {
		age  Age
		want float64 // N, by hand
	}{
		{Age{Runs: 2, Weeks: 1}, 50}, // of two runs none is past run 2, so neither is the week
		{Age{Runs: 4, Weeks: 2}, 50 - 0.5*2 - 4*2*0.5},
		{Age{Runs: 100, Weeks: 0}, 50 - 0.5*98},
		{Age{Runs: 1000, Weeks: 100}, 0},
	} {
		got, err := loosening.After(fresh, test.age)
		if err != nil {
			t.Fatal(err)
		}
		if n := got.Belt.TensionAt(got.Belt.AgeS); math.Abs(n-test.want) > 1e-9 {
			t.Errorf("after %+v: %.3f N, want %.3f", test.age, n, test.want)
		}
	}
	if got, _ := loosening.After(fresh, Age{Runs: 1}); got.Belt.TensionN != fresh.Belt.TensionN {
		t.Error("the fault is there before its first run")
	}
	if fresh.Belt.TensionN != 55 {
		t.Error("After changed the truth it was given")
	}
}

// A belt that has lost all tension and 5 N more is 5 N/k too long in each span: it turns freely by that
// over the radius to both sides.
func TestLooseningOpensPlay(t *testing.T) {
	fresh := Healthy(knee(), 0)
	f := Faults{{Cause: "belt_tension_low", Size: 10, PerCycle: -0.01}}
	got, err := f.After(fresh, Age{Runs: 3, Cycles: 1500})
	if err != nil {
		t.Fatal(err)
	}
	r := 20 * 0.002 / (2 * math.Pi)
	want := 2 * 5 / fresh.Belt.SpanNPerM / r * 180 / math.Pi
	if got.Belt.TensionN != 0 || math.Abs(got.Belt.SlackDeg-want) > 1e-9 {
		t.Errorf("tension %g N and a dead zone of %g deg, want 0 and %g", got.Belt.TensionN, got.Belt.SlackDeg, want)
	}
	if before, _ := f.After(fresh, Age{Runs: 2, Cycles: 900}); before.Belt.SlackDeg != fresh.Belt.SlackDeg {
		t.Errorf("with 1 N left a dead zone of %g deg", before.Belt.SlackDeg)
	}
}

// The log law of the belt's settling: 0.8 N for each tenfold of time from the first minute on.
func TestBeltSettles(t *testing.T) {
	b := Belt{TensionN: 55, LossPerDecadeN: 0.8}
	for _, test := range []struct{ age, want float64 }{
		{0, 55}, {9 * 60, 54.2}, {99 * 60, 53.4}, {999999 * 60, 55 - 6*0.8}, {1e300, 55 - 0.8*(300-math.Log10(60))},
	} {
		if got := b.TensionAt(test.age); math.Abs(got-math.Max(0, test.want)) > 1e-9 {
			t.Errorf("at %g s: %.4f N, want %.4f (closed form)", test.age, got, test.want)
		}
	}
}

func TestSlipStays(t *testing.T) {
	fresh := Healthy(knee(), 0)
	f := Faults{{Cause: "horn_slip", Size: 3, FromRun: 5}, {Cause: "tooth_skip", Size: 1, PerRun: 0.5, FromRun: 1}}
	for _, test := range []struct {
		runs           int
		offset, slip   float64 // deg
		toothed, teeth float64
	}{
		{0, 0, 0, 0, 0}, {1, 0, 0, 0, -1}, {2, 0, 0, -1, 0}, {3, 0, 0, -1, -1}, {5, 0, -3, -2, -1}, {6, -3, 0, -3, 0},
	} {
		got, err := f.After(fresh, Age{Runs: test.runs})
		if err != nil {
			t.Fatal(err)
		}
		if got.Horn.OffsetDeg != test.offset || sum(got.Horn.Slips) != test.slip ||
			got.Belt.OffsetTeeth != test.toothed || sum(got.Belt.Skips) != test.teeth {
			t.Errorf("run %d: horn %g %+v, belt %g %+v", test.runs, got.Horn.OffsetDeg, got.Horn.Slips, got.Belt.OffsetTeeth, got.Belt.Skips)
		}
	}
}

func sum(s []Slip) (deg float64) {
	for _, x := range s {
		deg += x.Deg
	}
	return deg
}

func TestWithFaultRefuses(t *testing.T) {
	direct := knee()
	direct.Belt = nil
	for _, test := range []struct {
		truth Truth
		cause string
		size  float64
	}{
		{Healthy(knee(), 0), "gremlins", 1},
		{Healthy(knee(), 0), "servo_play", -1},
		{Healthy(knee(), 0), "servo_play", math.NaN()},
		{Healthy(knee(), 0), "servo_play", math.Inf(1)},
		{Healthy(direct, 0), "tooth_skip", 1},
	} {
		if _, err := WithFault(test.truth, test.cause, test.size); !errors.Is(err, ErrNoFault) {
			t.Errorf("%s of size %g: %v, want a refusal", test.cause, test.size, err)
		}
	}
}

// Every cause of the design can be put in, and each changes the truth. The names are written out here
// because rig must not import the package that owns them.
func TestEveryCause(t *testing.T) {
	want := []string{"belt_tension_low", "belt_slack", "servo_play", "excess_compliance", "creep", "horn_slip", "tooth_skip",
		"tight_spot", "high_friction", "near_stall", "stall", "supply_sag", "hunting", "sensor_fault", "lost_samples"}
	var have []string
	for _, c := range Causes() {
		have = append(have, c.Name)
	}
	if !slices.Equal(have, want) {
		t.Errorf("causes %v, want %v", have, want)
	}
}
