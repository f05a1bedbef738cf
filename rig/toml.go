package rig

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"slices"
	"strings"

	wire "limbgauge/firmware-protocol"
)

// DefaultStand returns what holds where [stand] says nothing.
func DefaultStand() Stand {
	return Stand{Port: PortVirtual, Baud: 500000, SampleHz: 250, Form: FormFrames}
}

// DefaultJoint returns what holds where a [[joint]], the i-th of its file, says nothing. It is the
// one place for these values. Two defaults depend on other keys: current_max_a is the greatest
// stall_a of servo.rated, or defaultCurrentMaxA where none is given; belt.ratio is 1.
//
// A name and range_deg have no default: only the builder knows how far a joint may go. What a
// data sheet would have to say stays 0, which means unknown: idle_a, deadband_us.
func DefaultJoint(i int) Joint {
	return Joint{
		Channel: i,
		// The usual scale of hobby servos and of 12-bit magnetic angle sensors (data sheets).
		Servo:   Servo{TravelDeg: 180, PulseUS: [2]int{500, 2500}},
		Sensors: Sensors{JointCounts: 4096},
		Limits:  Limits{},
	}
}

const (
	// defaultCurrentMaxA is below what a standard servo draws when it stalls (common practice).
	defaultCurrentMaxA = 2.0
	defaultLegName     = "leg"
	// steinerSlack is how far below mass·lever² a stated inertia may lie for having been measured.
	steinerSlack = 0.9
)

// LoadBench reads a bench file. Everything that is wrong with it is reported at once, as joined
// *ConfigError in line order.
func LoadBench(path string) (*Bench, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		e := &ConfigError{Path: path, Problem: "can not be read: " + err.Error()}
		if errors.Is(err, fs.ErrNotExist) {
			e.Problem, e.Hint = "there is no such file", `"limbgauge init" writes one to start from`
		}
		return nil, e
	}
	return ParseBench(path, data)
}

// ParseBench reads the text of a bench file; path is for error messages only.
func ParseBench(path string, data []byte) (*Bench, error) {
	d, syntax := parseDocument(path, data)
	if syntax != nil {
		return nil, syntax
	}
	b := &Bench{Stand: DefaultStand(), Leg: Leg{Name: defaultLegName}, Path: path}
	d.read("", d.root, nil, "stand", "leg", "joint", "robot")
	if t, ok := d.table("", d.root, "stand"); ok {
		d.read("stand", t, standFields(&b.Stand))
		d.oneOf("stand.form", b.Stand.Form, FormFrames, FormText)
		if b.Stand.Port == "" {
			d.blame("stand.port", "is empty", `give "virtual", "auto" or the path of a serial port`)
		}
	}
	if t, ok := d.table("", d.root, "leg"); ok {
		d.leg(t, &b.Leg)
	}
	if t, ok := d.table("", d.root, "robot"); ok {
		b.Robot = d.robot(t)
	}
	joints := d.tables("", d.root, "joint", "write [[joint]] on a line of its own and its keys below")
	if _, there := d.root["joint"]; !there {
		d.blame("", "there is no joint", "describe each joint of the leg below a line [[joint]]")
	}
	for i, t := range joints {
		if t != nil {
			b.Joints = append(b.Joints, d.joint(element("joint", i), t, DefaultJoint(i)))
		}
	}
	d.distinct(b.Joints)
	d.legJoints(b)
	if err := d.err(); err != nil {
		return nil, err
	}
	return b, nil
}

func (d *document) joint(at string, t map[string]any, j Joint) Joint {
	before := len(d.problems)
	d.read(at, t, jointFields(&j), "load", "servo", "belt", "sensors", "limits")
	if _, ok := t["name"]; ok {
		d.name(under(at, "name"), j.Name)
	}
	if _, ok := t["calibration"]; ok {
		if wrong := CalibrationNameWrong(j.Calibration); wrong != "" {
			d.blame(under(at, "calibration"), wrong, "give the name of a file in calibrations/ without .toml, or leave the key out")
		}
	}
	if sub, ok := d.table(at, t, "load"); ok {
		j.Load = new(Load)
		p := under(at, "load")
		d.read(p, sub, loadFields(j.Load))
		if least := j.Load.MassKg * j.Load.LeverM * j.Load.LeverM; j.Load.InertiaKgM2 > 0 && j.Load.InertiaKgM2 < steinerSlack*least {
			d.blame(under(p, "inertia_kg_m2"), fmt.Sprintf("is %.3g, less than mass·lever² = %.3g, which no body has", j.Load.InertiaKgM2, least),
				"give the inertia about the joint's axis, not about the load's own centre, or leave the key out")
		}
	}
	if sub, ok := d.table(at, t, "servo"); ok {
		d.servo(under(at, "servo"), sub, &j.Servo)
	}
	if sub, ok := d.table(at, t, "belt"); ok {
		j.Belt = &Belt{Ratio: 1}
		d.read(under(at, "belt"), sub, beltFields(j.Belt))
	}
	if sub, ok := d.table(at, t, "sensors"); ok {
		d.read(under(at, "sensors"), sub, sensorFields(&j.Sensors))
	}
	if sub, ok := d.table(at, t, "limits"); ok {
		d.limits(under(at, "limits"), sub, j.Limits)
	}
	if _, given := t["current_max_a"]; !given {
		j.CurrentMaxA = currentMax(j.Servo.Rated)
	}
	if width, reach := j.RangeDeg[1]-j.RangeDeg[0], j.Servo.TravelDeg/j.Ratio(); width > reach*(1+1e-9) {
		d.blame(under(at, "range_deg"), fmt.Sprintf("is %s deg wide, but the servo moves the joint by %s deg only", number(width), number(reach)),
			"narrow it, or set servo.travel_deg and belt.ratio")
	}
	d.mounts(at, t, j, len(d.problems) == before)
	return j
}

// mounts holds zero and sense of a joint's sensors against what its stand can do with them. Only a joint
// without other faults says where its sensors turn to.
func (d *document) mounts(at string, t map[string]any, j Joint, sound bool) {
	sensors, _ := t["sensors"].(map[string]any)
	at = under(at, "sensors")
	if d.textForm() {
		for _, key := range []string{"joint_zero_deg", "motor_zero_deg", "joint_reversed", "motor_reversed"} {
			if _, there := sensors[key]; there {
				d.blameKey(under(at, key), "can not be told to a stand of the text form, which prints angles of the joint already", "set zero and sense in its sketch, and leave the key out")
			}
		}
		return
	}
	for _, key := range []string{"motor_zero_deg", "motor_reversed"} {
		if _, there := sensors[key]; there && j.Sensors.MotorCounts == 0 {
			d.blameKey(under(at, key), "is of a sensor that is not there: motor_counts is 0 or missing", "give motor_counts of the motor side's sensor, or leave the key out")
		}
	}
	if key, problem, hint := j.SensorWrong(); key != "" && sound {
		d.blame(under(at, key), problem, hint)
	}
}

func (d *document) textForm() bool {
	stand, _ := d.root["stand"].(map[string]any)
	return stand["form"] == FormText
}

func currentMax(rated []Rating) float64 {
	if len(rated) == 0 {
		return defaultCurrentMaxA
	}
	most := 0.0
	for _, r := range rated {
		most = math.Max(most, r.StallA)
	}
	return most
}

func (d *document) servo(at string, t map[string]any, s *Servo) {
	d.read(at, t, servoFields(s), "rated")
	d.oneOf(under(at, "current_law"), string(s.CurrentLaw), string(CurrentUnknown), string(CurrentMotor), string(CurrentDuty))
	if s.FrameHz > 0 {
		if most := wire.LongestPulseUS(s.FrameHz); s.PulseUS[1] > most {
			d.blame(under(at, "frame_hz"), fmt.Sprintf("leaves room for pulses of up to %d us, pulse_us goes to %d", most, s.PulseUS[1]),
				"leave the key out for the stand's own rate, or narrow pulse_us and travel_deg with it")
		}
	}
	if d.textForm() && s.FrameHz > 0 {
		d.blameKey(under(at, "frame_hz"), "can not be told to a stand of the text form", "set it in its sketch, and leave the key out")
	}
	const hint = "give a line per voltage, as in rated = [{ volts = 6.0, stall_nm = 1.4, no_load_deg_per_s = 420.0, stall_a = 2.4 }]"
	rated := under(at, "rated")
	for i, r := range d.tables(at, t, "rated", hint) {
		if r == nil {
			continue
		}
		var one Rating
		d.read(element(rated, i), r, ratingFields(&one))
		if n := len(s.Rated); n > 0 && one.Volts > 0 && one.Volts <= s.Rated[n-1].Volts {
			d.blame(under(element(rated, i), "volts"), fmt.Sprintf("%s does not lie above the %s before it", number(one.Volts), number(s.Rated[n-1].Volts)),
				"put the lines in rising order of volts, one per voltage")
		}
		s.Rated = append(s.Rated, one)
	}
	if v, there := t["rated"]; there && len(s.Rated) == 0 {
		if list, ok := v.([]any); ok && len(list) == 0 {
			d.blame(rated, "is empty", hint+", or leave the key out when no data sheet is known")
		}
	}
}

func (d *document) limits(at string, t map[string]any, limits Limits) {
	keys := LimitKeys()
	values := make([]float64, len(keys))
	d.read(at, t, limitFields(values))
	for i, k := range keys {
		if _, ok := t[k.Key]; ok {
			limits[k.Measure] = values[i]
		}
	}
}

func (d *document) oneOf(at, value string, allowed ...string) {
	if slices.Contains(allowed, value) {
		return
	}
	d.blame(at, fmt.Sprintf("%q is not known", value), fmt.Sprintf("give one of %q", slices.DeleteFunc(allowed, func(s string) bool { return s == "" })))
}

// name holds what every place a name goes to can carry: tables, folders of reports, and line
// protocol, which knows no control characters and no backslash at the end of a tag.
func (d *document) name(at, name string) {
	const hint = "give a short name of letters, digits, - and _"
	switch {
	case strings.TrimSpace(name) == "":
		d.blame(at, "is empty", hint)
	case strings.TrimSpace(name) != name:
		d.blame(at, fmt.Sprintf("%q begins or ends with a space", name), hint)
	case strings.ContainsFunc(name, func(r rune) bool { return r < 0x20 || r == 0x7f }):
		d.blame(at, fmt.Sprintf("%q holds a control character", name), hint)
	case strings.HasSuffix(name, `\`):
		d.blame(at, fmt.Sprintf("%q ends with a backslash", name), hint)
	case len(name) > 64:
		d.blame(at, "is longer than 64 bytes", hint)
	}
}

func (d *document) distinct(joints []Joint) {
	names, channels := map[string]int{}, map[int]int{}
	for i, j := range joints {
		at := element("joint", i)
		if k, seen := names[j.Name]; seen && j.Name != "" {
			line, _ := d.position(under(element("joint", k), "name"))
			d.blame(under(at, "name"), fmt.Sprintf("%q is the name of the joint in line %d too", j.Name, line), "give each joint a name of its own")
		}
		if k, seen := channels[j.Channel]; seen {
			line, _ := d.position(under(element("joint", k), "channel"))
			d.blame(under(at, "channel"), fmt.Sprintf("%d is the channel of the joint in line %d too", j.Channel, line), "give each joint the channel its servo is plugged into")
		} else {
			channels[j.Channel] = i
		}
		if _, seen := names[j.Name]; !seen {
			names[j.Name] = i
		}
	}
}
