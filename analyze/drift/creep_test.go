package drift

import (
	"math"
	"math/rand/v2"
	"testing"
)

// hold samples a course of the deflection for a while at hz.
func hold(hz, seconds, noise, quantum float64, rng *rand.Rand, course func(s float64) float64) (time, defl []float64) {
	for i := 0; float64(i)/hz <= seconds; i++ {
		s := float64(i) / hz
		w := course(s) + noise*rng.NormFloat64()
		if quantum > 0 {
			w = math.Round(w/quantum) * quantum
		}
		time, defl = append(time, 1000+s), append(defl, w)
	}
	return time, defl
}

// meanPower is the mean of t^n between two times.
func meanPower(n, from, to float64) float64 {
	return (math.Pow(to, n+1) - math.Pow(from, n+1)) / (n + 1) / (to - from)
}

func power(d0, a, n float64) func(float64) float64 {
	return func(s float64) float64 { return d0 + a*math.Pow(s, n) }
}

// Check 4c: d = 0.2 + 0.1·t^0.25 comes to 1.2 deg in 10 000 s. What Hold reports is the growth from
// the mean over 0.5 to 1.2 s to the mean over the last tenth, both by integration.
func TestCreepByPowerLaw(t *testing.T) {
	course := power(0.2, 0.1, 0.25)
	near(t, "d(10 000 s)", course(10000), 1.2, 1e-12)
	time, defl := hold(10, 10000, 0, 0, rand.New(rand.NewPCG(1, 1)), course)
	g, ok := Hold(time, defl, 0)
	if !ok {
		t.Fatal("not seen")
	}
	want := 0.1 * (meanPower(0.25, 9000, 10000) - meanPower(0.25, 0.5, 1.2))
	near(t, "growth", g.Size, want, 0.002)
	near(t, "duration", g.DurationS, 10000, 1e-9)
	if g.LogShare < 0.85 || g.LogShare < g.LinearShare {
		t.Errorf("log time explains %.2f, plain time %.2f", g.LogShare, g.LinearShare)
	}
}

// Growth by the logarithm of time has its own slope; its growth is exact too.
func TestCreepByLogLaw(t *testing.T) {
	const a, t0 = 0.25, 0.01
	time, defl := hold(250, 60, 0, 0, rand.New(rand.NewPCG(1, 1)), func(s float64) float64 { return 0.4 + a*math.Log10(1+s/t0) })
	g, ok := Hold(time, defl, 0)
	if !ok {
		t.Fatal("not seen")
	}
	near(t, "slope per decade", g.PerDecade, a, 0.01*a)
	// Mean of log10 t over [p, q]: (q·ln q - p·ln p)/(q - p) - 1, over ln 10; t0 shifts it little.
	mean := func(p, q float64) float64 { return ((q*math.Log(q)-p*math.Log(p))/(q-p) - 1) / math.Ln10 }
	near(t, "growth", g.Size, a*(mean(54+t0, 60+t0)-mean(0.5+t0, 1.2+t0)), 0.002)
	if g.LogShare < 0.999 {
		t.Errorf("log time explains %.4f of a logarithm", g.LogShare)
	}
}

// A steady drift is told from creep: plain time explains it better.
func TestSteadyDriftIsNotLogarithmic(t *testing.T) {
	time, defl := hold(250, 30, 0.01, 0, rand.New(rand.NewPCG(1, 1)), func(s float64) float64 { return 0.02 * s })
	g, ok := Hold(time, defl, 0)
	if !ok || g.LinearShare < g.LogShare || g.LinearShare < 0.98 {
		t.Errorf("%+v, %v", g, ok)
	}
	near(t, "growth", g.Size, 0.02*(28.5-0.85), 0.01)
}

// Intervals hold the truth with noise and quanta, for growth of both signs and for none.
func TestCreepIntervals(t *testing.T) {
	for _, c := range []struct {
		name           string
		a, n           float64
		noise, quantum float64
	}{
		{"growth", 0.4, 0.25, 0.05, 0.0879},
		{"growth to smaller angles", -0.4, 0.2, 0.05, 0.0879},
		{"little growth", 0.05, 0.2, 0.05, 0.0879},
		{"none", 0, 0.2, 0.05, 0.0879},
		{"none, no dither", 0, 0.2, 0, 0.0879},
	} {
		held, seen := 0, 0
		const n = 200
		for seed := range uint64(n) {
			rng := rand.New(rand.NewPCG(seed, 9))
			time, defl := hold(250, 20, c.noise, c.quantum, rng, power(rng.Float64(), c.a, c.n))
			g, ok := Hold(time, defl, c.quantum)
			if !ok {
				t.Fatal("not seen")
			}
			want := c.a * (meanPower(c.n, 18, 20) - meanPower(c.n, 0.5, 1.2))
			if math.Abs(g.Size-want) <= g.SizeU {
				held++
			}
			if math.Abs(g.Size) > g.SizeU {
				seen++
			}
		}
		t.Logf("%s: %d of %d intervals hold the truth, %d exclude zero", c.name, held, n, seen)
		if held < 0.88*n {
			t.Errorf("%s: %d of %d intervals hold the truth", c.name, held, n)
		}
		if c.a == 0 && seen > 0.1*n {
			t.Errorf("%s: growth claimed in %d of %d", c.name, seen, n)
		}
		if math.Abs(c.a) >= 0.4 && seen < 0.95*n {
			t.Errorf("%s: growth of %g shown in %d of %d only", c.name, c.a, seen, n)
		}
	}
}

// Too short a hold, or one of too few samples, shows nothing; missing samples do no harm.
func TestCreepThatCannotBeSeen(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	course := power(0, 0.4, 0.25)
	for _, c := range []struct {
		hz, s float64
		ok    bool
	}{{250, 3.9, false}, {250, 4.1, true}, {2, 20, false}, {250, 0, false}} {
		time, defl := hold(c.hz, c.s, 0.02, 0, rng, course)
		if _, ok := Hold(time, defl, 0.0879); ok != c.ok {
			t.Errorf("hold of %g s at %g Hz: seen %v, want %v", c.s, c.hz, ok, c.ok)
		}
	}
	time, defl := hold(250, 20, 0.02, 0, rng, course)
	whole, _ := Hold(time, defl, 0.0879)
	for i := range defl {
		if i%3 == 0 {
			defl[i] = math.NaN()
		}
	}
	holed, ok := Hold(time, defl, 0.0879)
	if !ok || math.Abs(holed.Size-whole.Size) > 0.01 || math.IsNaN(holed.SizeU) {
		t.Errorf("with holes %+v, without %+v", holed, whole)
	}
	for i := range defl {
		defl[i] = math.NaN()
	}
	if g, ok := Hold(time, defl, 0.0879); ok {
		t.Errorf("growth %+v of nothing", g)
	}
	for i := range defl { // only the ends were logged
		if i < 400 || i > 4900 {
			defl[i] = 0
		}
	}
	if g, ok := Hold(time, defl, 0.0879); ok && (math.IsNaN(g.Size) || math.IsNaN(g.SizeU)) {
		t.Errorf("growth %+v", g)
	}
}
