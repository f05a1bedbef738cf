package budget

import "math"

// swingSteps is how finely a swing is looked at.
const swingSteps = 200

// Swing is the greatest torque of each motor while the foot goes forward through the air.
type Swing struct {
	Torque Three   // greatest absolute torque, own weight and inertia together
	Static Three   // of the own weight alone on the same way
	Rate   Three   // greatest speed of each angle the motors turn, rad/s
	TimeS  float64 // how long a swing takes
	OK     bool    // false where a leg never swings or does not reach so far
}

// mass is a point mass that moves with a link.
type mass struct {
	link int
	at   float64 // from the link's inner joint
	kg   float64
}

// masses replaces each link by two equal point masses about its centre, as far apart as gives its
// inertia. They move as the link does, so they ask for the same torque.
func (l Leg) masses() (out []mass) {
	for i, k := range l.Links {
		if k.Kg == 0 {
			continue
		}
		inertia := k.KgM2
		if inertia == 0 {
			inertia = k.Kg * l.L[i] * l.L[i] / 12 // slender rod
		}
		d := math.Sqrt(inertia / k.Kg)
		out = append(out, mass{i, k.CentreM - d, k.Kg / 2}, mass{i, k.CentreM + d, k.Kg / 2})
	}
	return out
}

// swingPose returns the pose at a part of the swing, 0 to 1: forward on a cycloid, so that the foot
// starts and lands at rest, and up and down on a cosine.
func (s Setup) swingPose(u float64) (Three, bool) {
	ahead := s.StepM * (u - math.Sin(2*math.Pi*u)/(2*math.Pi) - 0.5)
	up := s.LiftM * (1 - math.Cos(2*math.Pi*u)) / 2
	return s.footAhead(ahead, up)
}

// footAhead returns the pose with the foot in the middle of its reach, some way ahead and up.
func (s Setup) footAhead(ahead, up float64) (Three, bool) {
	out := mid(s.Space.ReachM)
	q, ok := s.Leg.Pose(math.Hypot(out, ahead), mid(s.Space.HeightM)-up)
	q[0] = math.Atan2(ahead, out)
	return q, ok
}

// Swing works out the torque of a swing by d'Alembert's principle: every point mass asks for
// m·(a + g) along the way each joint moves it. Accelerations are second differences of the places.
func (s Setup) Swing() Swing {
	w := Swing{TimeS: s.StepS * (1 - s.Duty)}
	if !(w.TimeS > 1e-3) {
		return w
	}
	for k := range swingSteps + 1 {
		u := float64(k) / swingSteps
		t, own, rate, ok := s.swingTorque(u, w.TimeS)
		if !ok {
			return w
		}
		for i := range t {
			w.Rate[i] = math.Max(w.Rate[i], math.Abs(rate[i]))
			w.Torque[i] = math.Max(w.Torque[i], math.Abs(t[i]))
			w.Static[i] = math.Max(w.Static[i], math.Abs(own[i]))
		}
	}
	w.OK = true
	return w
}

// swingTorque returns torque, torque by weight alone and speed of each motor at a part of the swing.
func (s Setup) swingTorque(u, timeS float64) (t, own, rate Three, ok bool) {
	const h = 1e-3 // of the swing
	var q [3]Three
	for i := range q {
		if q[i], ok = s.swingPose(u + h*float64(i-1)); !ok {
			return t, own, rate, false
		}
	}
	dt := h * timeS
	for i := range rate {
		rate[i] = (q[2][i] - q[0][i]) / (2 * dt)
	}
	if s.Leg.KneeOnBody {
		rate[2] += rate[1]
	}
	for _, m := range s.Leg.masses() {
		a, b, c := s.Leg.place(q[0], m.link, m.at), s.Leg.place(q[1], m.link, m.at), s.Leg.place(q[2], m.link, m.at)
		for i := range t {
			const d = 1e-6
			lo, hi := q[1], q[1]
			lo[i], hi[i] = lo[i]-d, hi[i]+d
			pl, ph := s.Leg.place(lo, m.link, m.at), s.Leg.place(hi, m.link, m.at)
			for x := range 3 {
				acc := (a[x] - 2*b[x] + c[x]) / (dt * dt)
				if x == 2 {
					acc += gravity
				}
				t[i] += m.kg * acc * (ph[x] - pl[x]) / (2 * d)
			}
		}
	}
	return s.Leg.Motors(t), s.Leg.Motors(s.Leg.WeightTorque(q[1])), rate, true
}

// Saving is what mass moved from the middle of a link to the hip axis takes off the swing.
type Saving struct {
	Link     string  `json:"link"`
	Kg       float64 `json:"mass_kg"` // moved
	YawNm    float64 `json:"yaw_nm"`
	HipNm    float64 `json:"hip_nm"`
	HipShare float64 `json:"hip_share"` // of the hip's swing torque
}

// movedKg is the mass that is thought moved towards the body.
const movedKg = 0.01

// Savings tells for femur and tibia why mass belongs near the body.
func (s Setup) Savings() (out []Saving) {
	now := s.Swing()
	if !now.OK {
		return nil
	}
	for i := 1; i < 3; i++ {
		if s.Leg.Links[i].Kg < movedKg {
			continue
		}
		moved := s
		from, to := &moved.Leg.Links[i], &moved.Leg.Links[0]
		// Taking it from the centre of mass leaves the centre, and the inertia about it, where they are.
		if from.KgM2 == 0 {
			from.KgM2 = from.Kg * s.Leg.L[i] * s.Leg.L[i] / 12
		}
		if to.KgM2 == 0 {
			to.KgM2 = to.Kg * s.Leg.L[0] * s.Leg.L[0] / 12
		}
		from.Kg -= movedKg
		sum := to.Kg + movedKg
		centre := (to.Kg*to.CentreM + movedKg*s.Leg.L[0]) / sum
		to.KgM2 += to.Kg*(to.CentreM-centre)*(to.CentreM-centre) + movedKg*(s.Leg.L[0]-centre)*(s.Leg.L[0]-centre)
		to.Kg, to.CentreM = sum, centre
		then := moved.Swing()
		sv := Saving{Link: [3]string{"coxa", "femur", "tibia"}[i], Kg: movedKg, YawNm: now.Torque[0] - then.Torque[0], HipNm: now.Torque[1] - then.Torque[1]}
		if now.Torque[1] > 0 {
			sv.HipShare = sv.HipNm / now.Torque[1]
		}
		out = append(out, sv)
	}
	return out
}
