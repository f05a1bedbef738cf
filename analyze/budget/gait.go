package budget

import "limbgauge/rig"

// Knots of the gait a joint makes: the swing is bent, the stance nearly straight.
const swingKnots, stanceKnots = 5, 3

// Gait returns the way of a joint (0 yaw, 1 hip, 2 knee) through one step, swing first, as angles of the
// bench. ok is false where the foot does not get there or never swings.
func (s Setup) Gait(k int) (knots []rig.Knot, ok bool) {
	s = s.Settled()
	if s.Duty >= 1 {
		return nil, false
	}
	add := func(at float64, q Three) { knots = append(knots, rig.Knot{At: at, Deg: (q[k] - s.Zero[k]) / rad}) }
	swing := 1 - s.Duty
	for i := range swingKnots {
		u := float64(i) / swingKnots
		q, ok := s.swingPose(u)
		if !ok {
			return nil, false
		}
		add(u*swing, q)
	}
	first := knots[0].Deg
	for i := range stanceKnots {
		u := float64(i) / stanceKnots
		q, ok := s.footAhead(s.StepM*(0.5-u), 0) // the body passes over the foot at a steady pace
		if !ok {
			return nil, false
		}
		add(swing+u*s.Duty, q)
	}
	return append(knots, rig.Knot{At: 1, Deg: first}), true
}
