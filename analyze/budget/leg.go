package budget

import (
	"math"

	"limbgauge/rig"
)

const gravity = rig.Gravity // m/s²

// Link is one of a leg's links with all that is fixed to it.
type Link struct {
	Kg      float64
	CentreM float64 // from the joint nearer to the body
	KgM2    float64 // about its own centre; 0 means a slender rod of the link's length
}

// Leg is a leg of yaw, hip and knee.
type Leg struct {
	L     [3]float64 // yaw axis to hip axis to knee axis to foot
	Links [3]Link    // coxa, femur, tibia
	// KneeOnBody is true where a belt keeps the tibia's direction to the body, so that the knee's
	// motor turns hip + knee.
	KneeOnBody bool
}

// Three is a value for each of yaw, hip and knee.
type Three [3]float64

// Kg returns the mass of the whole leg.
func (l Leg) Kg() float64 { return l.Links[0].Kg + l.Links[1].Kg + l.Links[2].Kg }

// along returns the distance from the yaw axis, seen from above, and the height of what lies c beyond
// the joint of link i.
func (l Leg) along(q Three, i int, c float64) (r, z float64) {
	if i == 0 {
		return c, 0
	}
	r = l.L[0]
	if i == 1 {
		return r + c*math.Cos(q[1]), c * math.Sin(q[1])
	}
	return r + l.L[1]*math.Cos(q[1]) + c*math.Cos(q[1]+q[2]), l.L[1]*math.Sin(q[1]) + c*math.Sin(q[1]+q[2])
}

// place returns the same in x, y, z.
func (l Leg) place(q Three, i int, c float64) [3]float64 {
	r, z := l.along(q, i, c)
	return [3]float64{r * math.Cos(q[0]), r * math.Sin(q[0]), z}
}

// Foot returns where the foot is: x away from the body, y, z up from the hip axis.
func (l Leg) Foot(q Three) [3]float64 { return l.place(q, 2, l.L[2]) }

// Jacobian returns how the foot moves with each joint's angle: row x, y, z, column yaw, hip, knee.
func (l Leg) Jacobian(q Three) (j [3]Three) {
	r, z := l.along(q, 2, l.L[2])
	_, knee := l.along(q, 1, l.L[1])
	c, s := math.Cos(q[0]), math.Sin(q[0])
	flat := l.L[2] * math.Cos(q[1]+q[2])
	j[0] = Three{-r * s, -z * c, -(z - knee) * c}
	j[1] = Three{r * c, -z * s, -(z - knee) * s}
	j[2] = Three{0, r - l.L[0], flat}
	return j
}

// Pose returns the angles, knee up, that put the foot at a reach from the yaw axis and a height of the
// hip axis above it; ok is false where the leg does not get there.
func (l Leg) Pose(reach, height float64) (q Three, ok bool) {
	x, z := reach-l.L[0], -height
	c := (x*x + z*z - l.L[1]*l.L[1] - l.L[2]*l.L[2]) / (2 * l.L[1] * l.L[2])
	if math.Abs(c) > 1+1e-12 || math.IsNaN(c) {
		return q, false
	}
	q[2] = -math.Acos(math.Max(-1, math.Min(1, c)))
	q[1] = math.Atan2(z, x) - math.Atan2(l.L[2]*math.Sin(q[2]), l.L[1]+l.L[2]*math.Cos(q[2]))
	if q[1] < -math.Pi {
		q[1] += 2 * math.Pi
	}
	return q, true
}

// GroundTorque returns what a force on the foot, N, asks of each joint to be held: -Jᵀ·F.
func (l Leg) GroundTorque(q Three, f [3]float64) (t Three) {
	j := l.Jacobian(q)
	for k := range t {
		t[k] = -(j[0][k]*f[0] + j[1][k]*f[1] + j[2][k]*f[2])
	}
	return t
}

// Height returns the potential energy of the links over g, kg·m.
func (l Leg) Height(q Three) (h float64) {
	for i, k := range l.Links {
		_, z := l.along(q, i, k.CentreM)
		h += k.Kg * z
	}
	return h
}

// WeightTorque returns what the links' own weight asks of each joint: the gradient of g·Height.
func (l Leg) WeightTorque(q Three) (t Three) {
	f, s := l.Links[1], l.Links[2]
	knee := gravity * s.Kg * s.CentreM * math.Cos(q[1]+q[2])
	return Three{0, gravity*(f.Kg*f.CentreM+s.Kg*l.L[1])*math.Cos(q[1]) + knee, knee}
}

// Motors turns torques of the joints into those of the angles the motors turn. With the knee's motor on
// the body that angle is hip + knee: the hip's motor is then free of what the knee's holds (virtual
// work: τ·dq is the same in both sets of angles).
func (l Leg) Motors(t Three) Three {
	if l.KneeOnBody {
		t[1] -= t[2]
	}
	return t
}
