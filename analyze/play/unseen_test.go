package play

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// What a loop does not show is said, with the reason. The joint has 0.9 deg of play in every case.
func TestWhatCannotBeSeen(t *testing.T) {
	m := truth{play: 0.9, compliance: 2, friction: 0.01}
	side := func(points []Point, keep func(Point) bool) (out []Point) {
		for _, p := range points {
			if keep(p) {
				out = append(out, p)
			}
		}
		return out
	}
	stuck := m
	stuck.friction = 0.4
	for _, c := range []struct {
		name string
		make func(rng *rand.Rand) []Point
		o    Options
		want error
	}{
		{"load of one sign", func(rng *rand.Rand) []Point {
			return side(m.pendulum(0.3, 3, 0.02, rng), func(p Point) bool { return p.Load > 0.02 })
		}, Options{Friction: true, Knee: true}, ErrOneSided},
		{"load of the other sign", func(rng *rand.Rand) []Point {
			return side(m.pendulum(0.3, 3, 0.02, rng), func(p Point) bool { return p.Load < -0.02 })
		}, Options{Friction: true, Knee: true}, ErrOneSided},
		{"two readings beyond the dead centre", func(rng *rand.Rand) []Point {
			n := 0
			return side(m.pendulum(0.3, 3, 0.02, rng), func(p Point) bool {
				if p.Load < -0.02 {
					n++
					return n <= 2
				}
				return true
			})
		}, Options{}, ErrOneSided},
		{"one level a side", func(rng *rand.Rand) []Point { return m.weights([]float64{0.3}, 5, 0.02, rng) }, Options{}, ErrFewLevels},
		{"two levels a side", func(rng *rand.Rand) []Point { return m.weights([]float64{0.15, 0.3}, 5, 0.02, rng) }, Options{}, ErrFewLevels},
		{"two levels on one side only", func(rng *rand.Rand) []Point {
			return side(m.weights([]float64{0.1, 0.15, 0.2, 0.3}, 5, 0.02, rng), func(p Point) bool { return p.Load > 0 || p.Load < -0.18 })
		}, Options{}, ErrFewLevels},
		{"five readings", func(rng *rand.Rand) []Point { return m.weights([]float64{0.1, 0.2, 0.3}, 1, 0, rng)[:5] }, Options{}, ErrFewPoints},
		{"nothing", func(*rand.Rand) []Point { return nil }, Options{}, ErrFewPoints},
		{"no load at all", func(rng *rand.Rand) []Point { return m.pendulum(0, 3, 0.02, rng) }, Options{Friction: true, Knee: true}, ErrFewLevels},
		{"friction beyond the load", func(rng *rand.Rand) []Point { return stuck.pendulum(0.3, 3, 0.02, rng) }, Options{Friction: true}, ErrFriction},
		{"friction beyond the load and known", func(rng *rand.Rand) []Point { return stuck.pendulum(0.3, 3, 0.02, rng) }, Options{Friction: true, FrictionMax: 0.5}, ErrFriction},
	} {
		t.Run(c.name, func(t *testing.T) {
			for seed := range uint64(5) {
				l, err := Fit(c.make(rand.New(rand.NewPCG(seed, 3))), c.o)
				if !errors.Is(err, c.want) {
					t.Errorf("seed %d: err = %v, want %v (loop %+v)", seed, err, c.want, l)
				}
			}
		})
	}
}

// Where the play never opens the slope is still told.
func TestSlopeOfOneSide(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 3))
	var points []Point
	for _, p := range (truth{play: 0.9, compliance: 2, friction: 0.01}).pendulum(0.3, 3, 0.01, rng) {
		if p.Load > 0.03 {
			points = append(points, p)
		}
	}
	l, err := Fit(points, Options{Friction: true})
	if !errors.Is(err, ErrOneSided) {
		t.Fatalf("err = %v", err)
	}
	near(t, "compliance", l.Compliance.Value, 2, l.Compliance.U)
	near(t, "compliance", l.Compliance.Value, 2, 0.1)
	if l.Play.Value != 0 || l.BothSigns {
		t.Errorf("play %v, both signs %v on a load of one sign", l.Play, l.BothSigns)
	}
}

// A knee beyond the loads, or so near to the greatest that it is not to be trusted, is not named.
func TestKneeBeyondTheLoad(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 3))
	for _, knee := range []float64{0.262, 0.285, 0.31, 0.6} {
		m := truth{compliance: 2, knee: knee, extra: 2}
		l, err := Fit(m.pendulum(0.3, 3, 0.01, rng), Options{Friction: true, Knee: true})
		if err != nil {
			t.Fatal(err)
		}
		if !math.IsNaN(l.Knee) {
			t.Errorf("knee %.3f beyond the load of 0.3 N·m seen at %.3f", knee, l.Knee)
		}
	}
}

// A slope that grows by a tenth is a soft tooth, one that grows fivefold no span: neither is a knee.
func TestWhatIsNoKnee(t *testing.T) {
	rng := rand.New(rand.NewPCG(10, 3))
	for _, extra := range []float64{0.2, 8, -1} {
		m := truth{compliance: 2, knee: 0.12, extra: extra}
		l, err := Fit(m.pendulum(0.3, 3, 0.01, rng), Options{Friction: true, Knee: true})
		if err != nil {
			t.Fatal(err)
		}
		if !math.IsNaN(l.Knee) {
			t.Errorf("a slope of 2 that grows by %g is called a knee at %.3f", extra, l.Knee)
		}
	}
}

// Where no knee is seen, those torques alone are called free of one that surely are: a knee of twice
// or half as much again that hides in the noise lies outside, one that is not there leaves most of
// the range free.
func TestKneesThatHide(t *testing.T) {
	o := Options{Friction: true, Knee: true, Wave: true, Lowest: 0.025, SensorDeg: 0.05, FrictionMax: 0.05}
	for _, noise := range []float64{0.01, 0.03} {
		for _, compliance := range []float64{1, 2.5} {
			for _, extra := range []float64{0.5, 1} {
				for _, knee := range []float64{0.02, 0.05, 0.1, 0.24, 0.27, 9} {
					m := truth{compliance: compliance, knee: knee, extra: compliance * extra, friction: 0.01, play: 0.04}
					for seed := range uint64(3) {
						l, err := Fit(m.pendulum(0.3, 3, noise, rand.New(rand.NewPCG(seed, 4))), o)
						if err != nil {
							t.Fatal(err)
						}
						switch {
						case !math.IsNaN(l.Knee) && !math.IsNaN(l.KneeFrom):
							t.Errorf("a knee at %.3f and none from %.3f to %.3f", l.Knee, l.KneeFrom, l.KneeTo)
						case l.KneeFrom <= knee && knee <= l.KneeTo:
							t.Errorf("no knee from %.3f to %.3f N·m, but one of ×%.1f is at %.2f (%.1f deg/N·m, noise %.2f)",
								l.KneeFrom, l.KneeTo, 1+extra, knee, compliance, noise)
						case knee == 9 && compliance > 2 && noise < 0.02 && !(l.KneeFrom < 0.1 && l.KneeTo > 0.18):
							t.Errorf("a taut belt is free of a knee only from %.3f to %.3f N·m of 0.28 (noise %.2f)", l.KneeFrom, l.KneeTo, noise)
						}
					}
				}
			}
		}
	}
}

// Swapping what is called positive changes signs and nothing else; so does the order of readings.
// Stretching the torque scale stretches what is measured in torque.
func TestMirrorOrderAndScale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := func(lo, hi float64, name string) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
		m := truth{offset: f(-2, 2, "offset"), play: f(0, 1.5, "play"), compliance: f(0.5, 6, "compliance"),
			friction: f(0, 0.08, "friction"), knee: f(0, 0.3, "knee"), wave: f(0, 0.3, "wave")}
		m.extra = m.compliance * f(0.3, 1, "extra")
		o := Options{Friction: rapid.Bool().Draw(t, "shift"), Knee: true, Wave: true, SensorDeg: 0.05}
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		points := m.pendulum(0.3, 1, 0.02, rng)
		a, errA := Fit(points, o)

		mirror, shuffled, scaled := make([]Point, len(points)), make([]Point, len(points)), make([]Point, len(points))
		const scale = 4 // a power of two keeps the arithmetic exact
		for i, k := range rng.Perm(len(points)) {
			p := points[i]
			shuffled[k] = p
			p.Load *= scale
			scaled[i] = p
			p = points[i]
			p.Load, p.Defl, p.Angle, p.Dir = -p.Load, -p.Defl, -p.Angle, -p.Dir
			mirror[i] = p
		}
		same := func(what string, points []Point, torque, sign float64) {
			b, errB := Fit(points, o)
			if !errors.Is(errB, errA) {
				t.Fatalf("%s: %v and %v", what, errA, errB)
			}
			for _, q := range []struct {
				name string
				x, y float64
			}{
				{"offset", a.Offset, sign * b.Offset},
				{"play", a.Play.Value, b.Play.Value},
				{"U of play", a.Play.U, b.Play.U},
				{"compliance", a.Compliance.Value, torque * b.Compliance.Value},
				{"friction", a.Friction.Value, b.Friction.Value / torque},
				{"knee", a.Knee, b.Knee / torque},
				{"slope above", a.KneeSlope, torque * b.KneeSlope},
				{"no knee from", a.KneeFrom, b.KneeFrom / torque},
				{"no knee to", a.KneeTo, b.KneeTo / torque},
				{"residual", a.Resid, b.Resid},
			} {
				if math.IsNaN(q.x) && math.IsNaN(q.y) {
					continue
				}
				if !(math.Abs(q.x-q.y) <= 1e-6*(1+math.Abs(q.x))) {
					t.Fatalf("%s: %s %g and %g\n%+v\n%+v", what, q.name, q.x, q.y, a, b)
				}
			}
			if a.N != b.N || a.Levels != b.Levels {
				t.Fatalf("%s: %d points of %d levels and %d of %d", what, a.N, a.Levels, b.N, b.Levels)
			}
		}
		same("mirror", mirror, 1, -1)
		same("order", shuffled, 1, 1)
		same("scale of torque", scaled, scale, 1)
	})
}
