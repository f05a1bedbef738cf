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

// PulseMap says where the servo really goes for a pulse, apart for rising and falling pulses: two
// straight lines, angle = Deg + DegPerUS·(pulse - AtUS), at the joint.
type PulseMap struct {
	Made
	AtUS     float64
	Up, Down PulseLine
	GapDeg   float64 // Up less Down at AtUS, in degrees: dead band, play and friction together
	GapDegU  float64
	// SideDeg is half the step where the link hangs down, at DownDeg: play and dead band under its own
	// weight. It is no part of where the servo goes; 0 when none was seen.
	SideDeg, SideDegU, DownDeg float64
	ResidualSD                 float64 // deg, of both lines together
	Freedom                    int
	FromUS                     float64
	ToUS                       float64
	WithinDeg                  float64
	Points                     []PulsePoint
}

// sideDeg is how near hanging down it is not known to which side a link falls.
const sideDeg = 1.0

// PulseSide returns on which side of hanging down an angle lies: -1, 1, or 0 close to it.
func PulseSide(angleDeg, downDeg float64) float64 {
	switch d := angleDeg - downDeg; {
	case d > sideDeg:
		return 1
	case d < -sideDeg:
		return -1
	}
	return 0
}

// At returns the angle the map gives for a point, with the step of its side.
func (p *PulseMap) At(q *PulsePoint) float64 {
	l := p.Line(q.Direction)
	return l.Deg + l.DegPerUS*(q.PulseUS-p.AtUS) + p.SideDeg*PulseSide(q.AngleDeg, p.DownDeg)
}

// PulseLine is one direction of a PulseMap.
type PulseLine struct {
	Deg, DegU           float64
	DegPerUS, DegPerUSU float64
}

// PulsePoint is one stop: a pulse, the side it was reached from (+1 by rising pulses), and the angle.
type PulsePoint struct {
	PulseUS    float64
	Direction  int
	ReadingDeg float64 // as the sensor shows it
	AngleDeg   float64 // corrected by the same calibration's joint angle, where it has one
	SD         float64
	N          int
	Residual   float64
}

// Line returns the line of a direction.
func (p *PulseMap) Line(direction int) PulseLine {
	if direction < 0 {
		return p.Down
	}
	return p.Up
}

// Angle returns where the joint goes for a pulse, midway between both directions.
func (p *PulseMap) Angle(us float64) float64 {
	x := us - p.AtUS
	return (p.Up.Deg + p.Down.Deg + (p.Up.DegPerUS+p.Down.DegPerUS)*x) / 2
}

// PulseOf returns the pulse in µs that a stand makes for a command: the servo's pulses span its
// travel with the middle at joint angle 0.
func (j Joint) PulseOf(commandDeg float64) float64 {
	lo, hi := float64(j.Servo.PulseUS[0]), float64(j.Servo.PulseUS[1])
	return (lo+hi)/2 + commandDeg*j.Ratio()*(hi-lo)/j.Servo.TravelDeg
}

// TorqueScale says which current flows at standstill under a torque at the servo's shaft:
// IdleA + Scale·T for CurrentMotor (A/N·m), IdleA + Scale·T² for CurrentDuty (A/(N·m)²).
type TorqueScale struct {
	Made
	Law           CurrentLaw // CurrentUnknown when the points do not decide; then Scale is 0
	Scale, ScaleU float64
	IdleA, IdleAU float64
	ResidualSD    float64 // A
	Freedom       int
	Undecided     string // why Law is unknown
	Points        []TorquePoint
}

// TorquePoint is the current under one weight at one angle.
type TorquePoint struct {
	TorqueNm float64 // at the servo's shaft, signed
	MassKg   float64 // 0 where the torque was stated itself
	LeverM   float64
	AngleDeg float64 // from hanging straight down
	ReadingA float64
	CurrentA float64 // corrected by the same calibration's current, where it has one
	SD       float64
	N        int
	Residual float64
}

// Current returns the current the scale gives for a torque.
func (t *TorqueScale) Current(torqueNm float64) float64 {
	if t.Law == CurrentDuty {
		return t.IdleA + t.Scale*torqueNm*torqueNm
	}
	return t.IdleA + t.Scale*math.Abs(torqueNm)
}

// Doubt is what a calibration leaves uncertain of a joint's readings, as standard uncertainties. It
// is there for the analysis; a field of 0 is one that no calibration speaks of.
type Doubt struct {
	JointFormDeg, MotorFormDeg float64 // of one reading against another, zero and scale apart
	JointZeroDeg, MotorZeroDeg float64
	JointScale, MotorScale     float64 // relative
	CurrentA, CurrentScale     float64
	SupplyV                    float64
	// Torque ties current to torque as weights showed it, nil when none were hung.
	Torque *TorqueScale
}

// Series returns the corrected samples of a joint that is set up as j. What no step speaks of is
// the same as in s, which is left as it is. A nil calibration corrects nothing.
func (c *Calibration) Series(s *Series, j Joint) *Series {
	if c == nil {
		return s
	}
	out := *s
	out.Calibration = c.Name
	for _, col := range []struct {
		of *[]float64
		by *Correction
	}{{&out.Angle, c.JointAngle}, {&out.Motor, c.MotorAngle}, {&out.Current, c.Current}, {&out.Supply, c.Supply}} {
		if col.by != nil {
			*col.of = mapped(*col.of, col.by.Apply)
		}
	}
	if p := c.Pulse; p != nil {
		out.Command = mapped(out.Command, func(deg float64) float64 { return p.Angle(j.PulseOf(deg)) })
	}
	return &out
}

func mapped(col []float64, f func(float64) float64) []float64 {
	if col == nil {
		return nil
	}
	out := make([]float64, len(col))
	for i, v := range col {
		out[i] = f(v) // NaN stays NaN
	}
	return out
}

// Setup returns j with what the calibration says of it: its doubt, and the law and idle current that
// weights showed, unless bench.toml states a law itself.
func (c *Calibration) Setup(j Joint) Joint {
	if c == nil {
		return j
	}
	known := func(u float64) float64 {
		if math.IsNaN(u) {
			return 0
		}
		return u
	}
	if a := c.JointAngle; a != nil {
		j.Doubt.JointFormDeg, j.Doubt.JointZeroDeg, j.Doubt.JointScale = known(a.FormU), known(a.ZeroU), known(a.ScaleU)
	}
	if a := c.MotorAngle; a != nil {
		j.Doubt.MotorFormDeg, j.Doubt.MotorZeroDeg, j.Doubt.MotorScale = known(a.FormU), known(a.ZeroU), known(a.ScaleU)
	}
	if a := c.Current; a != nil {
		j.Doubt.CurrentA, j.Doubt.CurrentScale = known(a.ZeroU), known(a.ScaleU)
	}
	if a := c.Supply; a != nil {
		j.Doubt.SupplyV = known(a.ZeroU)
	}
	if t := c.Torque; t != nil && t.Law != CurrentUnknown {
		j.Doubt.Torque = t
		if j.Servo.CurrentLaw == CurrentUnknown {
			j.Servo.CurrentLaw, j.Servo.IdleA = t.Law, t.IdleA
		}
	}
	return j
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
}

func correctionSteps() []correctionStep {
	return []correctionStep{
		{"joint_angle", "deg", "jig", func(c *Calibration) **Correction { return &c.JointAngle }},
		{"motor_angle", "deg", "jig", func(c *Calibration) **Correction { return &c.MotorAngle }},
		{"current", "a", "meter", func(c *Calibration) **Correction { return &c.Current }},
		{"supply", "v", "meter", func(c *Calibration) **Correction { return &c.Supply }},
	}
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
