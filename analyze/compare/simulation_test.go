package compare

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"limbgauge/analyze/health"
)

// five are measures with a limit that have nothing in common.
var five = []string{"play", "friction", "creep", "overshoot", "torque_use"}

// drawn makes a side: assemblies that scatter by 1, each with repeats that scatter by `within`.
func drawn(rng *rand.Rand, side string, assemblies, repeats int, within, shift float64) (out []Run) {
	for i := range assemblies {
		var centre [5]float64
		for k := range centre {
			centre[k] = 20 + shift + rng.NormFloat64()
		}
		for j := range repeats {
			r := one(fmt.Sprintf("%s%d.%d", side, i, j), fmt.Sprintf("%s%d", side, i))
			for k, name := range five {
				r.Joint.Measures = append(r.Joint.Measures, health.Judge(of(name, centre[k]+within*rng.NormFloat64(), 0.01), 4))
			}
			out = append(out, r)
		}
	}
	return out
}

// named says whether a comparison names any difference.
func named(r Result) bool {
	for _, row := range r.Rows {
		if row.Verdict == Better || row.Verdict == Worse || row.Verdict == Differs {
			return true
		}
	}
	return false
}

// Of sides that are alike at most 1 comparison in 20 names a difference at all, however many measures
// it looks at: of five independent ones Holm gives 1 - 0.99^5 = 4.9 %, where each taken by itself would
// give 1 - 0.95^5 = 23 %. Of 1000 draws the share scatters by 0.7 points. Two or
// three assemblies against many are where Welch's degrees of freedom as they are would tell 7 and 25 %
// apart. Ten repeats of three assemblies, were they counted as thirty, would tell half of them apart.
func TestAlikeSidesAreSeldomToldApart(t *testing.T) {
	for _, c := range []struct{ n, m, repeats int }{{5, 5, 1}, {3, 8, 1}, {2, 12, 1}, {3, 3, 10}} {
		rng := rand.New(rand.NewPCG(7, uint64(c.n)))
		const draws = 1000
		told := 0
		for range draws {
			a, b := drawn(rng, "a", c.n, c.repeats, 0.2, 0), drawn(rng, "b", c.m, c.repeats, 0.2, 0)
			if named(Sides(a, b, Options{})) {
				told++
			}
		}
		share := float64(told) / draws
		t.Logf("%d assemblies of %d repeats against %d: %.3f name a difference", c.n, c.repeats, c.m, share)
		if share > 0.07 {
			t.Errorf("%d assemblies of %d repeats against %d: %.3f name a difference, want at most 0.05", c.n, c.repeats, c.m, share)
		}
	}
}

// A difference as large as the margin must not be called the same more often than 1 time in 20, one
// far below it must be, given enough assemblies; and what is said to show with 80 % shows in 80 of 100.
func TestSameAndPowerHoldWhatTheySay(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 8))
	share := func(shift, margin float64, n int, is Verdict) float64 {
		const draws = 500
		hit := 0
		for range draws {
			r := Sides(drawn(rng, "a", n, 1, 0, 0), drawn(rng, "b", n, 1, 0, shift), Options{Measures: []string{"play"}, Margins: map[string]float64{"play": margin}})
			if r.Rows[0].Verdict == is {
				hit++
			}
		}
		return float64(hit) / draws
	}
	if s := share(1.5, 1.5, 20, Same); s > 0.08 || s < 0.02 {
		t.Errorf("at the margin %.3f are called the same, want 0.05", s)
	}
	if s := share(0, 2, 20, Same); s < 0.99 {
		t.Errorf("alike within half a margin, %.3f are called the same", s)
	}
	// 0.9091 is what twenty a side show with 80 % (check 10h: noncentral t).
	if s := share(0.9091, 0.01, 20, Worse); math.Abs(s-0.8) > 0.055 {
		t.Errorf("%.3f show a difference of 80 %% power", s)
	}
}
