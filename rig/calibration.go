package rig

import (
	"math"
	"time"
)

// Calibration is what one joint's sensors and servo were found to be, against a jig, a meter and
// weights: the raw points, the constants fitted to them, when and by whom. It belongs to the parts
// whose serials it names. A calibration is written once and never changed; better constants are a
// calibration of another name. Steps that were not made are nil.
type Calibration struct {
	Name  string
	Joint string
	// From is the calibration the steps that were not made anew were taken from, "" for none.
	From string
	Tool string // the program that wrote it
	// Path is the file it was read from, for error messages; empty when made in code.
	Path string

	JointAngle *Correction // deg, joint-side sensor
	MotorAngle *Correction // deg, motor-side sensor
	Current    *Correction // A, supply current
	Supply     *Correction // V
	Pulse      *PulseMap
	Torque     *TorqueScale
}

// Made says of one step when, by whom and with which part it was made.
type Made struct {
	Date   time.Time
	Who    string
	Serial string // of the sensor or the servo, as bench.toml calls it; "" when not stated
	Run    string // the run the points were taken from, "" for points read one by one
}

// Model is the form of a Correction.
type Model string

// The models, from the least to the most that points can show.
const (
	// ModelZero: one constant for all readings.
	ModelZero Model = "zero"
	// ModelLine: zero and scale.
	ModelLine Model = "line"
	// ModelCurve: zero, scale and a square, perhaps a cube, between the first and the last reading.
	ModelCurve Model = "curve"
	// ModelWaves: zero, perhaps scale, and one and two waves per turn, as an off-centre magnet and
	// unequal channels make them. Angles only.
	ModelWaves Model = "waves"
)

// Correction turns a reading r into the true value:
//
//	r + Zero + Scale·x + Square·x² + Cube·x³ + Sin1·sin r + Cos1·cos r + Sin2·sin 2r + Cos2·cos 2r,  x = r - At
//
// The first three terms are the form of JCGM 100:2008, H.3 (a correction that is a straight line in
// the reading). Units are those of the reading; Scale is a pure number. Between From and To points
// were read; beyond them square and cube keep the value they have at the end.
type Correction struct {
	Made
	// Mount is how an angle sensor sat in bench.toml: readings are what the stand made of it. The zero
	// value for all else.
	Mount                  Mount
	Model                  Model
	At                     float64
	Zero, ZeroU            float64 // standard uncertainty; NaN where the points leave none
	Scale, ScaleU          float64
	Square, Cube           float64
	Sin1, Cos1, Sin2, Cos2 float64
	From, To               float64
	// ResidualSD is the residual standard deviation of the points and Freedom its degrees of freedom;
	// NaN with none.
	ResidualSD float64
	Freedom    int
	// FormU is the standard uncertainty of what the fit leaves, for readings within From and To; NaN
	// where the points leave it unknown.
	FormU float64
	// Within is what the reference itself is good for: it is right within ±Within.
	Within float64
	Points []CalibrationPoint
}

// CalibrationPoint is one raw point: what the reference said and what the sensor showed.
type CalibrationPoint struct {
	Reference float64
	Reading   float64 // mean of N samples
	SD        float64 // of one sample; 0 for a reading taken by hand
	N         int     // samples; 0 for a reading taken by hand
	Residual  float64 // reference less corrected reading
}

// Apply returns the true value behind a reading.
func (c *Correction) Apply(r float64) float64 {
	if c == nil {
		return r
	}
	x := r - c.At
	y := r + c.Zero + c.Scale*x
	if c.Square != 0 || c.Cube != 0 {
		x = math.Max(c.From, math.Min(c.To, r)) - c.At
		y += x * x * (c.Square + c.Cube*x)
	}
	if c.Model == ModelWaves {
		s, k := math.Sincos(r * pi / 180)
		y += c.Sin1*s + c.Cos1*k + c.Sin2*2*s*k + c.Cos2*(k*k-s*s)
	}
	return y
}

// Steps lists the steps that were made, in the order of the file, with when and by whom.
func (c *Calibration) Steps() []CalibrationStep {
	var out []CalibrationStep
	add := func(key string, m *Made) { out = append(out, CalibrationStep{key, *m}) }
	for _, s := range correctionSteps() {
		if x := *s.of(c); x != nil {
			add(s.key, &x.Made)
		}
	}
	if c.Pulse != nil {
		add("pulse", &c.Pulse.Made)
	}
	if c.Torque != nil {
		add("torque", &c.Torque.Made)
	}
	return out
}

// CalibrationStep is one step that was made.
type CalibrationStep struct {
	Key string // as the table of the file
	Made
}

// correctionStep ties a table of the file to its field.
type correctionStep struct {
	key, unit string
	reference string // what gave the true value
	of        func(*Calibration) **Correction
	mount     func(Sensors) Mount // nil: no angle
}

func correctionSteps() []correctionStep {
	return []correctionStep{
		{"joint_angle", "deg", "jig", func(c *Calibration) **Correction { return &c.JointAngle }, Sensors.Joint},
		{"motor_angle", "deg", "jig", func(c *Calibration) **Correction { return &c.MotorAngle }, Sensors.Motor},
		{"current", "a", "meter", func(c *Calibration) **Correction { return &c.Current }, nil},
		{"supply", "v", "meter", func(c *Calibration) **Correction { return &c.Supply }, nil},
	}
}

// MountOf returns how the sensor of a step sits in a joint; the zero value where the step is of no angle.
func MountOf(key string, j Joint) Mount {
	for _, s := range correctionSteps() {
		if s.key == key && s.mount != nil {
			return s.mount(j.Sensors)
		}
	}
	return Mount{}
}

// Correction returns the place of a step that is a correction (joint_angle, motor_angle, current,
// supply); it panics for any other key.
func (c *Calibration) Correction(key string) **Correction {
	for _, s := range correctionSteps() {
		if s.key == key {
			return s.of(c)
		}
	}
	panic("rig: no correction " + key)
}
