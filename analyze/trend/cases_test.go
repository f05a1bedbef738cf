package trend_test

import (
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"limbgauge/analyze/health"
	"limbgauge/analyze/trend"
)

// A belt at 60 N that loses 5 % of that with each run, on a bench that sees up to 50 N: the first runs
// only say at least. The warning must come two runs or more before play can open.
func TestBoundsThenLoss(t *testing.T) {
	s := trend.Series{Name: "belt_tension", Path: health.Transmission}
	rng := rand.New(rand.NewPCG(2, 2))
	for n := range 12 {
		true := 60 - 3*float64(n)
		m := health.Of("belt_tension", health.Transmission, true+0.6*rng.NormFloat64(), 0.06*true, "")
		if true > 50 {
			m = health.Bound("belt_tension", health.Transmission, health.BoundLow, 50-rng.Float64(), nan, "", "")
		}
		s.Points = append(s.Points, run(n, limited(m, 25)))
	}
	// Run 4 could not see it at all.
	s.Points[3].Measure = limited(health.Unseen("belt_tension", health.Transmission, "", "the loop scattered too much"), 25)
	n := newest(t, s)
	if n.Bounds != 3 || n.Unseen != 1 || n.Readings != 8 || n.Left != 0 {
		t.Errorf("%d bounds, %d unseen, %d readings, %d left out", n.Bounds, n.Unseen, n.Readings, n.Left)
	}
	if b := n.Baseline; !b.Ceiling || !(b.Centre > 49 && b.Centre <= 50) {
		t.Errorf("baseline %+v, want at least 49 to 50", b)
	}
	w := n.Warning
	if w == nil || w.Level != trend.LevelWarning || !w.Stands || w.First > "0007" {
		t.Fatalf("%+v, want a warning by run 0007", w)
	}
	// It reaches 25 N at run 12.67; the newest is 12.
	if f := n.Forecast; !f.Said() || !(f.Runs.Lo <= 0.67 && 0.67 <= f.Runs.Hi) || f.Runs.Hi > 4 {
		t.Errorf("forecast %+v, want 0.67 runs", f)
	}
	if !(n.Course.Slope.Slope < -2.4 && n.Course.Slope.Slope > -3.6) {
		t.Errorf("slope %+v, want -3", n.Course.Slope)
	}
	if !strings.Contains(n.Saying, "belt tension falls") || !strings.Contains(n.Saying, "limit 25 N") {
		t.Error(n.Saying)
	}
}

// Where all runs give bounds of one kind nothing more is said than they say.
func TestOnlyBounds(t *testing.T) {
	s := trend.Series{Name: "belt_tension", Path: health.Transmission}
	for n := range 9 {
		s.Points = append(s.Points, run(n, limited(health.Bound("belt_tension", health.Transmission, health.BoundLow, 46.5-float64(n%3), nan, "", ""), 25)))
	}
	n := newest(t, s)
	if n.Warning != nil || n.Saying != "belt tension is steady as far as can be seen: at least 44.5 N in 9 runs" {
		t.Errorf("%q %+v", n.Saying, n.Warning)
	}
	// A belt without any tension shows no knee either: such a bound right after 6 N is not believed.
	s.Points = append(s.Points, run(9, limited(health.Of("belt_tension", health.Transmission, 6, 1, ""), 25)),
		run(10, limited(health.Bound("belt_tension", health.Transmission, health.BoundLow, 46, nan, "", ""), 25)))
	n = newest(t, s)
	if r := n.Rows[10]; r.Used || !strings.Contains(r.Why, "at least 46 N against 6 N") {
		t.Errorf("%v %q", r.Used, r.Why)
	}
	if w := n.Warning; w == nil || w.First != "0010" || !w.Stands || n.Forecast.Passed != "0010" {
		t.Errorf("%+v, passed %q", w, n.Forecast.Passed)
	}
}

// The same course is a loss where more is better, a gain where less is; and the other way round.
func TestDirections(t *testing.T) {
	down := []float64{40, 40.4, 39.7, 40.1, 39.9, 40.2, 38.6, 37.1, 35.4, 34.2, 32.4, 31.1}
	up := make([]float64, len(down))
	for i, v := range down {
		up[i] = 80 - v
	}
	for _, c := range []struct {
		name   string
		v      []float64
		limit  float64
		better bool
	}{{"belt_tension", down, 25, false}, {"friction", down, 55, true}, {"belt_tension", up, 25, true}, {"friction", up, 55, false}} {
		n := newest(t, values(c.name, c.limit, 0.6, c.v...))
		w := n.Warning
		if w == nil || w.Better != c.better || (w.Level == trend.LevelWarning) == c.better {
			t.Errorf("%s from %g to %g: %+v", c.name, c.v[0], c.v[len(c.v)-1], w)
			continue
		}
		if n.Course.Shape != trend.Bend || n.Rows[n.Course.From].Run < "0005" || n.Rows[n.Course.From].Run > "0007" {
			t.Errorf("%s: %s from run %s, want a bend at run 0006", c.name, n.Course.Shape, n.Rows[n.Course.From].Run)
		}
		if !c.better && !(n.Forecast.Runs.Lo < 4.6 && 4.6 < n.Forecast.Runs.Hi) { // 1.5 a run: 31.1 is 4.1 runs off, 31 by the line 4.0
			t.Logf("%s: forecast %+v", c.name, n.Forecast)
		}
	}
}

// Deviations with a sign get worse by their size, whichever way they go.
func TestSignedMeasures(t *testing.T) {
	for _, k := range []float64{1, -1} {
		v := []float64{.01, -.01, 0, .02, 0, .01, .05, .10, .14, .2, .26, .31}
		for i := range v {
			v[i] *= k
		}
		n := newest(t, values("creep", .5, .02, v...))
		if w := n.Warning; w == nil || w.Level != trend.LevelWarning || w.Better {
			t.Errorf("times %g: %+v", k, w)
		}
		if f := n.Forecast; !f.Said() || f.Runs.Hi > 12 {
			t.Errorf("times %g: %+v", k, f)
		}
	}
	// Towards zero is no loss.
	v := []float64{-.31, -.29, -.3, -.31, -.3, -.29, -.26, -.2, -.14, -.1, -.05, -.01}
	if w := newest(t, values("creep", .5, .02, v...)).Warning; w == nil || w.Level != trend.LevelNote {
		t.Errorf("%+v, want a note", w)
	}
}

// A service begins anew: what came before no longer warns, and its own runs are the baseline.
func TestServiceBeginsAnew(t *testing.T) {
	v := []float64{40, 40.3, 39.8, 40.1, 38, 36.2, 34, 31.8, 41, 40.8, 41.3, 40.9}
	s := values("belt_tension", 25, .6, v...)
	service := trend.Break{At: s.Points[8].Started.Add(-time.Hour), What: "belt re-tensioned"}
	tr := one(t, s, service)
	if len(tr.Stretches) != 2 {
		t.Fatalf("%d stretches", len(tr.Stretches))
	}
	a, b := tr.Stretches[0], tr.Stretches[1]
	if a.Warning == nil || a.Warning.Level != trend.LevelWarning || len(a.Rows) != 8 {
		t.Errorf("before: %+v", a.Warning)
	}
	if b.Warning != nil || b.Since != "belt re-tensioned" || len(b.Rows) != 4 || b.Rows[0].X != 1 || b.Rows[0].Run != "0009" {
		t.Errorf("after: %+v since %q, %d rows", b.Warning, b.Since, len(b.Rows))
	}
	if w := trend.Stand([]trend.Trend{tr}); len(w) != 0 {
		t.Errorf("a warning of the stretch before stands: %+v", w)
	}
	// Of the very time of a run: the run comes after it. Two between two runs are one break.
	if tr := one(t, s, trend.Break{At: s.Points[8].Started, What: "a"}, service); len(tr.Stretches) != 2 || tr.Stretches[1].Since != "belt re-tensioned, a" {
		t.Errorf("%d stretches", len(tr.Stretches))
	}
}

// Runs that do not compare are left out with the reason, those a law covers are corrected, others' routines
// are counted.
func TestConditions(t *testing.T) {
	s := values("friction", .06, .002, .02, .021, .0195, .0204, .0199, .0207, .05)
	for i := range s.Points {
		s.Points[i].At.AmbientC = 21
	}
	s.Points[6].At.AmbientC = 5 // cold grease, no worn bearing
	n := newest(t, s)
	if n.Warning != nil || n.Left != 1 || n.Rows[6].Used || !strings.Contains(n.Rows[6].Why, "not comparable because") {
		t.Errorf("%+v, %d left out: %q", n.Warning, n.Left, n.Rows[6].Why)
	}
	s.Points[6].At.AmbientC = 21
	if n = newest(t, s); n.Warning == nil {
		t.Error("the same figure at the same temperature is a warning")
	}
	s.Points[6].At.Routine = "quick"
	if n = newest(t, s); len(n.Others) != 1 || len(n.Rows) != 6 || n.Routine != "assembly" {
		t.Errorf("%d others, %d rows of %q", len(n.Others), len(n.Rows), n.Routine)
	}
	all := trend.Joint([]trend.Series{s}, nil, trend.Options{Routine: "quick"})
	if q, _ := all[0].Newest(); len(q.Rows) != 1 || len(q.Others) != 6 {
		t.Errorf("%d rows, %d others", len(q.Rows), len(q.Others))
	}
}

// A stretch is held to the routine with most runs that came to their end; of several to the one that the
// joint ran most before, not to the newest. What is left out is there by name.
func TestRoutineOfAStretch(t *testing.T) {
	with := func(routines ...string) trend.Series {
		s := values("friction", .06, .002, make([]float64, len(routines))...)
		for i, r := range routines {
			s.Points[i].Measure.Value = .02
			s.Points[i].At.Routine, s.Points[i].Broken = strings.TrimSuffix(r, "!"), strings.HasSuffix(r, "!")
		}
		return s
	}
	for _, c := range []struct {
		routines string
		from     int // the run before which the last stretch begins
		want     string
		others   string
	}{
		{"assembly assembly assembly check", 2, "assembly", "0004"}, // one check beside one assembly run
		{"assembly assembly check assembly", 2, "assembly", "0003"},
		{"assembly assembly assembly check check", 2, "check", "0003"}, // most in the stretch go first
		{"quick check", 0, "check", "0001"},                            // nothing else to go by: the newest
		{"assembly assembly assembly check! check!", 2, "assembly", "0004 0005"},
		{"assembly assembly quick!", 2, "quick", ""},
	} {
		s := with(strings.Fields(c.routines)...)
		n := newest(t, s, trend.Break{At: s.Points[c.from].Started, What: "assembly b3"})
		var others []string
		for _, p := range n.Others {
			others = append(others, p.Run)
		}
		if got := strings.Join(others, " "); n.Routine != c.want || got != c.others {
			t.Errorf("%s: held to %s without %q, want %s without %q", c.routines, n.Routine, got, c.want, c.others)
		}
	}
	// A run that was broken off is shown and is no run of the count.
	s := with("assembly", "assembly", "assembly!")
	s.Points[2].Measure = health.Unseen("friction", health.Transmission, "", "the run did not come to its end")
	if n := newest(t, s); n.Runs != 2 || len(n.Rows) != 3 {
		t.Errorf("%d runs in %d rows, want 2 in 3", n.Runs, len(n.Rows))
	}
}

// What cannot be said is said to be so.
func TestNotYet(t *testing.T) {
	n := newest(t, values("play", .5, .01, .1, .11))
	if n.Saying != "play (transmission) has 2 good runs for a baseline, which needs 3" || n.Forecast.Unsaid != "2 runs with a value, a slope needs 4" {
		t.Errorf("%q, %q", n.Saying, n.Forecast.Unsaid)
	}
	n = newest(t, values("play", .5, .01, .1, .11, .1, .105, .1, .11, .098, .104))
	if n.Warning != nil || n.Forecast.Unsaid != "the slope is not distinguishable from 0" {
		t.Errorf("%+v, %q", n.Warning, n.Forecast.Unsaid)
	}
	n = newest(t, values("play", nan, .01, .1, .11, .1, .2, .3, .4, .5, .6))
	if n.Forecast.Unsaid != "it has no limit" || n.Warning == nil || n.Warning.Level != trend.LevelNote {
		t.Errorf("%+v, %q", n.Warning, n.Forecast.Unsaid)
	}
	n = newest(t, values("play", .35, .01, .1, .11, .1, .2, .3, .4, .5, .6))
	if n.Forecast.Passed != "0006" || !strings.Contains(n.Saying, "past its limit 0.35 deg since run 0006") {
		t.Errorf("%+v: %s", n.Forecast, n.Saying)
	}
	all := trend.Joint([]trend.Series{{Name: "play"}}, nil, trend.Options{})
	if _, ok := all[0].Newest(); ok || len(trend.Stand(all)) != 0 {
		t.Error("a measure without runs says something")
	}
}

// A change that is sure but small is a note: a tenth of the way to the limit makes it a warning.
func TestSmallChangesAreNotes(t *testing.T) {
	v := []float64{.100, .101, .099, .100, .101, .100, .099, .100, .110, .111, .110, .109}
	n := newest(t, values("play", .5, .001, v...))
	if w := n.Warning; w == nil || w.Level != trend.LevelNote {
		t.Errorf("10 of 400 on the way: %+v", w)
	}
	n = newest(t, values("play", .15, .001, v...))
	if w := n.Warning; w == nil || w.Level != trend.LevelWarning || w.First != "0009" || n.Course.Shape != trend.Jump {
		t.Errorf("10 of 50 on the way: %+v", w)
	}
}

// One odd run raises a warning, and it no longer stands when the next ones lie where they lay.
func TestOddRun(t *testing.T) {
	v := []float64{.100, .101, .099, .100, .101, .100, .099, .100, .2}
	n := newest(t, values("play", .5, .002, v...))
	if w := n.Warning; w == nil || !w.Stands || w.First != "0009" {
		t.Fatalf("%+v", w)
	}
	n = newest(t, values("play", .5, .002, append(v, .1, .099, .101, .1, .1, .102, .1, .1)...))
	if w := n.Warning; w == nil || w.Stands || w.First != "0009" || !strings.Contains(w.Text, "in run 0009") {
		t.Errorf("%+v", w)
	}
}
