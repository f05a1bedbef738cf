package rig

// Geometry describes a leg as a yaw joint, a hip pitch and a knee pitch in a row (coxa, femur,
// tibia). Angles of the leg: yaw 0 points away from the body, hip 0 is a level femur, knee 0 a
// stretched leg; hip and knee count upwards, so a standing leg has a negative knee. Nil in Leg when
// bench.toml does not state it.
type Geometry struct {
	L1M, L2M, L3M float64 // yaw axis to hip axis, hip axis to knee axis, knee axis to foot
	// Yaw, Hip and Knee name the joints of the bench; "" for one that the leg does not have.
	Yaw, Hip, Knee string
	// KneeMotor says where the knee's motor sits; see the KneeMotor constants.
	KneeMotor string
	// BeltEfficiency is the share of a motor's torque that a belt hands on.
	BeltEfficiency float64
	// HeightM, ReachM and YawDeg are where a foot stands: how far the hip axis is above the ground,
	// how far the foot is from the yaw axis seen from above, how far the leg turns to either side.
	HeightM, ReachM, YawDeg [2]float64
	// HipZeroDeg and KneeZeroDeg are the leg's angles at which the bench reads 0 on these joints.
	HipZeroDeg, KneeZeroDeg float64
}

// Where the knee's motor sits.
const (
	KneeOnLink = "link" // it turns the tibia against the femur it sits on
	KneeOnBody = "body" // a belt keeps the tibia's direction to the body (parallel linkage)
)

// Link is one of the three links of a leg with all that is fixed to it, servos too.
type Link struct {
	MassKg  float64
	CentreM float64 // of mass, from the joint nearer to the body
	// InertiaKgM2 is about its own centre; 0 means that of a slender rod of its length.
	InertiaKgM2 float64
}

// Point is a place seen from above, m: x forward, y to the left.
type Point [2]float64

// Robot is what the legs carry and how they walk. Nil in Bench when bench.toml does not state it.
type Robot struct {
	Legs    int
	BodyKg  float64 // all that is no leg; 0 when not known
	ScaleKg float64 // the whole robot on a scale; 0 when it was not weighed
	// StanceLegs is how many legs stand at least; Duty which share of a step each one does. 0 for
	// what a gait with that many legs has: StanceLegs/Legs.
	StanceLegs int
	Duty       float64
	// HipsM are the yaw axes on the body, one per leg; nil when not stated, which means equal loads.
	HipsM []Point
	// ComM is the centre of mass of the whole robot seen from above, ComHeightM how far it is above
	// the hip axes.
	ComM       Point
	ComHeightM float64
	Friction   float64 // between foot and ground
	SlopeDeg   float64 // of the ground, in the worst direction
	StepS      float64 // time of a whole step, stance and swing
	StepM      float64 // how far the body goes in a step
	LiftM      float64 // how high a foot is lifted
}

// DefaultGeometry returns what holds where [leg.geometry] says nothing. The three lengths have no
// default. The stance follows from them: the foot below the middle of the femur and outwards, the
// hip about a femur's length above it [common practice].
func DefaultGeometry() Geometry {
	return Geometry{Yaw: "yaw", Hip: "hip", Knee: "knee", KneeMotor: KneeOnLink,
		BeltEfficiency: 0.95, // [common practice]
		YawDeg:         [2]float64{-20, 20}}
}

// stance fills in where a foot stands from the lengths.
func (g *Geometry) stance() {
	if g.HeightM == [2]float64{} {
		g.HeightM = [2]float64{0.5 * g.L3M, 0.9 * g.L3M}
	}
	if g.ReachM == [2]float64{} {
		g.ReachM = [2]float64{g.L1M + 0.5*g.L2M, g.L1M + g.L2M}
	}
}

// DefaultRobot returns what holds where [robot] says nothing; how many legs there are has no default.
func DefaultRobot() Robot {
	return Robot{
		Friction: 0.4, // hard foot on floor [common practice]
		StepS:    1.0, StepM: 0.05, LiftM: 0.03,
	}
}
