package budget

import "math"

// Joint is what turns one of a leg's angles. A joint without a known stall torque limits nothing and
// is listed without a share.
type Joint struct {
	Name string
	// Ratio is motor angle : joint angle; Efficiency the share of the motor's torque that arrives.
	Ratio, Efficiency float64
	StallNm           float64 // of the motor at the voltage seen; 0 when not known
	RatedNm           float64 // the greatest that the data sheet states
	NoLoad            float64 // rad/s of the motor at that voltage
	FrictionNm        float64 // at the joint; 0 when not measured
	PulleyM           float64 // pitch radius of the joint's pulley; 0 for a direct joint
}

// allowed returns the greatest torque at the joint when the motor may give a share of its stall
// torque: friction works against it when the joint has to move.
func (j Joint) allowed(share float64) float64 {
	if !(j.StallNm > 0) {
		return math.Inf(1)
	}
	return math.Max(0, share*j.StallNm*j.Ratio*j.Efficiency-j.FrictionNm)
}

// motor returns the share of the stall torque that a torque at the joint takes.
func (j Joint) motor(torque float64) float64 {
	if !(j.StallNm > 0) {
		return math.NaN()
	}
	return (math.Abs(torque) + j.FrictionNm) / (j.Ratio * j.Efficiency) / j.StallNm
}

// pull is what one newton of weight on a foot asks of a motor: straight by the upright force, sideways
// by a unit of level force in its worst direction, and own by the links' weight, N·m.
type pull struct{ straight, sideways, own float64 }

func (l Leg) pulls(q Three) (p [3]pull) {
	up := l.Motors(l.GroundTorque(q, [3]float64{0, 0, 1}))
	x := l.Motors(l.GroundTorque(q, [3]float64{1, 0, 0}))
	y := l.Motors(l.GroundTorque(q, [3]float64{0, 1, 0}))
	own := l.Motors(l.WeightTorque(q))
	for k := range p {
		// Over all level directions the worst is the length of the gradient.
		p[k] = pull{up[k], math.Hypot(x[k], y[k]), own[k]}
	}
	return p
}

// torque returns the greatest torque, with sign, under an upright force and level forces up to mu
// times it in any direction.
func (p pull) torque(force, mu float64) float64 {
	t := p.straight*force + p.own
	return t + math.Copysign(p.sideways*mu*force, t)
}

// force returns the greatest upright force on the foot under which the torque stays within a limit:
// the inverse of torque. It is +Inf where no force reaches the limit.
func (p pull) force(limit, mu float64) float64 {
	if math.Abs(p.own) > limit {
		return 0 // the leg can not even hold itself
	}
	most := math.Inf(1)
	for _, sign := range []float64{1, -1} {
		// sign·(straight·F + own) + sideways·mu·F <= limit
		if slope := sign*p.straight + p.sideways*mu; slope > 0 {
			most = math.Min(most, (limit-sign*p.own)/slope)
		}
	}
	return most
}

// Spot is one place a foot stands in.
type Spot struct {
	HeightM float64 // of the hip axis above the foot
	ReachM  float64 // of the foot from the yaw axis
	Pose    Three
}

// Workspace is where feet stand.
type Workspace struct{ HeightM, ReachM [2]float64 }

// spots lays an even grid over a workspace; places that the leg does not reach are left out.
func (l Leg) spots(w Workspace, n int) (out []Spot) {
	for i := range n {
		for k := range n {
			s := Spot{HeightM: between(w.HeightM, i, n), ReachM: between(w.ReachM, k, n)}
			ok := false
			if s.Pose, ok = l.Pose(s.ReachM, s.HeightM); ok {
				out = append(out, s)
			}
		}
	}
	return out
}

func between(r [2]float64, i, n int) float64 {
	return r[0] + (r[1]-r[0])*float64(i)/float64(n-1)
}

const (
	// grid is how many heights and reaches are tried at first, zooms how often the worst of them is
	// looked at ten times closer.
	grid, zooms = 21, 3
)

// least returns where a function of a spot is least over a workspace: on a grid, then ever closer
// around the least. A workspace without a spot gives +Inf.
func (l Leg) least(w Workspace, f func(Spot) float64) (at Spot, value float64) {
	value = math.Inf(1)
	n, part := grid, w
	for range 1 + zooms {
		for _, s := range l.spots(part, n) {
			if v := f(s); v < value {
				at, value = s, v
			}
		}
		part = Workspace{around(w.HeightM, part.HeightM, at.HeightM), around(w.ReachM, part.ReachM, at.ReachM)}
	}
	return at, value
}

// around returns the tenth part of a range about a place, within the whole.
func around(whole, part [2]float64, at float64) [2]float64 {
	half := (part[1] - part[0]) / 20
	return [2]float64{math.Max(whole[0], at-half), math.Min(whole[1], at+half)}
}
