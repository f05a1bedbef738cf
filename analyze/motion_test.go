package analyze_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"limbgauge/analyze/health"
	"limbgauge/rig"
)

// hunted is a run with a long rest in which the joint swings, the current pulses both ways, and the
// supply gives by ohm times the current.
func hunted(deg, hz, ohm float64) (*rig.Series, rig.Joint) {
	s, j := held(0, 0, true)
	return with(s, func(o *rig.Series) {
		for i, t := range o.Time {
			w := math.Sin(2 * math.Pi * hz * t)
			o.Angle[i] += deg * w
			o.Current[i] += .8 * deg * math.Abs(w)
			o.Supply[i] = 6 - ohm*o.Current[i] + .003*math.Mod(float64(i)*.618, 1)
		}
	}), j
}

// Hunting is told, its current pulses at twice the frequency, and a supply that swings along is no
// proof; one that stays still is one that it is not to blame.
func TestHuntingAndSupply(t *testing.T) {
	for _, c := range []struct {
		name   string
		ohm    float64
		change func(o *rig.Series)
		says   string
		supply bool // could also be the supply
	}{
		{"soft supply", .3, nil, "the supply swings by", true},
		{"stiff supply", .01, nil, "the supply stays still", false},
		{"supply not measured", .3, func(o *rig.Series) { o.Supply = nil }, "long rests", true},
	} {
		s, j := hunted(.8, 6, c.ohm)
		if c.change != nil {
			s = with(s, c.change)
		}
		h := run(t, s, j)
		i := slices.IndexFunc(h.Findings, func(f health.Finding) bool { return f.Cause == health.Hunting })
		if i < 0 {
			t.Errorf("%s: findings %v", c.name, causes(h))
			continue
		}
		f := h.Findings[i]
		text := strings.Join(f.Evidence, "|")
		if !strings.Contains(text, c.says) || !strings.Contains(text, "pulses by") || !strings.Contains(text, "12.0 Hz") {
			t.Errorf("%s: evidence %q", c.name, f.Evidence)
		}
		if slices.Contains(f.CouldAlsoBe, string(health.SupplySag)) != c.supply {
			t.Errorf("%s: could also be %v", c.name, f.CouldAlsoBe)
		}
		if m, _ := h.Find("natural_frequency", health.NoPath); m.Status == health.Measured {
			t.Errorf("%s: hunting has a natural frequency of %g Hz", c.name, m.Value)
		}
	}
	s, j := held(0, 0, true)
	for _, f := range run(t, s, j).Findings {
		if f.Cause == health.Hunting {
			t.Errorf("a joint at rest hunts: %q", f.Evidence)
		}
	}
}
