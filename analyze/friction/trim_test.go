package friction

import (
	"math"
	"math/rand/v2"
	"testing"

	"limbgauge/analyze/internal/ref"
	"limbgauge/analyze/stats"
)

// Readings of a tight spot in one stretch are left out; those of a sound joint stay.
func TestTrimmed(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	model := Model{Terms: []Term{GravitySin, Coulomb, Viscous}}
	sound := []Motion{twoSpeeds(3)}
	for i := range sound[0].Torque {
		sound[0].Torque[i] += .002 * rng.NormFloat64()
	}
	if got := len(Trimmed(sound, model, 4)[0].Torque); got < 395 {
		t.Errorf("%d of 400 sound readings were kept", got)
	}
	spot := []Motion{Join(sound...)}
	for i, a := range spot[0].Angle {
		if math.Abs(a-.4) < .1 {
			spot[0].Torque[i] += .2 * stats.Sign(spot[0].Speed[i])
		}
	}
	p, err := FitModel(Join(Trimmed(spot, model, 4)...), model)
	if err != nil {
		t.Fatal(err)
	}
	for term, want := range map[Term]float64{GravitySin: .27, Coulomb: .05, Viscous: .004} {
		ref.Near(t, string(term), p.Of[term].Value, want, p.Of[term].Expanded(), "as made, within its own interval")
	}
	// What cannot be fitted comes back as it was.
	if got := Trimmed(sound, Model{Terms: []Term{Offset, CoulombSkew}}, 4); len(got[0].Torque) != 400 {
		t.Errorf("%d readings of 400", len(got[0].Torque))
	}
}

// Three readings of a bell give its height whatever lies between them; a flank gives no vertex.
func TestVertexOfABell(t *testing.T) {
	for _, off := range []float64{0, .2, .5} {
		f := make([]float64, 5)
		for i := range f {
			u := float64(i-2) + off
			f[i] = .05 + .12*math.Exp(-u*u/2)
		}
		peak := 2
		ref.Near(t, "height", (f[peak]-.05)*vertex(f, .05, peak), .12, 1e-12, "parabola of logarithms of a bell")
	}
	for _, f := range [][]float64{{.1, .2}, {.3, .2, .1}, {.05, .2, .1}} {
		ref.Near(t, "no vertex", vertex(f, .05, len(f)-2), 1, 0, "an end, a flank, a neighbour at the level")
	}
}
