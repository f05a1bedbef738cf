package alike

import "limbgauge/analyze/health"

type kind int

const (
	free   kind = iota // the figure does not hang on the condition
	say                // it may, a little: compared as it is, and said
	law                // it does, by a law
	refuse             // it does, and no law is known
)

type rule struct {
	kind kind
	law  lawOf
}

// row says what a measure hangs on.
type row struct {
	// load: its torque; swing: its moment of inertia.
	load, swing, volts, heat rule
	// place: the stretch of angles or where in it the load hangs down.
	place, rate rule
	// angle, current: the scale of the sensor it is read by.
	angle, current rule
	// servoOnly: the voltage counts only where the servo is in the path.
	servoOnly bool
}

var (
	no      = rule{kind: refuse}
	perhaps = rule{kind: say}
)

func by(l lawOf) rule { return rule{law, l} }

// table says of each measure which conditions it hangs on. Figures told per torque, or as a place or
// a share of samples, are free of the load; differences of angles are free of the angle's zero and,
// as near as makes no odds, of its scale. The servo's own stiffness grows with its voltage, so what is
// seen under load through the servo hangs on it.
var table = map[string]row{
	"reversal_error":       {load: no, volts: no, place: no, servoOnly: true},
	"mean_reversal":        {load: no, volts: no, place: no, servoOnly: true},
	"repeatability":        {load: no, volts: no, place: no, servoOnly: true},
	"systematic_deviation": {load: no, volts: no, place: no, angle: no, servoOnly: true},
	"accuracy":             {load: no, volts: no, place: no, angle: no, servoOnly: true},
	"pose_repeatability":   {load: no, volts: no, place: no, servoOnly: true},
	"play":                 {},
	"compliance":           {volts: no, heat: no, servoOnly: true},
	// The frame grows with warmth more than the belt's cords, which changes the tension by itself.
	"span_slack_torque": {heat: perhaps},
	"belt_tension":      {heat: perhaps},
	// Gears rub more under load, the more the worse they are made.
	"friction":              {load: perhaps, heat: no, current: no},
	"viscous_friction":      {load: perhaps, heat: no, current: no},
	"friction_asymmetry":    {load: perhaps, heat: no, current: no},
	"tight_spot":            {place: no, current: no},
	"tight_spot_angle":      {place: no, angle: no},
	"tight_spot_width":      {place: no},
	"load_torque_peak":      {place: perhaps},
	"load_torque_amplitude": {current: no},
	"torque_use":            {load: by(torqueByLoad), volts: by(torqueByVolts), place: no},
	"heat_share":            {load: by(heatByLoad), place: no, current: no},
	"temp_rise":             {load: by(heatByLoad), place: no},
	"stall_time":            {load: no, volts: no, place: no},
	"supply_sag":            {load: by(sagByLoad), volts: no, place: no, rate: no},
	"offset_step":           {},
	"offset_step_time":      {place: no},
	"creep":                 {load: by(strainByLoad), heat: no, place: no},
	"permanent_set":         {load: by(strainByLoad), heat: no, place: no},
	"rise_time":             {load: no, swing: no, volts: by(timeByVolts), place: no, rate: no},
	"overshoot":             {load: no, swing: no, volts: no, place: no, rate: no},
	"settle_time":           {load: no, swing: no, volts: no, place: no, rate: no},
	"natural_frequency":     {swing: by(swingByInertia), heat: no, rate: no},
	"damping_ratio":         {swing: no, heat: no, rate: no},
	"peak_speed":            {load: no, swing: no, volts: by(speedByVolts), place: no, rate: no},
	"dead_time":             {rate: no},
	"bandwidth":             {load: no, swing: no, volts: no, rate: no},
	"resonance":             {swing: by(swingByInertia), heat: no, rate: no},
	"lost_samples":          {rate: perhaps},
}

// loadCost are measures of what the load costs the drive.
var loadCost = map[string]bool{"torque_use": true, "heat_share": true, "temp_rise": true, "stall_time": true, "supply_sag": true}

// LoadCost says whether a measure is what the load costs the drive. Between revisions, where a leg may
// be heavier on purpose, such figures are to be compared as they are.
func LoadCost(measure string) bool { return loadCost[measure] }

// condition is one thing in which runs differ.
type condition struct {
	rule   func(row, health.Path) rule
	differ func(at, to Conditions) difference
}

// difference says how conditions differ; text is empty where they do not or it is not known.
type difference struct {
	text    string
	refuse  bool // by more than figures without a law allow
	law     bool // by more than makes a correction worth while
	unknown bool // it is known of one only
}

// Places of conditions that are asked for by name.
const (
	loadPlace  = 1
	swingPlace = 2
)

var conditions = []condition{
	{always, routine},
	loadPlace:  {func(r row, _ health.Path) rule { return r.load }, load},
	swingPlace: {func(r row, _ health.Path) rule { return r.swing }, turning},
	{func(r row, p health.Path) rule {
		if r.servoOnly && p == health.Transmission {
			return rule{}
		}
		return r.volts
	}, volts},
	{func(r row, _ health.Path) rule { return r.heat }, ambient},
	{func(r row, _ health.Path) rule { return r.place }, place},
	{func(r row, _ health.Path) rule { return r.rate }, rate},
	{func(r row, _ health.Path) rule { return worst(r.angle, r.current) }, calibration},
}

func always(row, health.Path) rule { return no }

func worst(a, b rule) rule {
	if a.kind > b.kind {
		return a
	}
	return b
}
