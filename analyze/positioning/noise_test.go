package positioning

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"limbgauge/analyze/internal/ref"
	"limbgauge/analyze/stats"
)

// noisy makes a stair of m targets and n cycles with reversal b, a curve of the mean of height e,
// scatter s of single stops and a drift d that all stops of one cycle share.
func noisy(rng *rand.Rand, m, n int, b, e, s, d float64) []Stop {
	var out []Stop
	for c := range n {
		shared := d * rng.NormFloat64()
		for i := range m {
			at := -60 + 120*float64(i)/float64(m-1)
			mean := e * math.Sin(at*math.Pi/180)
			out = append(out, Stop{at, 1, c, mean + b/2 + shared + s*rng.NormFloat64()},
				Stop{at, -1, c, mean - b/2 + shared + s*rng.NormFloat64()})
		}
	}
	return out
}

// The interval of the mean reversal holds the truth about as often as it says, also when all stops
// of a cycle err together; that of the systematic deviation errs to the wide side, as it should with
// a range of means.
func TestIntervalsOfNoisyStairs(t *testing.T) {
	const runs = 150
	for _, row := range []struct {
		name  string
		s, d  float64
		cases int
	}{{"stops err alone", .05, 0, 5}, {"cycles err together", .02, .08, 5}, {"ten cycles", .05, .03, 10}} {
		rng := rand.New(rand.NewPCG(21, 21))
		inside, bias := 0, 0.0
		for i := range runs {
			r, err := Evaluate(noisy(rng, 9, row.cases, .5, 1, row.s, row.d), Options{Replicas: 200, Seed: uint64(i)})
			if err != nil {
				t.Fatal(err)
			}
			if !r.MeanReversal.Excludes(.5) {
				inside++
			}
			bias += r.Reversal.Bias / runs
		}
		if !(bias > 0) {
			t.Errorf("%s: the greatest of nine noisy reversals has a bias of %g on average, want above 0", row.name, bias)
		}
		ref.Near(t, row.name+": coverage of the mean reversal", float64(inside)/runs, .95, .055, "nominal 95 %")
	}
}

// A wrong pulse-to-angle factor is a slope of the mean; what is left of E without it is given too.
func TestScaleError(t *testing.T) {
	var stops []Stop
	for c := range 5 {
		for i := range 9 {
			at := float64(10*i - 40)
			d := .001 * float64(c-2)
			stops = append(stops, Stop{at, 1, c, .02*at + .1 + d}, Stop{at, -1, c, .02*at - .1 + d})
		}
	}
	r, err := Evaluate(stops, Options{Replicas: 100})
	if err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "scale", r.Scale.Value, .02, 1e-12, "as made")
	ref.Near(t, "E", r.Syst.Value, .02*80+.2, 1e-12, "80 deg of travel and the reversal")
	ref.Near(t, "E without scale", r.SystLevel.Value, .2, 1e-9, "the reversal is left")
	ref.Near(t, "reversal", r.MeanReversal.Value, .2, 1e-12, "a scale error cancels in the reversal")
}

// A load that keeps one flank engaged hides play: the reversal is then the rest alone. The figure
// cannot know; what it must not do is to read a missing stop as a zero.
func TestMissingStops(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 8))
	full := noisy(rng, 9, 6, .5, 1, .03, 0)
	var ragged []Stop
	for i, s := range full {
		if i%11 != 3 {
			ragged = append(ragged, s)
		}
	}
	ragged = append(ragged, Stop{10, 1, 0, math.NaN()}, Stop{77, 1, 0, 5}) // never measured; one side only
	a, err := Evaluate(full, Options{Replicas: 200})
	if err != nil {
		t.Fatal(err)
	}
	b, err := Evaluate(ragged, Options{Replicas: 200})
	if err != nil {
		t.Fatal(err)
	}
	if len(b.Targets) != 9 || b.Cycles != 6 {
		t.Fatalf("%d targets, %d cycles", len(b.Targets), b.Cycles)
	}
	ref.Near(t, "mean reversal", b.MeanReversal.Value, a.MeanReversal.Value, .02, "a tenth of the stops more or less")
	if !(b.MeanReversal.U > 0 && b.MeanReversal.U < .03) {
		t.Errorf("u %g", b.MeanReversal.U)
	}
}

func TestWhatFewCyclesCannotShow(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 9))
	one, err := Evaluate(noisy(rng, 5, 1, .5, 0, .01, 0), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if !one.Reversal.Seen() || one.Repeat.Seen() || one.Acc.Seen() || one.Repeat.Unseen == "" {
		t.Errorf("one cycle: B %v, R %v, A %v; want B only", one.Reversal.Seen(), one.Repeat.Seen(), one.Acc.Seen())
	}
	three, err := Evaluate(noisy(rng, 5, 3, .5, 0, .01, 0), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if !three.Repeat.Seen() || !math.IsNaN(three.Repeat.U) || three.Repeat.Why == "" {
		t.Errorf("three cycles: R %+v, want a value, no interval, and why", three.Repeat)
	}
	up := []Stop{{0, 1, 0, .1}, {10, 1, 0, .2}}
	if _, err := Evaluate(up, Options{}); !errors.Is(err, stats.ErrTooFew) {
		t.Errorf("one side only: %v", err)
	}
	if _, err := EvaluatePoses(noisy(rng, 5, 1, .5, 0, .01, 0), Options{}); !errors.Is(err, stats.ErrTooFew) {
		t.Errorf("poses visited once: %v", err)
	}
}

// A quiet reading does not average its quantisation away: both means of a reversal keep q/√12.
func TestQuantum(t *testing.T) {
	const q = 360.0 / 4096
	for _, row := range []struct {
		noise, want float64
		from        string
	}{
		{0, math.Hypot(.01, q/math.Sqrt(6)), "difference of two stops, q/√6"},
		{.6 * q, .01, "noise above q/2 dithers the quantisation away"},
	} {
		r, err := Evaluate(handStops(), Options{Quantum: q, NoiseSD: row.noise, Replicas: 10})
		if err != nil {
			t.Fatal(err)
		}
		ref.Near(t, "u(B_i)", r.Targets[0].Reversal.U, row.want, 1e-5, row.from)
		if quiet := row.noise == 0; quiet != (r.Repeat.U > 4*q/math.Sqrt(12)) {
			t.Errorf("noise %g: u(R) %g", row.noise, r.Repeat.U)
		}
		// Both directions of a cycle err alike in this table, so cycles leave nothing in the reversal.
		want := 0.0
		if row.noise == 0 {
			want = q / math.Sqrt(12) * math.Sqrt(2.0/5)
		}
		ref.Near(t, "u of the mean reversal", r.MeanReversal.U, want, 1e-4, "two stops at each of five targets")
	}
}

// Scatter of single stops comes back as the pooled pose repeatability.
func TestPooledPose(t *testing.T) {
	rng := rand.New(rand.NewPCG(12, 12))
	p, err := EvaluatePoses(noisy(rng, 9, 30, .5, 1, .04, 0), Options{Replicas: 300})
	if err != nil {
		t.Fatal(err)
	}
	if len(p.Poses) != 18 {
		t.Fatalf("%d poses", len(p.Poses))
	}
	ref.Near(t, "pooled", p.Pooled.Value, .12, .01, "3·0.04")
	if !(p.Worst.Value > p.Pooled.Value) {
		t.Errorf("worst %g, pooled %g", p.Worst.Value, p.Pooled.Value)
	}
}

func TestStairRemarks(t *testing.T) {
	for travel, want := range map[float64]int{60: 3, 90: 3, 120: 5, 180: 5, 300: 8} {
		if got := TargetsAsked(travel); got != want {
			t.Errorf("%g deg: %d targets, want %d", travel, got, want)
		}
	}
	rng := rand.New(rand.NewPCG(14, 14))
	whole, err := Evaluate(noisy(rng, 5, 5, .5, 0, .01, 0), Options{Replicas: 10})
	if err != nil || len(whole.Remarks) != 0 {
		t.Errorf("five targets over 120 deg in five cycles: %v, %v", whole.Remarks, err)
	}
	poor, err := Evaluate(noisy(rng, 4, 4, .5, 0, .01, 0)[1:], Options{Replicas: 10})
	if err != nil || len(poor.Remarks) != 3 {
		t.Errorf("four targets, four cycles, one stop missing: %q, %v", poor.Remarks, err)
	}
}

func TestOvershot(t *testing.T) {
	const q = .1
	in := []float64{9, 9.5, 9.9, 10.1, 10.3, 10.35, 10.1, 10, 10}
	for _, row := range []struct {
		name  string
		angle []float64
		dir   int
		want  bool
	}{
		{"beyond from below", in, 1, true},
		{"beyond from above", []float64{11, 10.3, 9.8, 9.6, 9.7, 10, 10}, -1, true},
		{"straight in from above", []float64{11, 10.5, 10.2, 10, 10, 10}, -1, false},
		{"one wild reading", []float64{9, 9.9, 11, 10, 10, 10}, 1, false},
		{"within two quanta", []float64{9, 9.9, 10.1, 10.2, 10.15, 10, 10}, 1, false},
	} {
		if got := Overshot(row.angle, row.dir, 10, q); got != row.want {
			t.Errorf("%s: %v", row.name, got)
		}
	}
}
