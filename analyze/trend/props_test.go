package trend_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"limbgauge/analyze/health"
	"limbgauge/analyze/trend"
)

// The order of runs is theirs; a value shifted or scaled shifts and scales what comes of it, and the
// warnings are the same.
func TestShiftAndScale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(6, 24).Draw(t, "n")
		fall := rapid.Float64Range(0, 2).Draw(t, "fall")
		from := rapid.IntRange(0, n).Draw(t, "from")
		k := rapid.SampledFrom([]float64{.5, 2, 4, 8}).Draw(t, "k") // exact in binary
		shift := rapid.SampledFrom([]float64{0, 16, 256}).Draw(t, "shift")
		a, b := make([]float64, n), make([]float64, n)
		for i := range a {
			a[i] = math.Round(64*(200-fall*float64(max(0, i-from))+rapid.Float64Range(-1, 1).Draw(t, "v"))) / 64
			b[i] = k*a[i] + shift
		}
		x, _ := trend.Joint([]trend.Series{values("belt_tension", 100, 1, a...)}, nil, trend.Options{})[0].Newest()
		y, _ := trend.Joint([]trend.Series{values("belt_tension", k*100+shift, k, b...)}, nil, trend.Options{})[0].Newest()
		near := func(what string, got, want float64) {
			if math.Abs(got-want) > 1e-6*(1+math.Abs(want)) && !(math.IsNaN(got) && math.IsNaN(want)) {
				t.Fatalf("%s %g, want %g", what, got, want)
			}
		}
		near("slope", y.Course.Slope.Slope, k*x.Course.Slope.Slope)
		near("p", y.Course.P, x.Course.P)
		if x.Baseline.Seen() {
			near("centre", y.Baseline.Centre, k*x.Baseline.Centre+shift)
			near("sigma", y.Baseline.Sigma, k*x.Baseline.Sigma)
		}
		if (x.Warning == nil) != (y.Warning == nil) || x.Course.Shape != y.Course.Shape {
			t.Fatalf("%+v %s, scaled %+v %s", x.Warning, x.Course.Shape, y.Warning, y.Course.Shape)
		}
		if x.Warning != nil && (x.Warning.First != y.Warning.First || x.Warning.Better != y.Warning.Better || x.Warning.Level != y.Warning.Level) {
			t.Fatalf("%+v, scaled %+v", x.Warning, y.Warning)
		}
		if x.Forecast.Said() {
			near("runs", y.Forecast.Runs.Value, x.Forecast.Runs.Value)
		}
	})
}

// A service anywhere cuts the runs in two, each looked at by itself; one run more never changes what
// earlier runs had raised.
func TestPropertiesOfRuns(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(4, 24).Draw(t, "n")
		s := trend.Series{Name: "belt_tension", Path: health.Transmission}
		for i := range n {
			v := rapid.Float64Range(20, 60).Draw(t, "v")
			m := health.Of("belt_tension", health.Transmission, v, 1, "")
			switch rapid.IntRange(0, 6).Draw(t, "kind") {
			case 0:
				m = health.Unseen("belt_tension", health.Transmission, "", "so")
			case 1, 2:
				m = health.Bound("belt_tension", health.Transmission, health.BoundLow, v, nan, "", "")
			}
			s.Points = append(s.Points, run(i, limited(m, 25)))
		}
		at := rapid.IntRange(1, n-1).Draw(t, "service before")
		tr := trend.Joint([]trend.Series{s}, []trend.Break{{At: s.Points[at].Started, What: "belt re-tensioned"}}, trend.Options{})[0]
		if len(tr.Stretches) != 2 || len(tr.Stretches[0].Rows) != at || len(tr.Stretches[1].Rows) != n-at {
			t.Fatalf("%d stretches", len(tr.Stretches))
		}
		head := trend.Series{Name: s.Name, Path: s.Path, Points: s.Points[:at]}
		alone, _ := trend.Joint([]trend.Series{head}, nil, trend.Options{})[0].Newest()
		if alone.Saying != tr.Stretches[0].Saying {
			t.Fatalf("%q, cut off %q", tr.Stretches[0].Saying, alone.Saying)
		}
		whole, _ := trend.Joint([]trend.Series{s}, nil, trend.Options{})[0].Newest()
		if w := alone.Warning; w != nil && w.Level == trend.LevelWarning {
			if v := whole.Warning; v == nil || v.First != w.First || v.Level != w.Level {
				t.Fatalf("raised %+v, with more runs %+v", w, whole.Warning)
			}
		}
		for _, r := range whole.Rows {
			if r.Base && !r.Used {
				t.Fatal("a run that counts for nothing is in the baseline")
			}
		}
		if whole.Readings+whole.Bounds+whole.Unseen+whole.Left != len(whole.Rows) {
			t.Fatalf("%d rows: %d + %d + %d + %d", len(whole.Rows), whole.Readings, whole.Bounds, whole.Unseen, whole.Left)
		}
	})
}

// Runs that read the same may change places: nothing but their names moves.
func TestEqualRunsChangePlaces(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(5, 20).Draw(t, "n")
		v := make([]float64, n)
		for i := range v {
			v[i] = float64(rapid.IntRange(30, 34).Draw(t, "v"))
		}
		s := values("belt_tension", 25, 1, v...)
		a, b := rapid.IntRange(0, n-1).Draw(t, "a"), rapid.IntRange(0, n-1).Draw(t, "b")
		if v[a] != v[b] {
			return
		}
		x, _ := trend.Joint([]trend.Series{s}, nil, trend.Options{})[0].Newest()
		s.Points[a].Measure, s.Points[b].Measure = s.Points[b].Measure, s.Points[a].Measure
		y, _ := trend.Joint([]trend.Series{s}, nil, trend.Options{})[0].Newest()
		if x.Saying != y.Saying || x.Course.Slope != y.Course.Slope && !math.IsNaN(x.Course.Slope.Slope+x.Course.Slope.Lo) {
			t.Fatalf("%q %+v, changed %q %+v", x.Saying, x.Course.Slope, y.Saying, y.Course.Slope)
		}
	})
}
