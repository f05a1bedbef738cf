package trend_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"limbgauge/analyze/health"
	"limbgauge/analyze/trend"
)

// Belts that lose tension evenly, read with scatter and one error common to all runs of a bench, some seen
// only from one side at first: the interval of runs to the limit must hold the true number in nine of ten
// at least, and not be wide for it.
func TestForecastsHoldTheTruth(t *testing.T) {
	for _, c := range []struct {
		name   string
		seen   float64 // the greatest tension that shows
		common float64 // standard deviation of the error common to all runs
	}{{"all seen", 100, 0}, {"a common error", 100, 1}, {"bounds first", 48, 1}} {
		rng := rand.New(rand.NewPCG(21, 0x666f7265))
		said, held := 0, 0
		var width []float64
		const limit, scatter = 25, 0.6
		for range 1000 {
			slope := 1 + 2*rng.Float64()
			runs := 8 + rng.IntN(8)
			from := limit + slope*(float64(runs)+2+6*rng.Float64())
			off := c.common * rng.NormFloat64()
			s := trend.Series{Name: "belt_tension", Path: health.Transmission}
			for n := range runs {
				v := from - slope*float64(n)
				u := math.Hypot(scatter, c.common)
				m := health.Of(s.Name, s.Path, v+off+scatter*rng.NormFloat64(), 2*u, "")
				if v > c.seen {
					m = health.Bound(s.Name, s.Path, health.BoundLow, c.seen, nan, "", "")
				}
				s.Points = append(s.Points, run(n, limited(m, limit)))
			}
			f := newest(t, s).Forecast
			if !f.Said() {
				continue
			}
			said++
			truth := (from-limit)/slope - float64(runs-1)
			if f.Runs.Lo <= truth && truth <= f.Runs.Hi {
				held++
			}
			width = append(width, math.Min(f.Runs.Hi, 100)-f.Runs.Lo)
		}
		mean := 0.0
		for _, w := range width {
			mean += w / float64(len(width))
		}
		share := float64(held) / float64(said)
		t.Logf("%s: %d of 1000 said, %.1f %% hold the truth, %.1f runs wide in the mean", c.name, said, 100*share, mean)
		if said < 600 || share < 0.9 || mean > 8 {
			t.Errorf("%s: %d said, %.1f %% hold the truth, %.1f runs wide; want 600, 90 %%, 8", c.name, said, 100*share, mean)
		}
	}
}
