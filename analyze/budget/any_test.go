package budget

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Whatever a builder states, the answer is a figure or an error, and more torque never carries less.
func TestAnySetup(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := func(lo, hi float64, what string) float64 { return rapid.Float64Range(lo, hi).Draw(t, what) }
		leg, _ := anyLeg(t)
		s := Setup{Leg: leg, Legs: rapid.IntRange(1, 8).Draw(t, "legs"), Duty: f(0, 1, "duty"), BodyKg: f(0, 5, "body"), Mu: f(0, 1.5, "mu"),
			Slope: f(0, 1, "slope"), StepS: f(0.1, 5, "step s"), StepM: f(0, 0.2, "step"), LiftM: f(0, 0.1, "lift"), Fraction: f(0, 1, "fraction"), ComHeightM: f(-0.1, 0.2, "height")}
		s.Stance = rapid.IntRange(0, s.Legs).Draw(t, "stance")
		s.Space.HeightM[0] = f(0.01, 0.3, "low")
		s.Space.HeightM[1] = s.Space.HeightM[0] + f(0.001, 0.1, "high")
		s.Space.ReachM[0] = f(0, 0.3, "near")
		s.Space.ReachM[1] = s.Space.ReachM[0] + f(0.001, 0.1, "far")
		if rapid.Bool().Draw(t, "hips") {
			for range s.Legs {
				s.Hips = append(s.Hips, Point{f(-0.2, 0.2, "x"), rapid.SampledFrom([]float64{-0.1, 0, 0.1}).Draw(t, "y")})
			}
		}
		for k := range s.Joints {
			s.Joints[k] = Joint{Name: Places()[k], Ratio: f(0.5, 3, "ratio"), Efficiency: f(0.5, 1, "efficiency"), StallNm: f(0, 3, "stall"), NoLoad: 7, FrictionNm: f(0, 0.2, "friction")}
			s.Joints[k].RatedNm = s.Joints[k].StallNm
		}
		a, err := Budget(s, nil)
		if err != nil {
			return // said, with what to do
		}
		if math.IsNaN(float64(a.GreatestBodyKg)) || math.IsInf(float64(a.GreatestBodyKg), 0) || !(a.Share > 0 && a.Share <= 1+1e-9) || a.Sentence == "" {
			t.Fatalf("%+v", a)
		}
		if _, err := json.Marshal(a); err != nil {
			t.Fatal(err)
		}
		Map(s, a)
		for k := range s.Joints {
			s.Joints[k].StallNm *= 1.5
		}
		b, err := Budget(s, nil)
		if err != nil || b.GreatestBodyKg < a.GreatestBodyKg-1e-6*Number(math.Abs(float64(a.GreatestBodyKg))) {
			t.Fatalf("with half as much torque again %v kg instead of %v (%v)", b.GreatestBodyKg, a.GreatestBodyKg, err)
		}
	})
}

// The law of propagation takes the greatest mass as linear in its inputs, though another joint or place may
// become the weakest on the way: draws of all inputs at once say by how much that is wrong (JCGM 101:2008).
func TestDoubtAgainstDraws(t *testing.T) {
	_, s := example(t)
	s = s.Settled()
	s.U.FrictionNm = Three{0.003, 0.003, 0.003}
	for k := range s.Joints {
		s.Joints[k].FrictionNm = 0.01
	}
	share := s.support().Share
	u, _ := s.bodyDoubt(share)
	rnd := rand.New(rand.NewPCG(7, 1))
	var sum, square float64
	const n = 600
	for range n {
		x := s
		for _, in := range s.inputs() {
			by := rnd.NormFloat64()
			if strings.HasPrefix(in.of, "belt") { // taken as even over its half width
				by = math.Sqrt(3) * (2*rnd.Float64() - 1)
			}
			in.shift(&x, by)
		}
		_, _, kg := x.worst(share, x.sideways())
		sum, square = sum+x.bodyOf(kg), square+x.bodyOf(kg)*x.bodyOf(kg)
	}
	sd := math.Sqrt(square/n - sum/n*sum/n)
	if ratio := u / (2 * sd); ratio < 0.85 || ratio > 1.15 {
		t.Errorf("U %.3f kg, draws scatter by %.3f kg: ratio %.2f", u, 2*sd, ratio)
	}
}
