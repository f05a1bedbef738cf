package friction

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"limbgauge/analyze/internal/ref"
	"limbgauge/analyze/stats"
)

var emps = Recipe{Order: 4, CutHz: 100, Drop: 49, Decimate: 10}

// The published parameters of a motor-driven axis from its raw log, by the printed recipe (Janot,
// Gautier, Brunot, Data Set and Reference Models of EMPS, 2019).
// Check 6a.
func TestEMPS(t *testing.T) {
	c := ref.Columns(t, ref.Shared(t, "emps/emps.csv"))
	want := map[string]float64{}
	for _, r := range ref.Rows(t, ref.Shared(t, "emps/reference.csv")) {
		if r[0] == "gtau" || r[3] == "published" {
			want[r[0]] = ref.Num(t, r[1])
		}
	}
	force := make([]float64, len(c[3]))
	for i, u := range c[3] {
		force[i] = want["gtau"] * u
	}
	m, err := Prepare(c[2], force, 1e-3, emps)
	if err != nil {
		t.Fatal(err)
	}
	p, err := FitModel(m, Model{Terms: []Term{Inertia, Viscous, Coulomb, Offset}})
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct {
		term Term
		key  string
		tol  float64
	}{{Inertia, "M", .005}, {Viscous, "Fv", .02}, {Coulomb, "Fc", .02}, {Offset, "OF", .03}} {
		e := p.Of[row.term]
		t.Logf("%s %.4f, u %.4f (published %.4f)", row.key, e.Value, e.U, want[row.key])
		ref.Near(t, row.key, e.Value, want[row.key], row.tol*math.Abs(want[row.key]), "Simulation_EMPS.m")
	}
	// Standard errors by the authors' own script, run in Octave (the set's README); the published ones
	// were not found in a text source.
	for term, want := range map[Term]float64{Inertia: .108, Viscous: 1.144, Coulomb: .101, Offset: .044} {
		ref.Near(t, string(term)+", standard error", p.Of[term].U, want, .03*want, "Script_IDIM_LS.m in Octave")
	}
	ref.Near(t, "relative error of the force", p.RelError, .0408, .002, "authors' script")
	if p.Cond > conditionMax {
		t.Errorf("condition number %.0f: the parameters would be refused", p.Cond)
	}
}

// Ten readings whose fit was solved by hand and by an independent library.
// Check 6b.
func TestTenReadings(t *testing.T) {
	m := Motion{Thin: 1}
	deg := []float64{-60, -30, 0, 30, 60, -60, -30, 0, 30, 60}
	v := []float64{1, 2, 1, 2, 1, -1, -2, -1, -2, -1}
	d := []float64{1, 1, -1, -1, 0, 1, -1, 1, -1, 0}
	for i := range deg {
		th := deg[i] * math.Pi / 180
		m.Angle = append(m.Angle, th)
		m.Speed = append(m.Speed, v[i])
		m.Acc = append(m.Acc, 0)
		m.Torque = append(m.Torque, .27*math.Sin(th)+.05*stats.Sign(v[i])+.02*v[i]+.002*d[i])
	}
	p, err := FitModel(m, Model{Terms: []Term{GravitySin, Coulomb, Viscous}})
	if err != nil {
		t.Fatal(err)
	}
	const from, tol = "least squares by hand", 1e-6
	ref.Near(t, "gravity", p.Of[GravitySin].Value, .268634, tol, from)
	ref.Near(t, "Coulomb", p.Of[Coulomb].Value, .047667, tol, from)
	ref.Near(t, "viscous", p.Of[Viscous].Value, .021667, tol, from)
	ref.Near(t, "s", p.S, .00159773, 1e-8, from)
	ref.Near(t, "se gravity", p.Of[GravitySin].U, .000799, tol, from)
	ref.Near(t, "se Coulomb", p.Of[Coulomb].U, .001530, tol, from)
	ref.Near(t, "se viscous", p.Of[Viscous].U, .001031, tol, from)
	ref.Near(t, "degrees of freedom", p.Of[Coulomb].DF, 7, 0, "10 - 3")
}

// Checks 6c, 6d.
func TestFormulas(t *testing.T) {
	f, g := Halves(.35, -.15)
	ref.Near(t, "friction half", f, .25, 1e-12, "(0.35 + 0.15)/2")
	ref.Near(t, "load half", g, .10, 1e-12, "(0.35 - 0.15)/2")
	ref.Near(t, "level lever", GravityTorque(.25, .11, math.Pi/2), .269683, 1e-6, "m g l")
	s := Friction{Coulomb: .05, Static: .08, Speed: 20, Viscous: .0002}
	ref.Near(t, "Stribeck", s.Torque(10), .0753640, 1e-6, "0.05 + 0.03·e^(-1/4) + 0.002")
	ref.Near(t, "odd", s.Torque(-10), -.0753640, 1e-6, "friction opposes motion either way")
}

// swing makes a motion of a pendulum at several speeds both ways with known parameters; torque noise
// of standard deviation sd is independent from sample to sample.
func swing(sd float64, rng *rand.Rand, speeds ...float64) Motion {
	m := Motion{Thin: 1}
	for _, v := range speeds {
		for i := range 200 {
			ph := 2 * math.Pi * float64(i) / 200
			m.Angle = append(m.Angle, .9*math.Sin(ph))
			m.Speed = append(m.Speed, v*math.Cos(ph))
			m.Acc = append(m.Acc, -v*v/.9*math.Sin(ph))
			k := len(m.Angle) - 1
			m.Torque = append(m.Torque, .0036*m.Acc[k]+.004*m.Speed[k]+.05*stats.Sign(m.Speed[k])+
				.27*math.Sin(m.Angle[k])+.01+sd*rng.NormFloat64())
		}
	}
	return m
}

var all = Model{Terms: []Term{Inertia, Viscous, Coulomb, GravitySin, Offset}}

var truth = map[Term]float64{Inertia: .0036, Viscous: .004, Coulomb: .05, GravitySin: .27, Offset: .01}

// With noise every parameter's interval holds the truth about as often as it says.
func TestIntervalsHoldTheTruth(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	const runs = 200
	inside := map[Term]int{}
	for range runs {
		p, err := FitModel(swing(.01, rng, 1, 3, 8), all)
		if err != nil {
			t.Fatal(err)
		}
		for term, want := range truth {
			e := p.Of[term]
			if !e.Seen() {
				t.Fatalf("%s: %s", term, e.Unseen)
			}
			if !e.Excludes(want) {
				inside[term]++
			}
		}
	}
	for term := range truth {
		ref.Near(t, string(term)+", coverage", float64(inside[term])/runs, .95, .05, "nominal 95 %")
	}
}

// Friction that differs from day to day is scatter between cycles, which resampling cycles sees and
// a plain fit over all samples does not.
func TestCyclesThatDiffer(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	var cycles []Motion
	for range 8 {
		m := swing(.002, rng, 1, 3, 8)
		d := .01 * rng.NormFloat64()
		for i := range m.Torque {
			m.Torque[i] += d * stats.Sign(m.Speed[i])
		}
		cycles = append(cycles, m)
	}
	boots, plain, err := FitCycles(cycles, all, 400, 1)
	if err != nil {
		t.Fatal(err)
	}
	b := boots[Coulomb]
	ref.Near(t, "u of the mean of 8 cycles", b.U, .01/math.Sqrt(8), .002, "cycles scatter by 0.01")
	if b.U < 3*plain.Of[Coulomb].U {
		t.Errorf("u by cycles %.2g, by samples %.2g: the scatter between cycles was not seen", b.U, plain.Of[Coulomb].U)
	}
}

// Resampled cycles are fitted from a few rows each; the fit of all their samples is the yardstick.
func TestResampledCyclesAreFittedAsTheirSamples(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	var cycles []Motion
	for range 6 {
		cycles = append(cycles, swing(.01, rng, 1, 3, 8))
	}
	const replicas, seed = 50, 9
	got, _, err := FitCycles(cycles, all, replicas, seed)
	if err != nil {
		t.Fatal(err)
	}
	want := stats.CycleBootstrap(len(cycles), replicas, len(all.Terms), seed, func(pick []int, out []float64) {
		var ms []Motion
		for _, c := range pick {
			ms = append(ms, cycles[c])
		}
		fit, err := FitModel(Join(ms...), all)
		if err != nil {
			t.Fatal(err)
		}
		for j, term := range all.Terms {
			out[j] = fit.Of[term].Value
		}
	})
	for j, term := range all.Terms {
		ref.Near(t, string(term), got[term].Value, want[j].Value, 1e-11, "all samples at once")
		ref.Near(t, string(term)+", u", got[term].U, want[j].U, 1e-10, "all samples at once")
		ref.Near(t, string(term)+", 2.5 %", got[term].Lo, want[j].Lo, 1e-10, "all samples at once")
	}
}

func TestWhatTheMotionDoesNotShow(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	oneWay := swing(.001, rng, 1, 3)
	oneSpeed := swing(.001, rng, 2)
	for i := range oneWay.Speed {
		oneWay.Speed[i] = math.Abs(oneWay.Speed[i])
	}
	for i := range oneSpeed.Speed {
		oneSpeed.Speed[i] = 2 * stats.Sign(oneSpeed.Speed[i])
	}
	slow := swing(.01, rng, .1, .2)
	for _, row := range []struct {
		name  string
		m     Motion
		model Model
		term  Term
	}{
		{"one direction", oneWay, Model{Terms: []Term{Coulomb, GravitySin}}, Coulomb},
		{"one speed", oneSpeed, Model{Terms: []Term{Coulomb, Viscous, GravitySin}}, Viscous},
		{"slow only", slow, all, Inertia},
		{"short travel", short(swing(.001, rng, 1, 3)), Model{Terms: []Term{Coulomb, Viscous, GravitySin, GravityCos, Offset}}, GravityCos},
	} {
		p, err := FitModel(row.m, row.model)
		if err != nil {
			if errors.Is(err, stats.ErrSingular) {
				continue // refused as a whole, which is as honest
			}
			t.Fatalf("%s: %v", row.name, err)
		}
		if e := p.Of[row.term]; e.Seen() || e.Unseen == "" {
			t.Errorf("%s: %s came out as %.3g, u %.2g; it cannot be seen", row.name, row.term, e.Value, e.U)
		}
	}
	// Given the inertia, the slow motion shows the rest.
	p, err := FitModel(slow, Model{Terms: []Term{Coulomb, GravitySin, Offset}, Known: map[Term]float64{Inertia: .0036, Viscous: .004}})
	if err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "Coulomb", p.Of[Coulomb].Value, .05, p.Of[Coulomb].Expanded(), "as made, within its own interval")
}

// short squeezes a motion into a tenth of its travel, where a cosine is as good as constant.
func short(m Motion) Motion {
	a := append([]float64(nil), m.Angle...)
	for i := range a {
		a[i] /= 10
	}
	m.Angle = a
	return m
}

// Friction that differs between the directions: 0.06 rising, 0.04 falling. The mean is Coulomb's, half
// the difference the skew; an offset of the load would be the same column.
func TestDirectionSkew(t *testing.T) {
	m := Motion{Thin: 1}
	for i := range 400 {
		ph := 2 * math.Pi * float64(i) / 200
		v := 2 * math.Cos(ph)
		f := .06
		if v < 0 {
			f = .04
		}
		if math.Abs(v) < .1 {
			f = 7 // what a sample at rest shows is no friction of motion
		}
		m.Angle = append(m.Angle, .9*math.Sin(ph))
		m.Speed = append(m.Speed, v)
		m.Acc = append(m.Acc, 0)
		m.Torque = append(m.Torque, .27*math.Sin(m.Angle[i])+f*stats.Sign(v)+.004*v+.002*math.Abs(v))
	}
	p, err := FitModel(m, Model{Terms: []Term{GravitySin, Coulomb, CoulombSkew, Viscous, ViscousSkew}, StillBelow: .1})
	if err != nil {
		t.Fatal(err)
	}
	for term, want := range map[Term]float64{GravitySin: .27, Coulomb: .05, CoulombSkew: .01, Viscous: .004, ViscousSkew: .002} {
		ref.Near(t, string(term), p.Of[term].Value, want, 1e-9, "as made")
	}
	if _, err := FitModel(m, Model{Terms: []Term{Offset, CoulombSkew}}); !errors.Is(err, stats.ErrSingular) {
		t.Errorf("offset and skew together: %v, want a refusal", err)
	}
}
