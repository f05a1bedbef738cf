package play

import (
	"math"
	"math/rand/v2"
	"testing"

	"limbgauge/analyze/internal/ref"
	"limbgauge/rig"
)

// truth is a joint made by the stated model; loops are generated from it, never by the fit's code.
type truth struct {
	offset, play, compliance, friction float64
	// knee is the torque at which one span goes slack, 0 for none; extra is what the slope grows by.
	knee, extra float64
	wave        float64 // deg, amplitude of cos(angle)
}

// at is the deflection under the torque that the stretch carries: dead zone, spring, slack span.
func (m truth) at(tau, angle float64) float64 {
	s := 1.0
	if tau < 0 {
		s = -1
	}
	w := m.offset + s*m.play/2 + m.compliance*tau + m.wave*math.Cos(angle*math.Pi/180)
	if over := math.Abs(tau) - m.knee; m.knee > 0 && over > 0 {
		w += s * m.extra * over
	}
	return w
}

// pendulum hangs a load of peak N·m on the joint and sweeps it cycles times from -70 to 70 deg and
// back in stretches of 2 deg; the torque is -peak·sin(angle). Noise of neighbouring stretches is
// shared by three, as the vibration of a ramp is.
func (m truth) pendulum(peak float64, cycles int, noise float64, rng *rand.Rand) []Point {
	var out []Point
	for c := range cycles {
		for _, dir := range []int{1, -1} {
			shared := 0.0
			for i := range 71 {
				if i%3 == 0 {
					shared = noise * rng.NormFloat64()
				}
				angle := float64(dir) * (-70 + 2*float64(i))
				load := -peak * math.Sin(angle*math.Pi/180)
				out = append(out, Point{Load: load, Angle: angle, Dir: dir, Group: c,
					Defl: m.at(load-float64(dir)*m.friction, angle) + shared})
			}
		}
	}
	return out
}

// weights hangs known weights on both sides of the standing joint: independent readings at rest.
func (m truth) weights(levels []float64, cycles int, noise float64, rng *rand.Rand) []Point {
	var out []Point
	for c := range cycles {
		for _, t := range levels {
			for _, s := range []float64{1, -1} {
				out = append(out, Point{Load: s * t, Dir: int(s), Group: c, Static: true,
					Defl: m.at(s*t, 0) + noise*rng.NormFloat64()})
			}
		}
	}
	return out
}

func near(t *testing.T, name string, got, want, tol float64) {
	t.Helper()
	ref.Near(t, name, got, want, tol, "closed form")
}

// Check 2d: the errors are orthogonal to the three columns, so the answer is exact.
// Source: linear least squares, t(5, 0.975) = 2.57058 (tables of Student's t).
func TestPlayAndItsInterval(t *testing.T) {
	load := []float64{-0.8, -0.6, -0.4, -0.2, 0.2, 0.4, 0.6, 0.8}
	err := []float64{0.01, -0.01, 0.01, -0.01, -0.01, 0.01, -0.01, 0.01}
	var points []Point
	for i, l := range load {
		points = append(points, Point{Load: l, Defl: 0.05 + math.Copysign(0.3, l) + 2*l + err[i], Static: true})
	}
	l, e := Fit(points, Options{})
	if e != nil {
		t.Fatal(e)
	}
	near(t, "offset", l.Offset, 0.05, 1e-9)
	near(t, "play", l.Play.Value, 0.6, 1e-9)
	near(t, "play low", l.Play.Value-l.Play.U, 0.5437, 1e-4)
	near(t, "play high", l.Play.Value+l.Play.U, 0.6563, 1e-4)
	near(t, "compliance", l.Compliance.Value, 2, 1e-9)
	near(t, "U of compliance", l.Compliance.U, 2.57058*0.02, 1e-5)
	near(t, "residual", l.Resid, 0.012649, 1e-6)
	if !math.IsNaN(l.Knee) || !l.BothSigns || l.Levels != 4 || l.N != 8 {
		t.Errorf("loop = %+v, want no knee, both signs, 4 levels, 8 points", l)
	}
}

// spans is a belt of two spans of stiffness k (N/m) and pretension t0 (N) on a pulley of radius r
// (m): the loose span cannot push. It returns the deflection in deg under a torque in N·m.
func spans(k, t0, r, torque float64) float64 {
	s, m := 1.0, math.Abs(torque)
	if torque < 0 {
		s = -1
	}
	x := m / (2 * k * r) // both spans taut: force difference 2·k·x
	if k*x > t0 {        // loose span at zero: t0 + k·x = m/r
		x = (m/r - t0) / k
	}
	return s * x / r * 180 / math.Pi
}

// Check 2e: a belt of known spans shows its knee and both slopes.
func TestKneeOfTwoSpans(t *testing.T) {
	b := rig.Belt{Teeth: 20, PitchMM: 2, Ratio: 1}
	const k, t0 = 50_000.0, 20.0
	r := b.JointRadiusM()
	near(t, "pitch radius in mm", r*1000, 6.3662, 1e-4)
	near(t, "w(0.20)", spans(k, t0, r, 0.20), 2.82743, 1e-5)
	near(t, "w(0.35)", spans(k, t0, r, 0.35), 6.2960, 1e-4)

	var points []Point
	for i := range 60 {
		load := 0.01 * float64(i+1)
		for _, s := range []float64{1, -1} {
			points = append(points, Point{Load: s * load, Defl: spans(k, t0, r, s*load), Static: true})
		}
	}
	l, err := Fit(points, Options{Knee: true})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "knee", l.Knee, 0.254648, 1e-3)
	near(t, "slope below", l.Compliance.Value, 14.1372, 0.02)
	near(t, "slope above", l.KneeSlope, 28.2743, 0.02)
	near(t, "pretension", l.Knee/(2*r), t0, 0.1)
	near(t, "play", l.Play.Value, 0, 0.01)
	near(t, "At(0.20)", l.At(0.20), 2.82743, 0.01)
	near(t, "At(-0.35)", l.At(-0.35), -6.2960, 0.01)
}

// Check 2f: compliance from the belt's own stiffness, at both pulleys.
func TestBeltStiffness(t *testing.T) {
	const ea, length = 12_000.0, 0.1
	for _, c := range []struct {
		belt rig.Belt
		deg  float64
	}{
		{rig.Belt{Teeth: 15, PitchMM: 3, Ratio: 1}, 4.6542},
		{rig.Belt{Teeth: 15, PitchMM: 3, Ratio: 2}, 1.16355},
	} {
		near(t, "motor pulley radius in mm", c.belt.RadiusM()*1000, 7.16197, 1e-5)
		var points []Point
		for i := range 10 {
			for _, s := range []float64{1, -1} {
				load := s * 0.05 * float64(i+1)
				points = append(points, Point{Load: load, Defl: spans(ea/length, 1e6, c.belt.JointRadiusM(), load), Static: true})
			}
		}
		l, err := Fit(points, Options{Knee: true})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "compliance", l.Compliance.Value, c.deg, 1e-4)
		near(t, "stiffness in N·m/rad", 180/math.Pi/l.Compliance.Value, map[float64]float64{1: 12.3105, 2: 49.242}[c.belt.Ratio], 1e-3)
		if !math.IsNaN(l.Knee) {
			t.Errorf("a belt that stays taut has a knee at %g", l.Knee)
		}
	}
}

// Exact loops, no noise: every parameter comes back.
func TestExactLoops(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for _, c := range []struct {
		name string
		m    truth
		o    Options
	}{
		{"spring", truth{offset: 0.2, compliance: 2.5}, Options{}},
		{"play", truth{offset: -0.1, compliance: 2, play: 0.7}, Options{}},
		{"friction", truth{compliance: 2, friction: 0.03}, Options{Friction: true}},
		{"play and friction", truth{offset: 0.3, compliance: 2, play: 0.5, friction: 0.04}, Options{Friction: true}},
		{"knee", truth{compliance: 2, knee: 0.11, extra: 1.2}, Options{Friction: true, Knee: true}},
		{"knee and friction", truth{compliance: 2, knee: 0.13, extra: 1, friction: 0.02}, Options{Friction: true, Knee: true}},
		{"off-centre sensor", truth{compliance: 2, play: 0.3, wave: 0.4}, Options{Wave: true}},
	} {
		t.Run(c.name, func(t *testing.T) {
			l, err := Fit(c.m.pendulum(0.3, 2, 0, rng), c.o)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "play", l.Play.Value, c.m.play, 0.01)
			near(t, "compliance", l.Compliance.Value, c.m.compliance, 0.02)
			if c.o.Friction {
				near(t, "friction", l.Friction.Value, c.m.friction, 0.001)
			} else if !math.IsNaN(l.Friction.Value) {
				t.Errorf("friction %g from a path that may not show it", l.Friction.Value)
			}
			if c.m.knee == 0 {
				if !math.IsNaN(l.Knee) {
					t.Errorf("knee at %g where there is none", l.Knee)
				}
				return
			}
			near(t, "knee", l.Knee, c.m.knee, 0.005)
			near(t, "slope above", l.KneeSlope, c.m.compliance+c.m.extra, 0.03)
		})
	}
}
