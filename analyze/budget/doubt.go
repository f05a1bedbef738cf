package budget

import (
	"encoding/json"
	"errors"
	"math"
)

// Number is a figure that may be absent: NaN, and null in JSON.
type Number float64

// MarshalJSON writes an absent figure as null.
func (n Number) MarshalJSON() ([]byte, error) {
	if math.IsNaN(float64(n)) || math.IsInf(float64(n), 0) {
		return []byte("null"), nil
	}
	return json.Marshal(float64(n))
}

var (
	errNoSpot  = errors.New("the leg reaches no place of its stance: change stance_height_m or stance_reach_m below [leg.geometry]")
	errNoLoad  = errors.New("the joints with a rated line carry nothing of the weight: give rated below [joint.servo] of hip and knee")
	errNoStall = errors.New("no joint of the leg has a rated line, so nothing is known of its torque: give rated below [joint.servo]")
)

// input is one quantity that is not known exactly: shift moves it by one standard uncertainty.
type input struct {
	of, how string
	shift   func(s *Setup, by float64)
}

// inputs lists what the greatest body mass depends on. Servos of one leg share a maker, so their
// ratings are taken to be off together, which is the worst.
func (s Setup) inputs() []input {
	list := []input{
		{"stall torque", "rated torque to 5 %, scaled voltages more [data sheets]", func(s *Setup, by float64) {
			for k := range s.Joints {
				s.Joints[k].StallNm *= 1 + by*math.Hypot(stallU, s.U.Scaled[k])
			}
		}},
		{"lengths", "1 % [common practice]", func(s *Setup, by float64) {
			for i := range s.Leg.L {
				s.Leg.L[i] *= 1 + by*lengthU
			}
			// Where feet stand is a choice, but it was measured with the same rule.
			for i := range 2 {
				s.Space.HeightM[i] *= 1 + by*lengthU
				s.Space.ReachM[i] *= 1 + by*lengthU
			}
		}},
		{"mass of the links", "1.5 % [common practice]", func(s *Setup, by float64) {
			for i := range s.Leg.Links {
				s.Leg.Links[i].Kg *= 1 + by*massU
			}
		}},
	}
	for k, j := range s.Joints {
		if j.PulleyM > 0 && j.Efficiency < 1 {
			list = append(list, input{"belt of the " + j.Name, "efficiency to 0.03, even [common practice]", func(s *Setup, by float64) {
				s.Joints[k].Efficiency = math.Min(1, s.Joints[k].Efficiency+by*efficiencyHalf/math.Sqrt(3))
			}})
		}
		if u := s.U.FrictionNm[k]; u > 0 {
			list = append(list, input{"friction of the " + j.Name, "as measured", func(s *Setup, by float64) {
				s.Joints[k].FrictionNm = math.Max(0, s.Joints[k].FrictionNm+by*u)
			}})
		}
	}
	return list
}

// spread returns the expanded uncertainty (95 %, k = 2) of a figure of a setup by moving each input to
// both sides, and what each brings (JCGM 100:2008, 5.1.3 with note 2: half the difference).
func (s Setup) spread(figure func(Setup) float64) (u float64, parts []float64) {
	sum := 0.0
	for _, in := range s.inputs() {
		lo, hi := s, s
		in.shift(&lo, -1)
		in.shift(&hi, 1)
		d := (figure(hi) - figure(lo)) / 2
		if math.IsNaN(d) || math.IsInf(d, 0) {
			d = 0
		}
		sum += d * d
		parts = append(parts, 2*math.Abs(d))
	}
	return 2 * math.Sqrt(sum), parts
}

func (s Setup) bodyDoubt(share float64) (u float64, out []Part) {
	u, parts := s.spread(func(s Setup) float64 {
		_, _, kg := s.worst(share, s.sideways())
		return s.bodyOf(kg)
	})
	for i, in := range s.inputs() {
		out = append(out, Part{in.of, in.how, parts[i]})
	}
	return u, out
}

// shareDoubt is that of the share of the stall torque a joint needs, the mass of the robot included.
func (s Setup) shareDoubt(k int, kg, share, use float64) float64 {
	u, _ := s.spread(func(s Setup) float64 {
		force := share * kg * gravity * math.Cos(s.Slope)
		_, peak := s.Leg.least(s.Space, func(p Spot) float64 { return -math.Abs(s.Leg.pulls(p.Pose)[k].torque(force, s.sideways())) })
		return s.Joints[k].motor(peak)
	})
	return math.Hypot(u, 2*massU*use)
}
