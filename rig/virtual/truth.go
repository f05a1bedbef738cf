package virtual

import (
	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
)

// Truth is what one joint of the virtual stand really is, as against what bench.toml says of it.
// It is plain data: copy it, change it, print it. Sides: "joint side" figures are seen at the joint,
// "motor side" ones at the servo's output shaft; they differ by the belt's ratio.
type Truth struct {
	// Seed fixes every random number of this joint's sensors.
	Seed    uint64
	Servo   Servo
	Horn    Horn
	Belt    *Belt // nil for a direct joint
	Part    Part
	Bearing Bearing
	Load    Load
	Sensors Sensors
	// Supply and Line belong to the whole stand. Where the joints of a stand differ, the supply of
	// the greatest resistance and the line of the greatest loss count.
	Supply Supply
	Line   Line
}

// Servo is the motor with its gears and its controller, seen at the output shaft.
type Servo struct {
	// StallNm, NoLoadDegPerS and StallA hold at RatedV, as a data sheet would say; all scale with
	// the voltage. StallA includes IdleA.
	RatedV, StallNm, NoLoadDegPerS, StallA float64
	// IdleA is what the electronics draw at rest.
	IdleA float64
	// Law is what the supply current follows: rig.CurrentMotor or rig.CurrentDuty.
	Law rig.CurrentLaw
	// InertiaKgM2 is that of rotor and gears.
	InertiaKgM2 float64
	// GearFrictionNm is lost in the gears; StallNm is what is left behind it.
	GearFrictionNm float64
	// PlayDeg is the gear play between what the servo steers and the horn, full width. With
	// SenseOutput the servo steers the horn instead, and its play shows only as restlessness.
	PlayDeg     float64
	SenseOutput bool
	// MeshDegPerNm is the give of the gears.
	MeshDegPerNm float64
	// TravelDeg of the shaft belong to the pulses PulseUS[0] to PulseUS[1].
	TravelDeg float64
	PulseUS   [2]int
	// MiddleUS is how much longer than the middle of PulseUS the pulse of the shaft's middle is, and
	// TravelError how much further than TravelDeg says a pulse turns the shaft, relative.
	MiddleUS, TravelError float64
	// DeadbandUS is the full width of pulse change that the controller ignores.
	DeadbandUS float64
	// FullDutyDeg is the error beyond the dead band at which the motor gets the whole voltage.
	FullDutyDeg float64
	// DampingS is the controller's share of the speed in its error: error - DampingS·speed.
	DampingS float64
	// HuntDeg and HuntHz let the servo hunt: a wobble, peak and frequency, of the angle it steers by.
	// It is put in as what it looks like, as real hunting hangs on details the model lacks.
	HuntDeg, HuntHz float64
	// HeatKPerW and HeatS are the thermal resistance and time constant of the motor as one body.
	// Warm copper has more resistance and so less torque. HeatKPerW 0: it stays at ambient.
	HeatKPerW, HeatS, AmbientC float64
}

// hornDegPerNm is the give of a bare horn with a weight on it.
const hornDegPerNm = 0.05

// BareServo returns the same servo by itself: belt and printed part off, the weight and the joint's
// angle sensor on its horn. It fits rig.Joint.BareServo.
func (t Truth) BareServo() Truth {
	t = t.clone()
	if t.Belt != nil {
		k := t.Belt.Ratio
		t.Load.DownDeg *= k
		t.Load.RangeDeg = [2]float64{k * t.Load.RangeDeg[0], k * t.Load.RangeDeg[1]}
	}
	t.Belt, t.Bearing = nil, Bearing{TightWidthDeg: t.Bearing.TightWidthDeg}
	t.Part = Part{DegPerNm: hornDegPerNm, Damping: t.Part.Damping}
	t.Sensors.Motor = Encoder{}
	return t
}

// Slip is a lasting change of the angle between two parts at a time of its own.
type Slip struct {
	AtS float64 // since the joint was first armed
	Deg float64 // positive to greater angles of the part driven
	// AlongLoad takes the size of Deg and the direction in which the load pulls at that moment.
	AlongLoad bool
}

// Horn is the joint between the servo's shaft and what it drives. It lies behind the motor-side sensor.
type Horn struct {
	OffsetDeg float64 // slipped before, motor side
	Slips     []Slip  // one-off slips, motor side
	// Above HoldNm at the shaft the horn gives way at SlipDegPerNmS; 0 means that it holds.
	HoldNm, SlipDegPerNmS float64
}

// Belt is the toothed belt with its two spans.
type Belt struct {
	Teeth   int     // of the motor-side pulley
	PitchMM float64 //
	Ratio   float64 // motor angle : joint angle
	// SpanNPerM is the stiffness of one span.
	SpanNPerM float64
	// TensionN is the pretension of each span a minute or less after it was set.
	TensionN float64
	// SlackDeg is the dead zone of a belt too long to be tight, full width at the joint. It counts
	// where no tension is left.
	SlackDeg float64
	// KneeShare is the width over which the stiffness changes where a span goes slack, as a share of
	// the torque at which it does: cords stiffen with tension. 0 is a sharp knee.
	KneeShare float64
	// Damping is the damping ratio of the load on the transmission.
	Damping float64
	// A tooth skips when the belt's pull exceeds SkipBaseN + SkipPerN·tension; 0, 0 means never.
	SkipBaseN, SkipPerN float64
	// OffsetTeeth were skipped before; Skips are put in at a time of their own, Deg in teeth.
	OffsetTeeth float64
	Skips       []Slip
	// As the printed part creeps under the pull of the belt, tension goes: LossPerDecadeN for each
	// tenfold of the time since the belt was set, AgeS ago, counted from the first minute on. Creep
	// of the part under the load takes LossNPerDeg more for each degree.
	LossPerDecadeN, AgeS, LossNPerDeg float64
}

// Part is the printed part in the way of the torque: it bends, and under a lasting load it creeps.
type Part struct {
	DegPerNm float64 // joint side
	// PlayDeg is lost motion with a fixed width (worn screw holes), full width at the joint.
	PlayDeg float64
	// Creep under 1 N·m is CreepDegPerNm·log10(1 + t/1 s), or CreepDegPerNm·(t/1 s)^CreepExponent when
	// the exponent is not 0. It comes back as slowly when the load is gone.
	CreepDegPerNm, CreepExponent float64
	// Damping of a direct joint; a belt brings its own.
	Damping float64
}

// Bearing is the joint's own bearing.
type Bearing struct {
	CoulombNm        float64
	ViscousNmSPerRad float64
	// A tight spot adds TightNm of Coulomb friction at TightDeg, bell-shaped with the half-width
	// TightWidthDeg (to 1/e).
	TightNm, TightDeg, TightWidthDeg float64
}

// Load is what hangs on the joint, as one point mass, and the range it is swept over.
type Load struct {
	MassKg, LeverM, InertiaKgM2, DownDeg float64
	RangeDeg                             [2]float64
}

// Sensors are the two angle sensors, the current and the supply reading of one joint.
type Sensors struct {
	Joint, Motor Encoder
	// CurrentNoiseA is the standard deviation of one reading; CurrentOffsetA its error at zero.
	CurrentNoiseA, CurrentOffsetA float64
	SupplyNoiseV, SupplyOffsetV   float64
	// The gain errors are relative: 0.02 reads 2 % too much.
	CurrentGainError, SupplyGainError float64
	// Temp adds the motor's temperature to the samples.
	Temp bool
}

// Encoder is one angle sensor. The zero value measures nothing.
type Encoder struct {
	Counts   int     // per turn; 0: there is none
	NoiseDeg float64 // standard deviation
	// Mount is how it sits, as its builder knows: bench.toml says it, and the stand takes it off again.
	Mount rig.Mount
	// Beyond that it reads ZeroDeg + ScaleError·angle too much.
	ZeroDeg, ScaleError float64
	// Magnet is what it says of its magnet; 0 means that it is good.
	Magnet wire.Magnet
	// Form error of an off-centre magnet: peaks and phases of the first and second harmonic.
	Wave1Deg, Phase1Deg, Wave2Deg, Phase2Deg float64
	Fault                                    EncoderFault
}

// EncoderFault is what is wrong with an angle sensor between two times (since the joint was first
// armed). ToS 0 means to the end.
type EncoderFault struct {
	Kind       FaultKind
	FromS, ToS float64
	SizeDeg    float64 // of the jumps or the noise
	PerS       float64 // jumps per second
}

// FaultKind is a way in which an angle sensor fails.
type FaultKind string

// The ways.
const (
	Sound   FaultKind = ""
	Frozen  FaultKind = "frozen"  // keeps its last reading
	Jumping FaultKind = "jumping" // single readings far off
	Noisy   FaultKind = "noisy"   // every reading off
	Silent  FaultKind = "silent"  // no reading at all
)

// Supply feeds all joints of a stand.
type Supply struct {
	OpenV, Ohm float64 // source and leads
	CapacitorF float64 // at the servos
}

// Line is the way from stand to host.
type Line struct {
	// Loss and Damage are the shares of frames (or text lines) that vanish or arrive broken.
	Loss, Damage float64
}
