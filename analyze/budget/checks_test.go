package budget

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"limbgauge/analyze/internal/ref"
)

const kgCm = 0.0980665 // N·m, by the standard acceleration of free fall

// bare returns a setup of massless legs with one joint's stall torque on all three motors, over one place.
func bare(l Leg, at Three, stall float64, stance int) Setup {
	foot := l.Foot(at)
	spot := [2]float64{-foot[2], -foot[2]}
	reach := math.Hypot(foot[0], foot[1])
	s := Setup{Leg: l, Space: Workspace{HeightM: spot, ReachM: [2]float64{reach, reach}}, Legs: stance, Stance: stance, Duty: 1, Fraction: 1}
	for k := range s.Joints {
		s.Joints[k] = Joint{Name: Places()[k], Ratio: 1, Efficiency: 1, StallNm: stall}
	}
	return s
}

// Check 7a. The trade's own example: a servo of 12.5 kg·cm on a lever of 10 cm holds 1.25 kg, two such
// legs 2.5 kg, at half the stall torque half of it [common practice].
func TestServoAndLever(t *testing.T) {
	// A femur of 10 cm straight out, the tibia hanging down: the hip's lever is 10 cm, the knee's 0.
	l := Leg{L: [3]float64{0, 0.10, 0.10}}
	pose := Three{0, 0, -math.Pi / 2}
	for _, row := range []struct {
		legs           int
		fraction, want float64
	}{{1, 1, 1.25}, {2, 1, 2.5}, {2, 0.5, 1.25}} {
		s := bare(l, pose, 12.5*kgCm, row.legs)
		s.Fraction = row.fraction
		k, _, kg := s.worst(1/float64(row.legs), 0)
		ref.Near(t, "mass held", kg, row.want, 1e-9, "trade example, common practice")
		if k != 1 {
			t.Errorf("the %s is the weakest, want the hip", Places()[k])
		}
	}
}

// Check 7b. A leg of three joints: foot, torques of a force, of the links' own weight, greatest mass.
func TestLegOfThreeJoints(t *testing.T) {
	const from = "derived by hand, finite differences agree"
	l := Leg{L: [3]float64{0.03, 0.08, 0.12}}
	q := Three{0, 30 * rad, -100 * rad}
	foot := l.Foot(q)
	for i, want := range []float64{0.14032, 0, -0.07276} {
		ref.Near(t, "foot", foot[i], want, 1e-5, from)
	}
	torque := l.GroundTorque(q, [3]float64{0, 0, 10})
	for i, want := range []float64{0, 1.10324, 0.410424} {
		ref.Near(t, "ground torque", math.Abs(torque[i]), want, 1e-5, from)
	}
	links := l
	links.Links = [3]Link{{}, {Kg: 0.06, CentreM: 0.04}, {Kg: 0.04, CentreM: 0.06}}
	own := links.WeightTorque(q)
	for i, want := range []float64{0, 0.0556095, 0.00804977} {
		ref.Near(t, "own weight", own[i], want, 1e-5, from)
	}
	for n, want := range map[int]float64{2: 1.10915, 3: 1.66372} {
		_, _, kg := bare(l, q, 0.6, n).worst(1/float64(n), 0)
		ref.Near(t, "greatest mass", kg, want, 1e-5, from)
	}
	back, ok := l.Pose(math.Hypot(foot[0], foot[1]), -foot[2])
	if !ok {
		t.Fatal("the pose is not found again")
	}
	for i := range q {
		ref.Near(t, "pose", back[i], q[i], 1e-12, "round trip")
	}
}

func anyLeg(t *rapid.T) (Leg, Three) {
	f := func(lo, hi float64, what string) float64 { return rapid.Float64Range(lo, hi).Draw(t, what) }
	l := Leg{L: [3]float64{f(0, 0.1, "l1"), f(0.03, 0.2, "l2"), f(0.03, 0.2, "l3")}, KneeOnBody: rapid.Bool().Draw(t, "on body")}
	for i := range l.Links {
		l.Links[i] = Link{Kg: f(0, 0.3, "kg"), CentreM: f(0, 0.1, "centre")}
	}
	return l, Three{f(-1.5, 1.5, "yaw"), f(-1.5, 1.5, "hip"), f(-3, -0.1, "knee")}
}

// Virtual work: what the motors do over a small turn is what the potential of force and weight takes
// up, in the angles the motors turn.
func TestTorqueIsTheGradientOfThePotential(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l, q := anyLeg(t)
		force := [3]float64{rapid.Float64Range(-20, 20).Draw(t, "fx"), rapid.Float64Range(-20, 20).Draw(t, "fy"), rapid.Float64Range(-20, 40).Draw(t, "fz")}
		// potential takes the motors' angles: with the knee's motor on the body the third is hip + knee.
		potential := func(m Three) float64 {
			q := m
			if l.KneeOnBody {
				q[2] = m[2] - m[1]
			}
			p := l.Foot(q)
			return gravity*l.Height(q) - force[0]*p[0] - force[1]*p[1] - force[2]*p[2]
		}
		m := q
		if l.KneeOnBody {
			m[2] = q[1] + q[2]
		}
		ground, own := l.GroundTorque(q, force), l.WeightTorque(q)
		var sum Three
		for k := range sum {
			sum[k] = ground[k] + own[k]
		}
		sum = l.Motors(sum)
		for k := range sum {
			const h = 1e-5
			lo, hi := m, m
			lo[k], hi[k] = m[k]-h, m[k]+h
			if d := (potential(hi) - potential(lo)) / (2 * h); math.Abs(d-sum[k]) > 1e-7 {
				t.Fatalf("%s: torque %.9f, gradient %.9f", Places()[k], sum[k], d)
			}
		}
	})
}

// The inverse of torque is exact: at the greatest force the torque is the limit, beyond it more.
func TestForceIsTheInverseOfTorque(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l, q := anyLeg(t)
		mu, limit := rapid.Float64Range(0, 1).Draw(t, "mu"), rapid.Float64Range(0.01, 2).Draw(t, "limit")
		for _, p := range l.pulls(q) {
			f := p.force(limit, mu)
			most := func(f float64) float64 { // the definition, not the sign rule of torque
				return math.Abs(p.straight*f+p.own) + p.sideways*mu*f
			}
			switch {
			case f == 0:
				if most(0) < limit-1e-9 {
					t.Fatalf("no force allowed, yet the own weight takes %g of %g", most(0), limit)
				}
			case !math.IsInf(f, 1):
				if math.Abs(most(f)-limit) > 1e-9*(1+limit) || most(1.001*f) <= limit {
					t.Fatalf("at %g N %g of %g", f, most(f), limit)
				}
				if got := math.Abs(p.torque(f, mu)); math.Abs(got-limit) > 1e-9*(1+limit) {
					t.Fatalf("torque %g, want %g", got, limit)
				}
			}
		}
	})
}

func TestAgainstSciPy(t *testing.T) {
	var oracle struct {
		Legs []struct {
			L, KG, Centre, Limit, Pose []float64
			OnBody                     bool `json:"knee_on_body"`
			Mu                         float64
			Height, Reach              [2]float64
			ForceN                     float64   `json:"force_n"`
			At10N                      []float64 `json:"torque_at_10_n"`
		}
		Shares []struct {
			Feet   [][2]float64
			At     [2]float64
			Shares []float64
			Most   float64
		}
	}
	ref.JSON(t, "oracle/budget.json", &oracle)
	if len(oracle.Legs) != 6 || len(oracle.Shares) != 16 {
		t.Fatalf("%d legs, %d shares", len(oracle.Legs), len(oracle.Shares))
	}
	const from = "testdata/oracle/budget.py"
	for _, o := range oracle.Legs {
		s := Setup{Leg: Leg{L: [3]float64(o.L), KneeOnBody: o.OnBody}, Space: Workspace{o.Height, o.Reach}, Legs: 1, Stance: 1, Duty: 1, Fraction: 1}
		for k := range s.Joints {
			s.Leg.Links[k] = Link{Kg: o.KG[k], CentreM: o.Centre[k]}
			s.Joints[k] = Joint{Ratio: 1, Efficiency: 1, StallNm: o.Limit[k]}
		}
		_, _, kg := s.worst(1, o.Mu)
		ref.Near(t, "greatest force, N", kg*gravity, o.ForceN, 5e-5*o.ForceN, from)
		q, ok := s.Leg.Pose(o.Reach[0], o.Height[1])
		if !ok {
			t.Fatal("no pose")
		}
		for k, p := range s.Leg.pulls(q) {
			ref.Near(t, "angle", q[k], o.Pose[k], 1e-8, from)
			// 361 directions are tried there: the worst is met to 1 - cos 0.5 deg.
			ref.Near(t, "torque at 10 N", math.Abs(p.torque(10, o.Mu)), o.At10N[k], 5e-5, from)
		}
	}
	for _, o := range oracle.Shares {
		var feet []Point
		for _, f := range o.Feet {
			feet = append(feet, f)
		}
		got, out := Shares(feet, o.At)
		if out != 0 {
			t.Errorf("%v tips by %g", o.Feet, out)
		}
		for i := range got {
			ref.Near(t, "share", got[i], o.Shares[i], 2e-5, from)
		}
		ref.Near(t, "worst share", WorstShare(feet, o.At), o.Most, 1e-9, from)
	}
}
