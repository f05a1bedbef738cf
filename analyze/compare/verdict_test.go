package compare

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"limbgauge/analyze/health"
	"pgregory.net/rapid"
)

// What is better when it grows, when it shrinks, and when neither, as a builder would say it.
func TestDirections(t *testing.T) {
	want := map[string]Verdict{
		"reversal_error": Worse, "mean_reversal": Worse, "repeatability": Worse, "systematic_deviation": Worse,
		"accuracy": Worse, "pose_repeatability": Worse, "play": Worse, "compliance": Worse,
		"span_slack_torque": Better, "belt_tension": Better, "friction": Worse, "viscous_friction": Worse,
		"tight_spot": Worse, "tight_spot_angle": Differs, "load_torque_peak": Differs, "torque_use": Worse,
		"stall_time": Worse, "supply_sag": Worse, "offset_step": Worse, "offset_step_time": Differs,
		"friction_asymmetry": Worse, "tight_spot_width": Worse, "load_torque_amplitude": Differs, "heat_share": Worse, "temp_rise": Worse,
		"creep": Worse, "rise_time": Worse, "overshoot": Worse, "settle_time": Worse,
		"natural_frequency": Differs, "damping_ratio": Differs, "peak_speed": Better, "dead_time": Worse,
		"lost_samples": Worse, "permanent_set": Worse, "bandwidth": Better, "resonance": Differs,
	}
	for _, d := range health.Definitions() {
		w, ok := want[d.Name]
		if !ok {
			t.Errorf("%s: say which way is better", d.Name)
			continue
		}
		turned := map[Verdict]Verdict{Better: Worse, Worse: Better, Differs: Differs}[w]
		small, big := equal(2, of(d.Name, 1, 0.1)), equal(2, of(d.Name, 2, 0.1))
		for _, c := range []struct {
			a, b []Run
			want Verdict
		}{{small, big, w}, {big, small, turned}, {small, small, Same}} {
			if row := find(t, Sides(c.a, c.b, Options{All: true, Margins: map[string]float64{d.Name: 0.2}}), d.Name); row.Verdict != c.want {
				t.Errorf("%s: %s, want %s", d.Name, row.Verdict, c.want)
			}
		}
	}
}

func TestSignedDeviations(t *testing.T) {
	for _, c := range []struct {
		a, b float64
		want Verdict
		why  string
	}{
		{-1.0, -0.2, Better, ""},
		{0.2, -1.0, Worse, ""},
		{-0.2, 0.2, Differs, "the sign changed"},
		{-0.05, 0.02, Same, ""},
	} {
		row := find(t, Sides(equal(2, of("offset_step", c.a, 0.07)), equal(2, of("offset_step", c.b, 0.07)), Options{All: true, Margins: map[string]float64{"offset_step": 0.15}}), "offset_step")
		if row.Verdict != c.want || !strings.Contains(row.Why, c.why) || math.Abs(row.Diff-(c.b-c.a)) > 1e-12 {
			t.Errorf("%g to %g: %+v, want %s", c.a, c.b, row, c.want)
		}
	}
}

func tension(status health.Status, v, u float64) health.Measure {
	switch status {
	case health.Measured:
		return health.Of("belt_tension", health.Transmission, v, u, "")
	case health.NotObservable:
		return health.Unseen("belt_tension", health.Transmission, "", "the torque keeps its sign")
	}
	return health.Bound("belt_tension", health.Transmission, status, v, u, "", "")
}

func TestBoundsAndWhatIsNotSeen(t *testing.T) {
	const low, high, seen, no = health.BoundLow, health.BoundHigh, health.Measured, health.NotObservable
	type m = health.Measure
	for _, c := range []struct {
		name string
		a, b []m // one stands for three of it
		want Verdict
		as   health.Status // of the first side
		at   float64       // its value
		why  string
	}{
		{"at least, beyond the value", []m{tension(seen, 20, 3)}, []m{tension(low, 40, nan)}, Better, seen, 20, "by bounds, at least 20 N"},
		{"at least, not beyond the value's doubt", []m{tension(seen, 39, 3)}, []m{tension(low, 40, nan)}, Cannot, seen, 39, "may be chance"},
		{"at least, with a doubt of its own", []m{tension(seen, 37.5, 3)}, []m{tension(low, 40, 3)}, Better, seen, 37.5, "at least 2.5 N"},
		{"at least, with more doubt of its own", []m{tension(seen, 37.5, 3)}, []m{tension(low, 40, 4)}, Cannot, seen, 37.5, "may be chance"},
		{"the lasting question of a side that wore: some runs tell, the others reach beyond",
			[]m{tension(low, 32, nan), tension(seen, 18, 2), tension(high, 1.8, nan)}, []m{tension(low, 50, nan)}, Cannot, no, nan, "2 of 3 runs of the first side lie wholly below the second side"},
		{"a run within the other side's doubt is not beyond it",
			[]m{tension(low, 32, nan), tension(seen, 40, 1), tension(high, 1.8, nan)}, []m{tension(seen, 40, 2)}, Cannot, no, nan, "1 of 3 runs of the first side lie wholly below the second side"},
		{"turned round", []m{tension(low, 50, nan), tension(seen, 20, 1)}, []m{tension(seen, 20, 2)}, Cannot, low, 20, "1 of 2 runs of the first side lie wholly above the second side"},
		{"at most, below", []m{tension(seen, 20, 3)}, []m{tension(high, 10, nan)}, Worse, seen, 20, "by bounds"},
		{"two lower bounds never decide", []m{tension(low, 10, nan)}, []m{tension(low, 90, nan)}, Cannot, low, 10, "one end only"},
		{"upper and lower bound, no scatter seen", []m{tension(high, 15, nan)}, []m{tension(low, 40, nan)}, Cannot, high, 15, "read the same"},
		{"upper and lower bound, each with its doubt", []m{tension(high, 15, 2)}, []m{tension(low, 40, 3)}, Better, high, 15, "at least 25 N"},
		{"the weakest bound speaks for all", []m{tension(low, 40, nan), tension(low, 15, nan)}, []m{tension(seen, 20, 1)}, Cannot, low, 15, "one end only"},
		{"a bound beside a value keeps the value from being the mean", []m{tension(low, 60, nan), tension(seen, 24, 1)}, []m{tension(seen, 40, 2)}, Cannot, low, 24, "one end only"},
		// 60 and 24 scatter by 25: that their mean lies above 20 may be chance, t(1) = 22/18.
		{"a bound and a value, both beyond, two units", []m{tension(low, 60, nan), tension(seen, 24, 1)}, []m{tension(seen, 20, 2)}, Cannot, low, 24, "may be chance"},
		{"bounds both ways", []m{tension(low, 60, nan), tension(high, 20, nan)}, []m{tension(seen, 20, 2)}, Cannot, no, nan, "others at most"},
		{"a value without doubt beside a bound", []m{tension(low, 60, nan), tension(seen, 70, nan)}, []m{tension(seen, 20, 2)}, Cannot, no, nan, "no uncertainty"},
		{"a value without doubt against a bound", []m{tension(seen, 20, nan)}, []m{tension(low, 60, nan)}, Cannot, seen, 20, "read the same"},
		{"one unit against a bound", []m{tension(no, 0, 0), tension(seen, 20, 1)}, []m{tension(low, 60, nan)}, Cannot, seen, 20, "how much re-assembly scatters"},
		{"not seen", []m{tension(no, 0, 0)}, []m{tension(seen, 20, 2)}, Cannot, no, nan, "the torque keeps its sign"},
		{"seen in part", []m{tension(no, 0, 0), tension(seen, 40, 2), tension(seen, 40, 2)}, []m{tension(seen, 20, 2)}, Worse, seen, 40, "not seen in 1 of 3 runs of the first side"},
	} {
		t.Run(c.name, func(t *testing.T) {
			side := func(ms []m) (out []Run) {
				if len(ms) == 1 {
					return equal(3, ms[0])
				}
				for i, x := range ms {
					out = append(out, one(string(rune('a'+i)), "", x))
				}
				return out
			}
			row := find(t, Sides(side(c.a), side(c.b), Options{All: true}), "belt_tension")
			if row.Verdict != c.want || !strings.Contains(row.Why, c.why) {
				t.Errorf("%s (%s), want %s (%s)", row.Verdict, row.Why, c.want, c.why)
			}
			same := row.A.Value == c.at || math.IsNaN(row.A.Value) && math.IsNaN(c.at)
			if row.A.Status != c.as || !same {
				t.Errorf("first side %s %g, want %s %g", row.A.Status, row.A.Value, c.as, c.at)
			}
			if c.name != "seen in part" && !math.IsNaN(row.Diff) {
				t.Errorf("a difference of %g from what is not measured", row.Diff)
			}
		})
	}
	// Bounds on a deviation with a sign hold its size: at most 0.1 in size against -0.5.
	none := health.Bound("offset_step", health.Total, health.BoundHigh, 0.1, nan, "", "")
	row := find(t, Sides(equal(2, none), equal(2, health.Of("offset_step", health.Total, -0.5, 0.05, "")), Options{All: true}), "offset_step")
	if row.Verdict != Worse {
		t.Errorf("a slip against none: %+v", row)
	}
}

// What chance rules out for one measure it need not for one of four.
func TestAdjustedAmongOthers(t *testing.T) {
	var a, b []Run
	for i, v := range []float64{26, 30, 34} {
		others := []health.Measure{play(v, nan), of("friction", v, nan), of("creep", v, nan)}
		a = append(a, one(fmt.Sprint(i), "", append(others, tension(health.Measured, v, nan))...))
		b = append(b, one(fmt.Sprint(i), "", append(others, tension(health.BoundLow, 44.2, nan))...))
	}
	// 14.2 lies 14.2/(4/√3) = 6.15 standard errors off: p = 0.025 with two degrees of freedom (t(0.975, 2) = 4.303,
	// t(0.99, 2) = 6.965), which four tests make 0.1.
	alone, among := find(t, Sides(a, b, Options{Measures: []string{"belt_tension"}}), "belt_tension"), find(t, Sides(a, b, Options{All: true}), "belt_tension")
	if alone.Verdict != Better || !(alone.P > 0.02 && alone.P < 0.05) || alone.Adjusted != alone.P {
		t.Errorf("alone: %s, p %g, adjusted %g", alone.Verdict, alone.P, alone.Adjusted)
	}
	if among.Verdict != Cannot || among.P != alone.P || math.Abs(among.Adjusted-4*among.P) > 1e-12 || !strings.Contains(among.Why, "different by itself") {
		t.Errorf("among others: %s (%s), p %g, adjusted %g", among.Verdict, among.Why, among.P, among.Adjusted)
	}
}

func TestMeasureOfOneSideOnlyIsSaid(t *testing.T) {
	row := find(t, Sides([]Run{one("1", "", of("friction", 0.02, 0.001))}, plays(0.1, 0.3), Options{All: true}), "play")
	if row.Verdict != Cannot || !strings.Contains(row.Why, "not seen in the first side: no run of this side has it") {
		t.Errorf("%+v", row)
	}
}

// Whatever the figures: turned round, the comparison says the opposite; the order of runs is
// nothing; another unit of length changes nothing but the numbers.
func TestProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string) []Run {
			n := rapid.IntRange(1, 5).Draw(t, name)
			var out []Run
			for i := range n {
				v, u := rapid.Float64Range(0.01, 5).Draw(t, "value"), rapid.Float64Range(0.001, 1).Draw(t, "u")
				tag := rapid.SampledFrom([]string{"", "p", "q"}).Draw(t, "assembly")
				m := play(v, u)
				switch rapid.IntRange(0, 5).Draw(t, "kind") {
				case 0:
					m = health.Bound("play", health.Transmission, health.BoundHigh, v, nan, "", "")
				case 1:
					m = health.Unseen("play", health.Transmission, "", "why")
				}
				out = append(out, one(string(rune('0'+i)), tag, m))
			}
			return out
		}
		a, b := draw("first"), draw("second")
		o := Options{All: true, Margins: map[string]float64{"play": rapid.Float64Range(0.01, 3).Draw(t, "margin")}}
		row := Sides(a, b, o).Rows[0]
		back := Sides(b, a, o).Rows[0]
		turned := map[Verdict]Verdict{Better: Worse, Worse: Better, Same: Same, Cannot: Cannot}[row.Verdict]
		if back.Verdict != turned || !near(back.Diff, -row.Diff) || !near(back.U, row.U) {
			t.Fatalf("turned round: %+v, was %+v", back, row)
		}
		perm := rapid.Permutation(a).Draw(t, "order")
		if again := Sides(perm, b, o).Rows[0]; again.Verdict != row.Verdict || !near(again.Diff, row.Diff) || !near(again.U, row.U) {
			t.Fatalf("other order: %+v, was %+v", again, row)
		}
		if row.U < 0 || (row.Verdict == Better || row.Verdict == Worse) && !math.IsNaN(row.Diff) && math.Abs(row.Diff) <= row.U {
			t.Fatalf("a verdict inside the uncertainty: %+v", row)
		}
		if more := Sides(moved(a, 1), moved(b, 1), o).Rows[0]; !near(more.Diff, row.Diff) || !near(more.U, row.U) || !near(more.P, row.P) || more.Verdict != row.Verdict {
			t.Fatalf("with 1 added to all: %+v, was %+v", more, row)
		}
		k := rapid.Float64Range(0.1, 10).Draw(t, "scale")
		o.Margins["play"] *= k
		if s := Sides(scaled(a, k), scaled(b, k), o).Rows[0]; !near(s.Diff, k*row.Diff) || !near(s.U, k*row.U) || s.Verdict != row.Verdict {
			t.Fatalf("scaled by %g: %+v, was %+v", k, s, row)
		}
	})
}

func near(x, y float64) bool {
	return math.IsNaN(x) && math.IsNaN(y) || math.Abs(x-y) <= 1e-9*math.Max(1, math.Abs(y))
}

// moved adds a constant to every figure.
func moved(runs []Run, by float64) (out []Run) {
	for _, r := range runs {
		m := r.Joint.Measures[0]
		m.Value += by
		r.Joint.Measures = []health.Measure{m}
		out = append(out, r)
	}
	return out
}

func scaled(runs []Run, k float64) (out []Run) {
	for _, r := range runs {
		m := r.Joint.Measures[0]
		m.Value, m.Uncertainty = k*m.Value, k*m.Uncertainty
		r.Joint.Measures = []health.Measure{m}
		out = append(out, r)
	}
	return out
}
