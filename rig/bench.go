package rig

// Bench is all that bench.toml says: the stand, the leg and its joints in file order.
type Bench struct {
	Stand  Stand
	Leg    Leg
	Joints []Joint
	// Robot is what the legs carry; nil when not stated.
	Robot *Robot
	// Path is the file the bench was read from, for error messages; empty when made in code.
	Path string
}

// Stand is the hardware a leg is tested on.
type Stand struct {
	// Port is a serial port's path, "virtual" for the built-in stand made of physics, or "auto".
	Port string
	// Baud is the line rate of a serial port, in bits per second.
	Baud int
	// SampleHz is the rate asked of the stand, per joint.
	SampleHz float64
	// Form is how the stand speaks: FormFrames or FormText.
	Form string
}

// Port names with a meaning of their own.
const (
	PortVirtual = "virtual"
	PortAuto    = "auto"
)

// The forms a stand can speak.
const (
	FormFrames = "frames" // the binary protocol of firmware-protocol/SPEC.md
	FormText   = "text"   // one line of line protocol per sample, nothing commanded
)

// Leg is the leg under test: its name and, for the torque budget, how it is built.
type Leg struct {
	Name     string
	Geometry *Geometry // nil when not stated
	// Coxa, Femur and Tibia are its links, from the body outwards; 0 where nothing is stated.
	Coxa, Femur, Tibia Link
}

// Joint describes one joint as its builder knows it.
type Joint struct {
	Name    string `json:"name"`
	Channel int    `json:"channel"`
	// RangeDeg is the smallest and greatest joint angle the stand may command.
	RangeDeg [2]float64 `json:"range_deg"`
	// CurrentMaxA is the supply current above which the stand trips; 0 means no limit is set.
	CurrentMaxA float64 `json:"current_max_a"`
	// Load is all that hangs on the joint as one point mass; nil when unknown.
	Load    *Load   `json:"load,omitempty"`
	Servo   Servo   `json:"servo"`
	Belt    *Belt   `json:"belt,omitempty"` // nil for a direct joint
	Sensors Sensors `json:"sensors"`
	Limits  Limits  `json:"limits"`
	// Calibration names the calibration whose constants correct the joint's readings; "" for none.
	Calibration string `json:"calibration,omitempty"`
	// Doubt is what that calibration leaves uncertain; see Calibration.Setup.
	Doubt Doubt `json:"-"`
}

// Load is the hanging load of a joint, reduced to one point mass.
type Load struct {
	MassKg      float64 `json:"mass_kg"`
	LeverM      float64 `json:"lever_m"`
	InertiaKgM2 float64 `json:"inertia_kg_m2"` // about the joint axis; 0 means MassKg·LeverM²
	DownDeg     float64 `json:"down_deg"`      // joint angle at which the load hangs straight down
}

// Gravity is the standard acceleration of free fall, m/s² (CGPM 1901).
const Gravity = 9.80665

// Amplitude returns the torque of the load held level with the axis, N·m.
func (l Load) Amplitude() float64 { return l.MassKg * Gravity * l.LeverM }

// Servo is what the builder knows of the servo. Rated is in rising order of Volts.
type Servo struct {
	Rated      []Rating `json:"rated,omitempty"`
	IdleA      float64  `json:"idle_a"`
	TravelDeg  float64  `json:"travel_deg"`
	PulseUS    [2]int   `json:"pulse_us"`
	DeadbandUS float64  `json:"deadband_us"`
	// FrameHz is how many pulses a second its data sheet names; 0 leaves the stand its own rate.
	FrameHz int `json:"frame_hz,omitempty"`
	// CurrentLaw says what the supply current follows; see the CurrentLaw constants.
	CurrentLaw CurrentLaw `json:"current_law,omitempty"`
	Serial     string     `json:"serial,omitempty"` // of this very servo, for its calibration
	// BareRun is the run in which this servo was measured by itself; "" for none.
	BareRun string `json:"bare_run,omitempty"`
}

// Rating is one line of a servo's data sheet.
type Rating struct {
	Volts         float64 `json:"volts"`
	StallNm       float64 `json:"stall_nm"`
	NoLoadDegPerS float64 `json:"no_load_deg_per_s"`
	StallA        float64 `json:"stall_a"`
}

// CurrentLaw says how the current in the supply lead relates to the motor's own.
type CurrentLaw string

const (
	// CurrentUnknown leaves the law to be found from the run.
	CurrentUnknown CurrentLaw = ""
	// CurrentMotor: supply current equals motor current, linear in torque at standstill.
	CurrentMotor CurrentLaw = "motor"
	// CurrentDuty: a switching driver draws duty times motor current, square in torque at standstill.
	CurrentDuty CurrentLaw = "duty"
)

// Belt is a toothed belt between the motor-side pulley and the joint.
type Belt struct {
	Teeth   int     `json:"teeth"`    // of the motor-side pulley
	PitchMM float64 `json:"pitch_mm"` // of the belt
	Ratio   float64 `json:"ratio"`    // motor angle : joint angle
}

// RadiusM returns the pitch radius of the motor-side pulley in m: teeth·pitch/(2π).
func (b Belt) RadiusM() float64 { return float64(b.Teeth) * b.PitchMM / 1000 / (2 * pi) }

// JointRadiusM returns the pitch radius of the joint-side pulley in m.
func (b Belt) JointRadiusM() float64 { return b.RadiusM() * b.Ratio }

// JointTeeth returns the number of teeth of the joint-side pulley.
func (b Belt) JointTeeth() float64 { return float64(b.Teeth) * b.Ratio }

// Sensors says how finely each angle is read, and from where and in which sense. A count of 0 means the
// angle is not measured.
type Sensors struct {
	JointCounts int `json:"joint_counts"` // per turn, at the joint
	MotorCounts int `json:"motor_counts"` // per turn, at the motor side
	// How the two sit; see Joint and Motor.
	JointZeroDeg  float64 `json:"joint_zero_deg,omitempty"`
	MotorZeroDeg  float64 `json:"motor_zero_deg,omitempty"`
	JointReversed bool    `json:"joint_reversed,omitempty"`
	MotorReversed bool    `json:"motor_reversed,omitempty"`
	// Serial marks this set of sensors, for its calibration.
	Serial string `json:"serial,omitempty"`
}

// Joint returns how the joint's sensor sits.
func (s Sensors) Joint() Mount { return Mount{s.JointZeroDeg, s.JointReversed} }

// Motor returns how the motor side's sensor sits.
func (s Sensors) Motor() Mount { return Mount{s.MotorZeroDeg, s.MotorReversed} }

// Ratio returns the belt's ratio motor angle : joint angle, 1 for a direct joint.
func (j Joint) Ratio() float64 {
	if j.Belt == nil || j.Belt.Ratio == 0 {
		return 1
	}
	return j.Belt.Ratio
}

// BareServo returns the joint as its servo alone: the belt off, the joint's angle sensor and its
// weight on the servo's own horn. The servo turns as far as it does in the joint. Zero and sense of the
// sensor stay what bench.toml says: on the horn they are those of the sensor there.
func (j Joint) BareServo() Joint {
	k := j.Ratio()
	j.RangeDeg = [2]float64{k * j.RangeDeg[0], k * j.RangeDeg[1]}
	if j.Load != nil {
		l := *j.Load
		l.DownDeg *= k
		j.Load = &l
	}
	// What a jig said of the joint's sensor does not hold on the horn.
	j.Belt, j.Sensors.MotorCounts, j.Servo.BareRun, j.Calibration = nil, 0, "", ""
	return j
}

// Kind returns "belt" or "direct".
func (j Joint) Kind() string {
	if j.Belt != nil {
		return "belt"
	}
	return "direct"
}

// JointByName finds a joint; ok is false when the bench has none of that name.
func (b *Bench) JointByName(name string) (j Joint, ok bool) {
	for _, j := range b.Joints {
		if j.Name == name {
			return j, true
		}
	}
	return Joint{}, false
}
