package budget

import "math"

// Answer is the budget of a leg. Figures that are not known are NaN, null in JSON.
type Answer struct {
	Verdict Verdict `json:"verdict"`
	// Sentence says it in words.
	Sentence string `json:"sentence"`
	// GreatestBodyKg is what all that is no leg may weigh, with its expanded uncertainty (95 %), when
	// feet may push sideways up to slipping; StraightBodyKg when they do not.
	GreatestBodyKg Number `json:"greatest_body_kg"`
	BodyU          Number `json:"uncertainty_kg"`
	StraightBodyKg Number `json:"greatest_body_straight_kg"`
	// DemandKg is the mass of the whole robot that torques are told for, and where it is from.
	DemandKg   Number     `json:"robot_kg"`
	DemandFrom string     `json:"robot_kg_from"`
	LegKg      float64    `json:"leg_kg"`
	Legs       int        `json:"legs"`
	Stance     int        `json:"stance_legs"`
	Duty       float64    `json:"duty"`
	SlopeDeg   float64    `json:"slope_deg"`
	Allowed    float64    `json:"allowed_share"`
	Share      float64    `json:"share_of_worst_leg"`
	Weakest    string     `json:"weakest"`
	At         Spot       `json:"-"`
	Joints     []Row      `json:"joints"`
	Support    Support    `json:"-"`
	SwingS     float64    `json:"swing_s"`
	Savings    []Saving   `json:"savings,omitempty"`
	Compared   []Compared `json:"compared,omitempty"`
	// Doubt says how much of BodyU each input brings, kg.
	Doubt []Part `json:"doubt"`
	// Assumptions are what all this rests on, each with its source.
	Assumptions []string `json:"assumptions"`
	// Warnings are what the builder must know before the figures are used.
	Warnings []string `json:"warnings,omitempty"`
}

// Verdict says whether the leg holds the body that is stated.
type Verdict string

// The verdicts; empty when no body mass is stated.
const (
	Holds    Verdict = "holds"
	Fails    Verdict = "fails"
	Unproven Verdict = "unproven"
	Tips     Verdict = "tips"
	Slips    Verdict = "slips"
)

// Row is one joint's part of the budget.
type Row struct {
	Joint    string  `json:"joint"`
	PeakNm   float64 `json:"peak_nm"`     // at the joint, in the worst place
	Straight float64 `json:"straight_nm"` // the same when feet do not push sideways
	HeightM  float64 `json:"height_m"`
	ReachM   float64 `json:"reach_m"`
	HipDeg   float64 `json:"hip_deg"` // the leg's angles there
	KneeDeg  float64 `json:"knee_deg"`
	StallNm  Number  `json:"stall_nm"` // of the motor
	Share    Number  `json:"share"`    // of the stall torque, friction and belt included
	ShareU   Number  `json:"share_uncertainty"`
	Body     Number  `json:"greatest_body_kg"` // that this joint allows
	HeatUse  Number  `json:"heat_share"`       // of what may last
	SwingNm  Number  `json:"swing_nm"`
	SwingOwn Number  `json:"swing_weight_nm"` // of it by weight alone
	SwingUse Number  `json:"swing_share"`
	// SwingSpeed is the greatest speed of the swing as a share of the motor's without load.
	SwingSpeed Number `json:"swing_speed_share"`
	Pull       Number `json:"belt_pull_n"`
	Tension    Number `json:"least_belt_tension_n"`
}

// Part is one input's share of an uncertainty.
type Part struct {
	Of  string  `json:"of"`
	How string  `json:"taken"`
	Kg  float64 `json:"uncertainty_kg"` // expanded
}

const (
	// TautShare of the belt's pull as tension keeps both spans taut: the loose one loses half the pull
	// (two-span statics, T0 = pull/2). SkipShare leaves the slack span a tenth of the pull, with which
	// teeth do not climb: 0.6 to 0.8 of the pull are usual [belt makers' notes, common practice].
	TautShare, SkipShare, FullShare = 0.5, 0.6, 0.8
)

// lean is the level part of a foot's force over its upright one that the slope alone asks for.
func (s Setup) lean() float64 { return math.Tan(s.Slope) }

// sideways is what a foot may push at most before it slips.
func (s Setup) sideways() float64 { return math.Max(s.Mu, s.lean()) }

// greatestKg returns the mass of the whole robot at which a joint reaches its limit, and where.
func (s Setup) greatestKg(k int, share, mu float64) (Spot, float64) {
	limit := s.Joints[k].allowed(s.Allowed())
	at, force := s.Leg.least(s.Space, func(p Spot) float64 { return s.Leg.pulls(p.Pose)[k].force(limit, mu) })
	return at, force / (share * gravity * math.Cos(s.Slope))
}

// worst returns the joint that limits the robot first, the place, and the mass.
func (s Setup) worst(share, mu float64) (joint int, at Spot, kg float64) {
	kg, joint = math.Inf(1), -1
	for k := range s.Joints {
		if spot, m := s.greatestKg(k, share, mu); m < kg {
			joint, at, kg = k, spot, m
		}
	}
	return joint, at, kg
}

// bodyOf takes the legs off the mass of a robot.
func (s Setup) bodyOf(kg float64) float64 { return kg - float64(s.Legs)*s.Leg.Kg() }

// demand returns the mass of the robot that is to be held; 0 when none is known.
func (s Setup) demand() (kg float64, from string) {
	switch {
	case s.ScaleKg > 0:
		return s.ScaleKg, "the scale"
	case s.BodyKg > 0:
		return s.BodyKg + float64(s.Legs)*s.Leg.Kg(), "the body and the legs as stated"
	}
	return 0, "the greatest mass, as no body is stated"
}

// Budget works the budget out. seen is what the bench saw of each joint, by name.
func Budget(s Setup, seen map[string]Seen) (Answer, error) {
	s = s.Settled()
	if err := s.Check(); err != nil {
		return Answer{}, err
	}
	if len(s.Leg.spots(s.Space, grid)) == 0 {
		return Answer{}, errNoSpot
	}
	sup := s.support()
	a := Answer{LegKg: s.Leg.Kg(), Legs: s.Legs, Stance: s.Stance, Duty: s.Duty, SlopeDeg: s.Slope / rad, Allowed: s.Allowed(),
		Share: sup.Share, Support: sup}
	joint, at, most := s.worst(sup.Share, s.sideways())
	if joint < 0 {
		for _, j := range s.Joints {
			if j.StallNm > 0 {
				return Answer{}, errNoLoad
			}
		}
		return Answer{}, errNoStall
	}
	_, _, straight := s.worst(sup.Share, s.lean())
	a.At, a.Weakest = at, s.Joints[joint].Name
	a.GreatestBodyKg, a.StraightBodyKg = Number(s.bodyOf(most)), Number(s.bodyOf(straight))
	var u float64
	u, a.Doubt = s.bodyDoubt(sup.Share)
	a.BodyU = Number(u)
	kg, from := s.demand()
	if kg == 0 {
		kg = math.Max(most, 0)
	}
	a.DemandKg, a.DemandFrom = Number(kg), from
	swing := s.Swing()
	a.SwingS = swing.TimeS
	for k := range s.Joints {
		a.Joints = append(a.Joints, s.row(k, kg, sup.Share, swing))
	}
	a.Savings = s.Savings()
	a.Verdict = s.verdict(a)
	a.Sentence = s.sentence(a, joint)
	a.Compared = s.compared(a, seen)
	a.Assumptions, a.Warnings = s.assumptions(seen), s.warnings(a)
	return a, nil
}

// row works out one joint at a mass of the robot.
func (s Setup) row(k int, kg, share float64, swing Swing) Row {
	force := share * kg * gravity * math.Cos(s.Slope)
	at, peak := s.Leg.least(s.Space, func(p Spot) float64 { return -math.Abs(s.Leg.pulls(p.Pose)[k].torque(force, s.sideways())) })
	_, straight := s.Leg.least(s.Space, func(p Spot) float64 { return -math.Abs(s.Leg.pulls(p.Pose)[k].torque(force, s.lean())) })
	j := s.Joints[k]
	nan := Number(math.NaN())
	r := Row{Joint: j.Name, PeakNm: -peak, Straight: -straight, HeightM: at.HeightM, ReachM: at.ReachM, HipDeg: at.Pose[1] / rad, KneeDeg: at.Pose[2] / rad,
		StallNm: nan, Share: nan, ShareU: nan, Body: nan, HeatUse: nan, SwingNm: nan, SwingOwn: nan, SwingUse: nan, SwingSpeed: nan, Pull: nan, Tension: nan}
	if swing.OK {
		r.SwingNm, r.SwingOwn = Number(swing.Torque[k]), Number(swing.Static[k])
	}
	if j.StallNm > 0 {
		_, most := s.greatestKg(k, share, s.sideways())
		r.StallNm, r.Share, r.Body = Number(j.StallNm), Number(j.motor(r.PeakNm)), Number(s.bodyOf(most))
		r.ShareU = Number(s.shareDoubt(k, kg, share, j.motor(r.PeakNm)))
		r.HeatUse = Number(j.motor(r.PeakNm) * math.Sqrt(s.Duty) / LastingShare)
		if swing.OK {
			r.SwingUse, r.SwingSpeed = Number(j.motor(swing.Torque[k])), Number(swing.Rate[k]*j.Ratio/j.NoLoad)
		}
	}
	if j.PulleyM > 0 {
		peak := r.PeakNm
		if swing.OK {
			peak = math.Max(peak, swing.Torque[k])
		}
		r.Pull, r.Tension = Number(peak/j.PulleyM), Number(SkipShare*peak/j.PulleyM)
	}
	return r
}
