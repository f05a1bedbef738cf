package trend_test

import (
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"limbgauge/analyze/health"
	"limbgauge/analyze/trend"
)

// family is the watched measures of a joint with belt and motor-side angle, as the example bench limits them.
func family() (out []trend.Series) {
	for _, s := range []struct {
		name  string
		paths []health.Path
	}{
		{"reversal_error", []health.Path{health.Servo, health.Transmission, health.Total}},
		{"repeatability", []health.Path{health.Servo, health.Transmission, health.Total}},
		{"accuracy", []health.Path{health.Servo, health.Transmission, health.Total}},
		{"play", []health.Path{health.Servo, health.Transmission, health.Total}},
		{"compliance", []health.Path{health.Servo, health.Transmission, health.Total}},
		{"creep", []health.Path{health.Servo, health.Transmission, health.Total}},
		{"belt_tension", []health.Path{health.Transmission}},
		{"friction", []health.Path{health.Transmission, health.Total}},
		{"torque_use", []health.Path{health.NoPath}}, {"supply_sag", []health.Path{health.NoPath}},
		{"overshoot", []health.Path{health.NoPath}}, {"settle_time", []health.Path{health.NoPath}},
	} {
		for _, p := range s.paths {
			out = append(out, trend.Series{Name: s.name, Path: p})
		}
	}
	return out
}

// healthy fills a family with runs that scatter by 1 about 100 and state the standard uncertainty u. The
// limit lies so near that what matters is decided by the charts alone.
func healthy(rng *rand.Rand, series []trend.Series, runs int, u, near float64, noise func() float64) []trend.Series {
	for i := range series {
		d, _ := health.DefinitionOf(series[i].Name)
		limit := 100 + near
		if d.More {
			limit = 100 - near
		}
		series[i].Points = nil
		for n := range runs {
			m := health.Of(d.Name, series[i].Path, 100+noise(), 2*u, "")
			if d.More && near > 1 && m.Value > 100 { // a bench that sees just up to what is there
				m = health.Bound(d.Name, series[i].Path, health.BoundLow, 100, nan, "", "")
			}
			series[i].Points = append(series[i].Points, run(n, limited(m, limit)))
		}
	}
	return series
}

// Of healthy joints with 25 watched measures at most the promised share raises any warning within 20
// runs, whatever uncertainty the measures state, as long as runs scatter at most twice as much (against
// a bound, as much). LIMBGAUGE_SEQUENCES plays 2000 joints, and rows beyond the promise, which say what becomes of it there.
func TestFalseWarnings(t *testing.T) {
	joints, long := 300, os.Getenv(sequencesVar) != ""
	if long {
		joints = 2000
	}
	for _, c := range []struct {
		name  string
		u     float64
		near  float64
		heavy bool    // Student's law with five degrees of freedom
		most  float64 // share that warns
	}{
		{name: "no uncertainty stated", u: nan, most: trend.FalseRate},
		{name: "scatter half the uncertainty", u: 2, most: trend.FalseRate},
		{name: "scatter as the uncertainty", u: 1, most: trend.FalseRate},
		{name: "scatter twice the uncertainty", u: 0.5, most: trend.FalseRate},
		{name: "limit far, tension at the end of what is seen", u: 1, near: 20, most: trend.FalseRate},
		// Beyond the promise.
		{name: "scatter three times the uncertainty", u: 1.0 / 3, most: 0.12},
		{name: "heavy tails, scatter as the uncertainty", u: 1, heavy: true, most: 0.12},
	} {
		if c.most > trend.FalseRate && !long {
			continue
		}
		rng := rand.New(rand.NewPCG(7, 0x66616c7365))
		noise := rng.NormFloat64
		if c.heavy {
			noise = func() float64 {
				chi := 0.0
				for range 5 {
					v := rng.NormFloat64()
					chi += v * v
				}
				return rng.NormFloat64() / math.Sqrt(chi/5) / math.Sqrt(5.0/3)
			}
		}
		series, warned := family(), 0
		for range joints {
			for _, tr := range trend.Joint(healthy(rng, series, trend.Runs, c.u, c.near+1e-3, noise), nil, trend.Options{}) {
				if s, _ := tr.Newest(); s.Warning != nil && s.Warning.Level == trend.LevelWarning {
					warned++
					break
				}
			}
		}
		share := float64(warned) / float64(joints)
		t.Logf("%-50s %.2f %% of %d joints warn within %d runs", c.name, 100*share, joints, trend.Runs)
		if sd := math.Sqrt(c.most * (1 - c.most) / float64(joints)); share > c.most+3*sd {
			t.Errorf("%s: %.2f %%, want at most %.0f %%", c.name, 100*share, 100*c.most)
		}
	}
}
