package vibration

import (
	"math"
	"slices"
	"testing"

	"limbgauge/analyze/internal/ref"
)

// The matrix pencil against another program of the same formulas, and against a curve fit that
// knows nothing of pencils.
func TestPencilAgainstNumPy(t *testing.T) {
	type mode struct {
		Natural   float64 `json:"natural_hz"`
		NaturalSE float64 `json:"natural_hz_se"`
		Damped    float64 `json:"damped_hz"`
		Damping   float64
		DampingSE float64 `json:"damping_se"`
		Amplitude float64
	}
	var oracle struct {
		Cases []struct {
			Name          string
			Modes         int
			DT            float64
			Y             []float64
			Pencil, Curve []mode
		}
	}
	ref.JSON(t, "oracle/pencil.json", &oracle)
	if len(oracle.Cases) != 4 {
		t.Fatalf("%d cases", len(oracle.Cases))
	}
	const from = "testdata/oracle/pencil.py"
	for _, c := range oracle.Cases {
		got, err := MatrixPencil(c.Y, c.DT, c.Modes)
		if err != nil || len(got) != c.Modes {
			t.Fatal(c.Name, got, err)
		}
		slices.SortFunc(got, func(a, b Mode) int { return int(math.Copysign(1, a.NaturalHz-b.NaturalHz)) })
		for i, m := range got {
			w, fit := c.Pencil[i], c.Curve[i]
			ref.Near(t, c.Name+" f_n", m.NaturalHz, w.Natural, 1e-9*w.Natural, from)
			ref.Near(t, c.Name+" f_d", m.DampedHz, w.Damped, 1e-9*w.Damped, from)
			ref.Near(t, c.Name+" ζ", m.Damping, w.Damping, 1e-9, from)
			ref.Near(t, c.Name+" amplitude", m.Amplitude, w.Amplitude, 1e-8*w.Amplitude, from)
			ref.Near(t, c.Name+" f_n by a curve", m.NaturalHz, fit.Natural, 4*fit.NaturalSE, from)
			ref.Near(t, c.Name+" ζ by a curve", m.Damping, fit.Damping, 4*fit.DampingSE, from)
		}
	}
}
