package play

import (
	"math"
	"math/rand/v2"
	"testing"
)

// What a search asks of many choices at once is what a fit of each would say, to the last bit: which
// choice is best must not hang on how it was summed.
func TestDesignSaysWhatSolveSays(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, 4))
	points := make([]Point, 400)
	for i := range points {
		load := 0.3 * math.Sin(float64(i)/9)
		dir := 1 - 2*(i%2)
		points[i] = Point{Load: load, Dir: dir, Angle: 60 * math.Sin(float64(i)/9), Group: i / 40, Static: i%5 == 0,
			Defl: 0.1 + 2*(load-0.02*float64(dir)) + 0.2*math.Copysign(1, load) + 0.05*rnd.NormFloat64()}
	}
	oneSided := points[:14]
	knees := []float64{math.NaN(), 0.02, 0.1, 0.25, 0.4}
	for name, o := range map[string]Options{
		"friction":     {Friction: true, Wave: true},
		"knee":         {Friction: true, Wave: true, Knee: true},
		"opens":        {Friction: true, Knee: true, opens: true},
		"shut":         {Friction: true, shut: true},
		"gap":          {Wave: true},
		"bend":         {Friction: true, Wave: true, bend: 0.3, opens: true},
		"gap and bend": {Wave: true, bend: 0.3},
	} {
		o.Lowest = 0.05
		o.FrictionMax = math.Inf(1)
		for _, use := range [][]Point{points, oneSided} {
			d := newDesign(use, 0.3, o)
			for _, f := range []float64{0, 0.02, 0.2} {
				d.friction(f)
				for _, m := range knees {
					if math.IsNaN(m) && o.bend != 0 {
						continue
					}
					d.kneeAt(m)
					rss, ok := d.rss(m, o.shut)
					s := solve(build(use, 0.3, f, o), f, m, o)
					if ok != (s != nil) || ok && rss != s.rss {
						t.Errorf("%s, %d points, friction %g, knee %g: %v %t, solve says %+v", name, len(use), f, m, rss, ok, s)
					}
				}
			}
		}
	}
}
