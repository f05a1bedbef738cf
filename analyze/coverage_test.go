package analyze_test

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"limbgauge/analyze/health"
	"limbgauge/analyze/stats"
	"limbgauge/rig"
	"limbgauge/rig/virtual"
)

// trial is one run of the virtual stand with parameters drawn at random, as its builder describes
// the joint and as it really is.
type trial struct {
	joint  rig.Joint
	truth  virtual.Truth
	cause  health.Cause // what was put in, none when nothing was
	series *rig.Series
	twin   *rig.Series // the same motion read without noise, quantisation or form error
}

// draw makes trial number n. What the analysis takes on trust from a builder (mass, lever, dead
// band) is off by what the analysis allows for; the magnets sit off centre by what it allows for.
func draw(t testing.TB, n int) trial {
	t.Helper()
	rng := rand.New(rand.NewPCG(uint64(n), 0x636f766572))
	between := func(lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }
	oneOf := func(v ...float64) float64 { return v[rng.IntN(len(v))] }
	volts := between(5.5, 6.5)
	j := rig.Joint{Name: "knee", RangeDeg: [2]float64{-75, 75},
		Load: &rig.Load{MassKg: between(0.15, 0.7), LeverM: between(0.08, 0.14)},
		Servo: rig.Servo{Rated: []rig.Rating{{Volts: 6, StallNm: between(1.2, 2), NoLoadDegPerS: between(330, 430), StallA: between(2, 3)}},
			IdleA: between(0.1, 0.15), TravelDeg: 180, PulseUS: [2]int{500, 2500}, DeadbandUS: between(2, 5)},
		Sensors: rig.Sensors{JointCounts: 4096, MotorCounts: int(oneOf(0, 4096, 4096))}}
	j.Load.InertiaKgM2 = j.Load.MassKg * j.Load.LeverM * j.Load.LeverM * between(1, 1.3)
	if rng.Float64() < 0.75 {
		j.Belt = &rig.Belt{Teeth: int(oneOf(16, 18, 20, 22, 24)), PitchMM: 2, Ratio: oneOf(1, 1, 1.5)}
	}
	if rng.Float64() < 0.5 {
		j.Servo.CurrentLaw = rig.CurrentDuty
	}
	real := virtual.Healthy(j, uint64(n)+1)
	j.Servo.CurrentLaw = ""
	real.Supply.OpenV = volts
	real.Load.MassKg *= 1 + 0.01*rng.NormFloat64()
	real.Load.LeverM *= 1 + 0.01*rng.NormFloat64()
	real.Servo.DeadbandUS *= between(0.67, 1.33)
	for _, e := range []*virtual.Encoder{&real.Sensors.Joint, &real.Sensors.Motor} {
		e.Wave1Deg, e.Phase1Deg = 0.05*math.Abs(rng.NormFloat64()), between(-180, 180)
		e.Wave2Deg, e.Phase2Deg = 0.03*math.Abs(rng.NormFloat64()), between(-180, 180)
	}
	if real.Belt != nil {
		real.Belt.SkipBaseN, real.Belt.SkipPerN = 0, 0 // no tooth skips but those put in
	}
	cause := spoil(&real, rng, between)
	tr := trial{joint: j, truth: real, cause: cause, series: playback(t, j, real, oneOf(250, 250, 500))}
	clean := real
	clean.Sensors.Joint, clean.Sensors.Motor = virtual.Encoder{Counts: 3_600_000}, virtual.Encoder{Counts: 3_600_000}
	clean.Sensors.CurrentNoiseA, clean.Sensors.SupplyNoiseV, clean.Sensors.CurrentOffsetA = 0, 0, 0
	tr.twin = playback(t, j, clean, 1000)
	return tr
}

// spoil puts one fault into two trials of three.
func spoil(real *virtual.Truth, rng *rand.Rand, between func(lo, hi float64) float64) health.Cause {
	cause := health.None
	fault := func(name string, size float64) {
		if f, err := virtual.WithFault(*real, name, size); err == nil {
			*real, cause = f, health.Cause(name)
		}
	}
	switch rng.IntN(12) {
	case 0, 1:
		fault("belt_tension_low", between(3, 30))
	case 2:
		fault("belt_slack", between(0.3, 1.5))
	case 3:
		fault("servo_play", between(0.6, 2.5))
	case 4:
		fault("excess_compliance", between(4, 9))
	case 5:
		fault("creep", between(1, 4))
	case 6:
		fault("tight_spot", between(0.08, 0.25))
		real.Bearing.TightDeg = between(-45, 45)
	case 7:
		fault("high_friction", between(0.03, 0.15))
	case 8:
		if rng.IntN(2) == 0 {
			fault("tooth_skip", 1)
		} else {
			fault("horn_slip", between(1, 6))
		}
	}
	return cause
}

func playback(t testing.TB, j rig.Joint, real virtual.Truth, hz float64) *rig.Series {
	t.Helper()
	r, err := rig.BuiltinRoutine("assembly", j)
	if err != nil {
		t.Fatal(err)
	}
	b, err := virtual.Play(virtual.NewWorld([]virtual.Truth{real}), []rig.Joint{j}, []rig.Routine{r}, hz)
	if err != nil {
		t.Fatal(err)
	}
	s := rig.SeriesOf(j.Name, b[0])
	s.SampleHz = hz
	return s
}

// marks counts how often the intervals of one measure hold the truth.
type marks struct {
	covered, measured int // two-sided intervals
	held, bounds      int // one-sided bounds
	unseen            int
	halfWidth, miss   []float64
}

func (c *marks) add(m health.Measure, truth float64) {
	in := 0
	if holds(m, truth) {
		in = 1
	}
	switch m.Status {
	case health.NotObservable:
		c.unseen++
	case health.BoundLow, health.BoundHigh:
		c.bounds++
		c.held += in
	default:
		c.measured++
		c.covered += in
		c.halfWidth, c.miss = append(c.halfWidth, nz(m.Uncertainty)), append(c.miss, math.Abs(m.Value-truth))
	}
}

// holds reports whether what a measure says is true; what says nothing is not false.
func holds(m health.Measure, truth float64) bool {
	u := nz(m.Uncertainty)
	switch m.Status {
	case health.NotObservable:
		return true
	case health.BoundLow:
		return truth >= m.Value-u
	case health.BoundHigh:
		return truth <= m.Value+u
	}
	return math.Abs(m.Value-truth) <= u
}

const (
	// coverageRuns is how many trials the test draws unless coverageRunsVar says otherwise.
	coverageRuns    = 24
	coverageRunsVar = "LIMBGAUGE_COVERAGE_RUNS"
)

// TestCoverage holds the 95 % intervals against what was put into the virtual stand, in closed form
// or read off the same motion without sensors' errors. Plant and analysis share their makers, so
// this proves the intervals, not the physics.
func TestCoverage(t *testing.T) {
	n := coverageRuns
	if v := os.Getenv(coverageRunsVar); v != "" {
		var err error
		if n, err = strconv.Atoi(v); err != nil || n < 1 {
			t.Fatalf("%s is %q, want a number of runs", coverageRunsVar, v)
		}
	}
	type id struct {
		name string
		path health.Path
	}
	all := map[id]*marks{}
	for i := range n {
		tr := draw(t, i)
		h := run(t, tr.series, tr.joint)
		for _, w := range truths(t, tr) {
			m, ok := h.Find(w.name, w.path)
			if !ok {
				continue
			}
			m = w.compared(m)
			k := id{w.name, w.path}
			if all[k] == nil {
				all[k] = &marks{}
			}
			all[k].add(m, w.value)
			if os.Getenv(coverageRunsVar) != "" && !holds(m, w.value) {
				t.Logf("trial %d: %s (%s) %s %.4g ± %.2g, true %.4g", i, m.Name, m.Path, m.Status, m.Value, m.Uncertainty, w.value)
			}
		}
	}
	keys := slices.Collect(func(yield func(id) bool) {
		for k := range all {
			if !yield(k) {
				return
			}
		}
	})
	slices.SortFunc(keys, func(a, b id) int {
		return cmp.Or(strings.Compare(a.name, b.name), strings.Compare(string(a.path), string(b.path)))
	})
	var out strings.Builder
	fmt.Fprintf(&out, "%d runs\n%-22s %-13s %8s %9s %11s %11s %8s %8s\n", n, "measure", "path", "measured", "covered", "half width", "rms error", "bounds", "unseen")
	for _, k := range keys {
		c := all[k]
		bounds := "-"
		if c.bounds > 0 {
			bounds = fmt.Sprintf("%d/%d", c.held, c.bounds)
		}
		fmt.Fprintf(&out, "%-22s %-13s %8d %8.1f%% %11.4g %11.4g %8s %8d\n", k.name, k.path, c.measured,
			100*float64(c.covered)/float64(max(1, c.measured)), stats.Median(c.halfWidth), rms(c.miss), bounds, c.unseen)
		if low := atLeast(c.measured); c.covered < low {
			t.Errorf("%s (%s): %d of %d intervals hold the truth, want %d or more", k.name, k.path, c.covered, c.measured, low)
		}
		if low := atLeast(c.bounds); c.held < low {
			t.Errorf("%s (%s): %d of %d bounds hold, want %d or more", k.name, k.path, c.held, c.bounds, low)
		}
	}
	t.Log(out.String())
}

// atLeast is how many of n intervals must hold when at least nine in ten do in the long run: less
// happens by chance once in a thousand.
func atLeast(n int) int {
	p, k := 0.0, 0
	for ; k <= n; k++ {
		p += math.Exp(choose(n, k) + float64(k)*math.Log(0.9) + float64(n-k)*math.Log(0.1))
		if p > 1e-3 {
			break
		}
	}
	return k
}

func choose(n, k int) float64 {
	lg := func(x int) float64 { v, _ := math.Lgamma(float64(x) + 1); return v }
	return lg(n) - lg(k) - lg(n-k)
}

func rms(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v * v
	}
	return math.Sqrt(s / float64(len(x)))
}
