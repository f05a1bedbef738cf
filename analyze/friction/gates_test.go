package friction

import (
	"math"
	"math/rand/v2"
	"testing"

	"limbgauge/analyze/internal/ref"
	"limbgauge/analyze/stats"
)

// twoSpeeds passes to and fro at 1 rad/s and at `fast`, with friction 0.05 + 0.004·v and a load.
func twoSpeeds(fast float64) Motion {
	m := Motion{Thin: 1}
	for i := range 400 {
		v := []float64{1, -1, fast, -fast}[i/100]
		a := -.9 + 1.8*float64(i%100)/99
		m.Angle, m.Speed, m.Acc = append(m.Angle, a), append(m.Speed, v), append(m.Acc, 0)
		m.Torque = append(m.Torque, .27*math.Sin(a)+.05*stats.Sign(v)+.004*v)
	}
	return m
}

// Without noise any two speeds part dry from viscous friction; a fifth apart they are refused all the
// same, since real friction is no straight line over so short a stretch.
func TestSpeedsMustDiffer(t *testing.T) {
	model := Model{Terms: []Term{Coulomb, Viscous, GravitySin}}
	for _, c := range []struct {
		fast float64
		seen bool
	}{{1.2, false}, {1.5, true}, {3, true}} {
		p, err := FitModel(twoSpeeds(c.fast), model)
		if err != nil {
			t.Fatal(err)
		}
		if e := p.Of[Viscous]; e.Seen() != c.seen || p.Of[Coulomb].Seen() != c.seen {
			t.Errorf("speeds 1 and %g: viscous %+v, seen %v wanted", c.fast, e, c.seen)
		}
		if !p.Of[GravitySin].Seen() {
			t.Errorf("speeds 1 and %g: the load does not need two speeds", c.fast)
		}
	}
}

// A tight spot over a sixth of the travel does not move the level of the rest of the joint.
func TestLevelIsAwayFromTightSpots(t *testing.T) {
	p := profile(t, ramps(5, 0, 0, rand.New(rand.NewPCG(7, 7)), bump(10, .3, 8)))
	ref.Near(t, "level", p.Level.Value, .05, .002, "as made, the bump aside")
}
