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
