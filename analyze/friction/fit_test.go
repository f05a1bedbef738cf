package friction

import (
	"math"
	"testing"

	"limbgauge/analyze/internal/ref"
)

var emps = Recipe{Order: 4, CutHz: 100, Drop: 49, Decimate: 10}

// The published parameters of a motor-driven axis from its raw log, by the printed recipe (Janot,
// Gautier, Brunot, Data Set and Reference Models of EMPS, 2019).
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
		t.Logf("%s %.4f ± %.4f (published %.4f)", row.key, e.Value, e.U, want[row.key])
		ref.Near(t, row.key, e.Value, want[row.key], row.tol*math.Abs(want[row.key]), "Simulation_EMPS.m")
	}
	ref.Near(t, "relative error of the force", p.RelError, .0408, .002, "authors' script")
	ref.Near(t, "condition number", p.Cond, 1, 100, "must be usable")
}

// Ten readings whose fit was solved by hand and by an independent library.
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
		m.Torque = append(m.Torque, .27*math.Sin(th)+.05*sgn(v[i])+.02*v[i]+.002*d[i])
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

func TestFormulas(t *testing.T) {
	f, g := Halves(.35, -.15)
	ref.Near(t, "friction half", f, .25, 1e-12, "(0.35 + 0.15)/2")
	ref.Near(t, "load half", g, .10, 1e-12, "(0.35 - 0.15)/2")
	ref.Near(t, "level lever", GravityTorque(.25, .11, math.Pi/2), .269683, 1e-6, "m g l")
	s := Friction{Coulomb: .05, Static: .08, Speed: 20, Viscous: .0002}
	ref.Near(t, "Stribeck", s.Torque(10), .0753640, 1e-6, "0.05 + 0.03·e^(-1/4) + 0.002")
	ref.Near(t, "odd", s.Torque(-10), -.0753640, 1e-6, "friction opposes motion either way")
}
