package trend_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"limbgauge/analyze"
	"limbgauge/analyze/alike"
	"limbgauge/analyze/health"
	"limbgauge/analyze/stats"
	"limbgauge/analyze/trend"
	"limbgauge/rig"
	"limbgauge/rig/virtual"
)

// life is what becomes of a joint over its runs.
type life struct {
	name string
	runs int
	// age sets what is true of the joint in run n, from 0; at is a run drawn for the sequence.
	age func(w *virtual.Truth, j rig.Joint, n, at int)
	// truth is the figure that passes the limit in the end.
	measure string
	limit   float64
	more    bool
	sudden  bool // nothing happens before run number at
	lead    int  // runs ahead that a warning must come
	// short is how many runs are played in a usual go test, 0 for none, and by the run by which they warn.
	short, by int
}

// knee is that of the example bench with a load that shows belt tensions up to about 47 N.
func knee(t testing.TB) rig.Joint {
	t.Helper()
	b, err := rig.ParseBench("bench.toml", []byte(rig.ExampleBench()))
	if err != nil {
		t.Fatal(err)
	}
	j, ok := b.JointByName("knee")
	if !ok {
		t.Fatal("the example bench has no knee")
	}
	load := *j.Load
	load.MassKg, load.LeverM, load.InertiaKgM2 = 0.55, 0.13, 0.0102
	j.Load = &load
	return j
}

// tension sets a belt's tension; what goes below nothing is a dead zone, both spans giving way.
func tension(w *virtual.Truth, j rig.Joint, n float64) {
	w.Belt.TensionN, w.Belt.SlackDeg = n, 0
	if n < 0 {
		w.Belt.TensionN = 0
		w.Belt.SlackDeg = 2 * -n / w.Belt.SpanNPerM / j.Belt.JointRadiusM() * 180 / math.Pi
	}
}

func lives() []life {
	return []life{
		{name: "healthy", runs: 20, short: 8, age: func(*virtual.Truth, rig.Joint, int, int) {}},
		{name: "loosens 3 N per run", runs: 28, short: 9, by: 9, measure: "play", limit: 0.5, lead: 2,
			age: func(w *virtual.Truth, j rig.Joint, n, _ int) { tension(w, j, 60-3*float64(n)) }},
		{name: "loosens 5 % of the rest", runs: 20, measure: "belt_tension", limit: 25, more: true, lead: 2,
			age: func(w *virtual.Truth, j rig.Joint, n, _ int) { tension(w, j, 60*math.Pow(0.95, float64(n))) }},
		{name: "slips in its clamp", runs: 20, measure: "belt_tension", limit: 25, more: true, sudden: true, lead: 2,
			age: func(w *virtual.Truth, j rig.Joint, n, at int) {
				if n >= at {
					tension(w, j, 36-3*float64(n-at))
				}
			}},
		{name: "part creeps", runs: 20, measure: "creep", limit: 0.5, lead: 2,
			age: func(w *virtual.Truth, _ rig.Joint, n, _ int) { w.Part.CreepDegPerNm += 0.06 * float64(n) }},
	}
}

// lived is one sequence as the analysis saw it.
type lived struct {
	series []trend.Series
	truth  []float64 // of the measure that passes its limit
	at     int
}

// live plays a life: the same joint, run by run, as a bench sees it. Between runs the supply, the room, the
// load's seat, the friction and the sensor's seat differ a little; noise always does.
func live(t testing.TB, l life, j rig.Joint, seed uint64) lived {
	t.Helper()
	routine, err := rig.BuiltinRoutine("assembly", j)
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(seed, 0x6c697665))
	real := virtual.Healthy(j, seed+1)
	real.Belt.LossPerDecadeN, real.Belt.LossNPerDeg = 0, 0 // the life says what becomes of the belt
	real.Belt.SkipBaseN, real.Belt.SkipPerN = 0, 0
	out := lived{at: 8 + rng.IntN(5)}
	past := analyze.Past{Routine: routine.Name}
	place := map[string]int{}
	start := time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)
	cycles := 0.0
	for n := range l.runs {
		w, err := virtual.WithFault(real, "high_friction", real.Bearing.CoulombNm*(1+0.05*rng.NormFloat64()))
		if err != nil {
			t.Fatal(err)
		}
		w.Seed = rng.Uint64()
		w.Supply.OpenV *= 1 + 0.005*rng.NormFloat64()
		ambient := 21 + 1.5*rng.NormFloat64()
		w.Servo.AmbientC = ambient
		w.Load.LeverM *= 1 + 0.003*rng.NormFloat64()
		w.Load.DownDeg += 0.2 * rng.NormFloat64()
		w.Sensors.Joint.ZeroDeg = 0.2 * rng.NormFloat64()
		w.Sensors.Joint.Wave1Deg *= 1 + 0.1*rng.NormFloat64()
		w.Sensors.Joint.Phase1Deg += 5 * rng.NormFloat64()
		l.age(&w, j, n, out.at)
		b, err := virtual.Play(virtual.NewWorld([]virtual.Truth{w}), []rig.Joint{j}, []rig.Routine{routine}, 250)
		if err != nil {
			t.Fatal(err)
		}
		s := rig.SeriesOf(j.Name, b[0])
		s.SampleHz = 250
		h, err := analyze.RunAfter(s, j, past)
		if err != nil {
			t.Fatal(err)
		}
		id := fmt.Sprintf("%04d", n+1)
		good := whole(h)
		if good && len(past.Usual) < 5 {
			past.Usual = append(past.Usual, analyze.PastRun{Run: id, Measures: h.Measures})
		}
		cycles += 90 + 40*rng.Float64()
		at := &alike.Conditions{Leg: "fore-left", Routine: routine.Name, Setup: j, SampleHz: 250, SupplyV: w.Supply.OpenV, AmbientC: ambient}
		for _, m := range h.Measures {
			key := m.Name + "/" + string(m.Path)
			i, ok := place[key]
			if !ok {
				i = len(out.series)
				place[key] = i
				out.series = append(out.series, trend.Series{Name: m.Name, Path: m.Path})
			}
			out.series[i].Points = append(out.series[i].Points, trend.Point{Run: id, Started: start.AddDate(0, 0, 7*n), Cycles: cycles, Measure: m, At: at, Good: good})
		}
		out.truth = append(out.truth, truthOf(l.measure, w, h))
	}
	return out
}

// truthOf is what is true of the joint in a run; what its creep is in this routine only the run itself
// says.
func truthOf(measure string, w virtual.Truth, h health.Joint) float64 {
	switch measure {
	case "belt_tension":
		return w.Belt.TensionN
	case "play":
		return w.Part.PlayDeg + w.Belt.SlackDeg
	case "creep":
		m, _ := h.Find(measure, health.Transmission)
		return math.Abs(m.Value)
	}
	return math.NaN()
}

// whole says of an answer what the book says of a good run: no fault, no warning, no limit missed.
func whole(h health.Joint) bool {
	for _, f := range h.Findings {
		if f.Severity == health.SeverityFault || f.Severity == health.SeverityWarning {
			return false
		}
	}
	for _, m := range h.Measures {
		if m.Verdict == health.Fail {
			return false
		}
	}
	return true
}

const sequencesVar = "LIMBGAUGE_SEQUENCES"

// lead is what a sequence came to: run numbers from 1, 0 for never.
type lead struct{ warned, limit int }

// leadOf finds the first warning of any measure, and the run in which the truth passed its limit.
func leadOf(l life, s lived) (out lead, by string) {
	for _, t := range trend.Joint(s.series, nil, trend.Options{}) {
		st, _ := t.Newest()
		w := st.Warning
		if w == nil || w.Level != trend.LevelWarning {
			continue
		}
		if n, err := strconv.Atoi(w.First); err == nil && (out.warned == 0 || n < out.warned) {
			out.warned, by = n, st.Saying
		}
	}
	for n, v := range s.truth {
		if l.limit > 0 && (v > l.limit) != l.more {
			out.limit = n + 1
			break
		}
	}
	return out, by
}

// TestSequences plays lives of a joint on the virtual stand and counts how many runs before the truth
// passes its limit a warning came, and how many came for nothing. Plant and analysis share their makers:
// this proves the chain from samples to warnings, not the physics. LIMBGAUGE_SEQUENCES=20 plays twenty
// sequences of each life, which takes a quarter of an hour.
func TestSequences(t *testing.T) {
	n, short := 1, true
	if v := os.Getenv(sequencesVar); v != "" {
		var err error
		if n, err = strconv.Atoi(v); err != nil || n < 1 {
			t.Fatalf("%s is %q, want a number of sequences", sequencesVar, v)
		}
		short = false
	}
	j := knee(t)
	table := fmt.Sprintf("%-26s %9s %6s %28s %6s\n", "life", "sequences", "warned", "runs ahead, least/median/most", "false")
	for _, l := range lives() {
		if short {
			l.runs = l.short
		}
		warned, early := 0, 0
		var ahead []float64
		for k := range min(n, 1000*l.runs) { // none of no runs
			s := live(t, l, j, uint64(k))
			d, by := leadOf(l, s)
			begin := s.at + 1 // run in which what happens at once has happened
			if !l.sudden {
				begin = 2
			}
			switch {
			case d.warned == 0:
			case l.limit == 0 || d.warned < begin:
				early++
				t.Logf("%s %d: run %d: %s", l.name, k, d.warned, by)
			default:
				warned++
				if d.limit > 0 {
					ahead = append(ahead, float64(d.limit-d.warned))
				}
			}
			if short && l.by > 0 && (d.warned == 0 || d.warned > l.by) {
				t.Errorf("%s: warned at run %d, want run %d or before", l.name, d.warned, l.by)
			}
			if !short && l.limit > 0 && (d.warned == 0 || d.limit > 0 && d.limit-d.warned < l.lead) {
				t.Errorf("%s, sequence %d: warned at run %d, the limit passed at run %d, want %d runs ahead (%s)", l.name, k, d.warned, d.limit, l.lead, by)
			}
		}
		lead := "-"
		if len(ahead) > 0 {
			a := stats.Sorted(ahead)
			lead = fmt.Sprintf("%g/%g/%g", a[0], stats.Quantile(0.5, a), a[len(a)-1])
		}
		table += fmt.Sprintf("%-26s %9d %6d %28s %6d\n", l.name, n, warned, lead, early)
		if most := max(1, n/10); l.limit == 0 && early > most { // 3 % are promised; more than two of twenty come by chance in 2 %
			t.Errorf("%s: %d of %d sequences warn, want at most %d", l.name, early, n, most)
		}
	}
	t.Log("\n" + table)
}
