package drift

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"limbgauge/analyze/internal/ref"
	"limbgauge/rig"
)

func near(t *testing.T, name string, got, want, tol float64) {
	t.Helper()
	ref.Near(t, name, got, want, tol, "closed form")
}

// Check 4a: the pitch of the joint's pulley.
func TestToothPitch(t *testing.T) {
	for _, c := range []struct {
		belt rig.Belt
		want float64
	}{
		{rig.Belt{Teeth: 20, PitchMM: 2, Ratio: 1}, 18},
		{rig.Belt{Teeth: 20, PitchMM: 2, Ratio: 2}, 9},
		{rig.Belt{Teeth: 15, PitchMM: 3, Ratio: 2}, 12},
	} {
		near(t, "pitch", 360/c.belt.JointTeeth(), c.want, 1e-12)
	}
}

// Check 4b: a skip is a whole number of teeth to 0.15, and surely so.
func TestWholeTeeth(t *testing.T) {
	for _, c := range []struct {
		step, u, pitch float64
		whole          int
		ratio          float64
	}{
		{8.93, 0.16, 9, 1, 0.992},
		{-8.93, 0.16, 9, 1, 0.992}, // the size counts, not the direction
		{5.0, 0.16, 9, 0, 0.556},
		{18.2, 0.16, 9, 2, 2.022},
		{8.93, 5, 9, 0, 0.992},    // so unsure that nothing or two teeth are as likely
		{10.4, 0.16, 9, 0, 1.156}, // a little beyond the tolerance
		{7.7, 0.16, 9, 1, 0.856},
		{1.0, 0.16, 9, 0, 0.111}, // no tooth at all is no skip
	} {
		p := ComparePitch(c.step, c.u, c.pitch)
		near(t, "ratio", p.Ratio, c.ratio, 5e-4)
		if p.Whole != c.whole || p.Matches != (c.whole > 0) {
			t.Errorf("step %g ± %g of pitch %g: %+v, want %d teeth", c.step, c.u, c.pitch, p, c.whole)
		}
	}
}

// Check 4d: two windows of 50 independent readings with the standard deviation of a 12-bit quantum
// know their difference to u = 0.00507.
func TestUncertaintyOfAStep(t *testing.T) {
	const sd, n, student = 0.0879 / 3.4641016, 50, 1.98447 // t(98, 0.975), tables
	var visits []Visit
	for i := range 2 * n {
		// ±1 scaled so that each half has this sample standard deviation exactly.
		e := sd * math.Sqrt((n-1.0)/n)
		if i%2 == 0 {
			e = -e
		}
		v := Visit{TimeS: float64(i), From: float64(i) - 0.2, Defl: e}
		if i >= n {
			v.Defl++
		}
		visits = append(visits, v)
	}
	o := DefaultOptions(0.0879)
	o.Quantum = 0 // it is in the scatter of these readings
	got := Steps(visits, o)
	if len(got) != 1 {
		t.Fatalf("steps = %+v", got)
	}
	near(t, "size", got[0].Size, 1, 1e-12)
	near(t, "u", got[0].SizeU/student, 0.00507, 1e-5)
	// Where one stop reads the same count again and again, q/√6 stays: GUM F.2.2.1 for a difference.
	o.Quantum = 0.0879
	near(t, "U with its quantum", Steps(visits, o)[0].SizeU, math.Hypot(student*0.00507, 2*0.0359), 1e-4)
	near(t, "after", got[0].After, n-1, 0)
	near(t, "before", got[0].Before, n, 0)
}

// stair makes the visits of an assembly stair: 9 stops, both sides, 5 cycles, one a second, each
// stop and side with its own place; offset is what the joint's offset does over time.
func stair(noise float64, rng *rand.Rand, offset func(s float64) float64) []Visit {
	var out []Visit
	at := 0.0
	for range 5 {
		for _, dir := range []int{0, 1} {
			for i := range 9 {
				stop := i
				if dir == 1 {
					stop = 8 - i
				}
				at++
				out = append(out, Visit{Group: 2*stop + dir, TimeS: at, From: at - 0.24,
					Defl: 0.3*float64(stop) - 0.4*float64(dir) + offset(at) + noise*rng.NormFloat64()})
			}
		}
	}
	return out
}

type jump struct{ at, size float64 }

func jumps(js ...jump) func(float64) float64 {
	return func(s float64) (sum float64) {
		for _, j := range js {
			if s >= j.at {
				sum += j.size
			}
		}
		return sum
	}
}

// Steps at known times come back with their sizes, and the time lies between the two visits.
func TestKnownSteps(t *testing.T) {
	for _, c := range []struct {
		name string
		js   []jump
	}{
		{"horn", []jump{{45.5, 3.06}}},
		{"tooth", []jump{{45.8, -22.5}}},
		{"small", []jump{{33.3, 0.4}}},
		{"in the first cycle", []jump{{12.5, 2}}},
		{"in the last cycle", []jump{{80.5, 2}}},
		{"two of one sign", []jump{{30.5, 2}, {61.5, 1.5}}},
		{"two like sizes", []jump{{30.5, 1.2}, {50.5, 1.2}}},
		{"there and back", []jump{{30.5, 3}, {61.5, -3}}},
		{"there and further back", []jump{{40.5, 2}, {70.5, -5}}},
		{"three", []jump{{20.5, 2}, {45.5, 3}, {70.5, 4}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			held, n := 0, 0
			for seed := range uint64(40) {
				got := Steps(stair(0.03, rand.New(rand.NewPCG(seed, 2)), jumps(c.js...)), DefaultOptions(0.0879))
				if len(got) != len(c.js) {
					t.Fatalf("seed %d: steps %+v, want %+v", seed, got, c.js)
				}
				for i, s := range got {
					if i > 0 && math.Abs(s.Size) > math.Abs(got[i-1].Size) {
						t.Errorf("seed %d: the greatest is not first: %+v", seed, got)
					}
					var want jump
					for _, j := range c.js {
						if s.After < j.at && j.at < s.Before {
							want = j
						}
					}
					if want.at == 0 {
						t.Fatalf("seed %d: a step between %g and %g, want %+v", seed, s.After, s.Before, c.js)
					}
					if math.Abs(s.Size-want.size) > 0.1 || !(s.SizeU > 0 && s.SizeU < 0.1) {
						t.Errorf("seed %d: size %.3f ± %.3f, want %.3f", seed, s.Size, s.SizeU, want.size)
					}
					n++
					if math.Abs(s.Size-want.size) <= s.SizeU {
						held++
					}
				}
			}
			// 95 % less four standard deviations of a binomial count.
			if least := 0.95 - 4*math.Sqrt(0.0475/float64(n)); float64(held) < least*float64(n) {
				t.Errorf("%d of %d intervals hold the truth", held, n)
			}
		})
	}
}

// In a long run the search is cut short where nothing is left, and only there.
func TestStepsOfALongRun(t *testing.T) {
	for _, size := range []float64{0, 0.3, -2} {
		rng := rand.New(rand.NewPCG(5, 5))
		var visits []Visit
		for i := range 1200 {
			w := float64(i%18) + 0.05*rng.NormFloat64()
			if i >= 700 {
				w += size
			}
			if i >= 900 {
				w += 2 * size
			}
			visits = append(visits, Visit{Group: i % 18, TimeS: float64(i), From: float64(i), Defl: w})
		}
		got := Steps(visits, DefaultOptions(0.0879))
		if size == 0 && len(got) != 0 || size != 0 && (len(got) != 2 || math.Abs(got[0].Size-2*size) > got[0].SizeU || got[0].After != 899 || got[1].After != 699) {
			t.Errorf("steps of %g and %g: %+v", size, 2*size, got)
		}
	}
}

// What is no lasting step is none: noise, steady drift, warming up, a bump of one visit, a sway that
// comes back, a step smaller than a quantum shows.
func TestNoSteps(t *testing.T) {
	for _, c := range []struct {
		name  string
		noise float64
		f     func(s float64) float64
	}{
		{"noise", 0.05, jumps()},
		{"no noise", 0, jumps()},
		{"steady drift", 0.03, func(s float64) float64 { return 0.02 * s }},
		{"steady drift without noise", 0, func(s float64) float64 { return -0.02 * s }},
		{"warming up", 0.03, func(s float64) float64 { return 1.2 * (1 - math.Exp(-s/30)) }},
		{"a bump", 0.03, func(s float64) float64 {
			if s == 47 {
				return 2
			}
			return 0
		}},
		{"sway", 0.03, func(s float64) float64 { return 0.5 * math.Sin(s/3) }},
		{"too small", 0.01, jumps(jump{45.5, 0.15})},
	} {
		t.Run(c.name, func(t *testing.T) {
			for seed := range uint64(100) {
				if got := Steps(stair(c.noise, rand.New(rand.NewPCG(seed, 3)), c.f), DefaultOptions(0.0879)); len(got) > 0 {
					t.Fatalf("seed %d: %+v", seed, got)
				}
			}
		})
	}
}

// Without repeated visits nothing is said.
func TestStepsThatCannotBeSeen(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	all := stair(0.03, rng, jumps(jump{45.5, 3}))
	once := make([]Visit, 0, 18)
	for i, v := range all[:18] {
		v.Group = i
		if i > 9 {
			v.Defl += 3
		}
		once = append(once, v)
	}
	for name, visits := range map[string][]Visit{"none": nil, "seven": all[40:47], "every stop once": once} {
		if got := Steps(visits, DefaultOptions(0.0879)); len(got) != 0 {
			t.Errorf("%s: %+v", name, got)
		}
	}
}

// A visit without a reading is left out and hides nothing.
func TestVisitsWithoutReading(t *testing.T) {
	visits := stair(0.03, rand.New(rand.NewPCG(1, 1)), jumps(jump{45.5, 3}))
	for i := range visits {
		if i%7 == 0 {
			visits[i].Defl = math.NaN()
		}
	}
	got := Steps(visits, DefaultOptions(0.0879))
	if len(got) != 1 || math.Abs(got[0].Size-3) > 0.1 || got[0].After >= 45.5 || got[0].Before <= 45.5 {
		t.Errorf("%+v", got)
	}
}

// Swapping signs, or moving the origin of time or angle, changes nothing else.
func TestStepsMirrorAndShift(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := func(lo, hi float64, name string) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
		js := []jump{{math.Round(f(5, 85, "at")) + 0.5, f(-5, 5, "size")}, {math.Round(f(5, 85, "at 2")) + 0.5, f(-5, 5, "size 2")}}
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		a := stair(f(0, 0.2, "noise"), rng, jumps(js...))
		b := make([]Visit, len(a))
		for i, v := range a {
			b[i] = Visit{Group: 100 - v.Group, TimeS: v.TimeS + 4096, From: v.From + 4096, Defl: 8 - v.Defl}
		}
		sa, sb := Steps(a, DefaultOptions(0.0879)), Steps(b, DefaultOptions(0.0879))
		if len(sa) != len(sb) {
			t.Fatalf("%+v and mirrored %+v", sa, sb)
		}
		for i := range sa {
			if math.Abs(sa[i].Size+sb[i].Size) > 1e-9 || math.Abs(sa[i].SizeU-sb[i].SizeU) > 1e-9 || sa[i].After+4096 != sb[i].After {
				t.Fatalf("%+v and mirrored %+v", sa[i], sb[i])
			}
		}
	})
}

// Locate finds the sample of a step in noise to a few samples, and only where it is told to look.
func TestLocate(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 1))
	for range 50 {
		at := 100 + rng.IntN(300)
		size := 3.0
		if rng.IntN(2) == 0 {
			size = -3
		}
		defl := make([]float64, 500)
		for i := range defl {
			defl[i] = 0.2 * rng.NormFloat64()
			if i >= at {
				defl[i] += size
			}
		}
		if got := Locate(defl, 80, 420, 12, size); got < at-2 || got > at+2 {
			t.Errorf("step at %d found at %d", at, got)
		}
	}
	if got := Locate(make([]float64, 20), 0, 20, 12, 1); got != -1 {
		t.Errorf("a step at %d of twenty samples", got)
	}
	if got := Locate(make([]float64, 100), 40, 40, 12, 1); got != -1 {
		t.Errorf("a step at %d of an empty stretch", got)
	}
}
