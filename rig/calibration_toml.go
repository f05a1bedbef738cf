package rig

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// CalibrationPath returns where a bench folder keeps a calibration of that name.
func CalibrationPath(benchDir, name string) string {
	return filepath.Join(benchDir, "calibrations", name+".toml")
}

// CalibrationNameWrong says what is wrong with the name of a calibration, "" when it can name a file
// on any system.
func CalibrationNameWrong(name string) string {
	switch {
	case name == "":
		return "is empty"
	case strings.Trim(name, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_.") != "":
		return fmt.Sprintf("%q holds more than letters, digits, -, _ and points", name)
	case strings.HasPrefix(name, ".") || strings.HasSuffix(name, ".toml"):
		return fmt.Sprintf("%q begins with a point or ends in .toml", name)
	case len(name) > 64:
		return "is longer than 64 bytes"
	}
	return ""
}

// LoadCalibration reads a calibration file. Everything wrong with it is reported at once, as joined
// *ConfigError in line order.
func LoadCalibration(path string) (*Calibration, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		e := &ConfigError{Path: path, Problem: "can not be read: " + err.Error()}
		if errors.Is(err, fs.ErrNotExist) {
			e.Problem, e.Hint = "there is no such file", `"limbgauge calibrate list" lists the calibrations of the bench`
		}
		return nil, e
	}
	return ParseCalibration(path, data)
}

// ParseCalibration reads the text of a calibration file; path is for error messages only. Constants
// that do not follow from the points beside them are an error: somebody changed one of the two.
func ParseCalibration(path string, data []byte) (*Calibration, error) {
	d, syntax := parseDocument(path, data)
	if syntax != nil {
		return nil, syntax
	}
	c := &Calibration{Path: path}
	tables := []string{"pulse", "torque"}
	for _, s := range correctionSteps() {
		tables = append(tables, s.key)
	}
	d.read("", d.root, calibrationFields(c), tables...)
	if wrong := CalibrationNameWrong(c.Name); wrong != "" {
		d.blame("name", wrong, "give the name of the file without .toml")
	} else if base := strings.TrimSuffix(filepath.Base(path), ".toml"); base != c.Name {
		d.blame("name", fmt.Sprintf("is %q in a file called %s", c.Name, filepath.Base(path)), "give a copy a name of its own, in the file too")
	}
	d.name("joint", c.Joint)
	for _, s := range correctionSteps() {
		if t, ok := d.table("", d.root, s.key); ok {
			*s.of(c) = d.correction(s, t)
		}
	}
	if t, ok := d.table("", d.root, "pulse"); ok {
		c.Pulse = d.pulse(t)
	}
	if t, ok := d.table("", d.root, "torque"); ok {
		c.Torque = d.torque(t)
	}
	if len(c.Steps()) == 0 {
		d.blame("", "holds no step", `make one, as with "limbgauge calibrate angle"`)
	}
	if err := d.err(); err != nil {
		return nil, err
	}
	return c, nil
}

const pointsHint = "leave the points as they were written; they are what the constants rest on"

func (d *document) correction(s correctionStep, t map[string]any) *Correction {
	c := &Correction{}
	nan := math.NaN()
	c.ZeroU, c.ScaleU, c.ResidualSD, c.FormU = nan, nan, nan, nan // absent: not known
	d.read(s.key, t, correctionFields(s, c), "points")
	d.oneOf(s.key+".model", string(c.Model), string(ModelZero), string(ModelLine), string(ModelCurve), string(ModelWaves))
	for i, row := range d.tables(s.key, t, "points", pointsHint) {
		var p CalibrationPoint
		d.read(element(s.key+".points", i), row, correctionPointFields(s, &p))
		c.Points = append(c.Points, p)
		d.follows(s.key, i, p.Reference-c.Apply(p.Reading), p.Residual, p.Reference)
	}
	if len(c.Points) == 0 {
		d.blame(s.key, "has no points", pointsHint)
	}
	return c
}

func (d *document) pulse(t map[string]any) *PulseMap {
	p := &PulseMap{}
	d.read("pulse", t, pulseFields(p), "points")
	for i, row := range d.tables("pulse", t, "points", pointsHint) {
		var x PulsePoint
		at := element("pulse.points", i)
		d.read(at, row, pulsePointFields(&x))
		if x.Direction != 1 && x.Direction != -1 {
			d.blame(at+".direction", "must be 1 or -1", "give 1 for a stop reached by rising pulses, -1 by falling ones")
		}
		p.Points = append(p.Points, x)
		d.follows("pulse", i, x.AngleDeg-p.At(&x), x.Residual, x.AngleDeg)
	}
	if len(p.Points) == 0 {
		d.blame("pulse", "has no points", pointsHint)
	}
	return p
}

func (d *document) torque(t map[string]any) *TorqueScale {
	s := &TorqueScale{}
	d.read("torque", t, torqueFields(s), "points")
	d.oneOf("torque.law", string(s.Law), string(CurrentUnknown), string(CurrentMotor), string(CurrentDuty))
	for i, row := range d.tables("torque", t, "points", pointsHint) {
		var x TorquePoint
		d.read(element("torque.points", i), row, torquePointFields(&x))
		s.Points = append(s.Points, x)
		if s.Law != CurrentUnknown {
			d.follows("torque", i, x.CurrentA-s.Current(x.TorqueNm), x.Residual, x.CurrentA)
		}
	}
	if len(s.Points) == 0 {
		d.blame("torque", "has no points", pointsHint)
	}
	return s
}

// follows blames a point whose residual is not what the constants leave of it.
func (d *document) follows(table string, i int, got, stated, size float64) {
	if len(d.problems) > 0 { // a constant that could not be read explains it
		return
	}
	if tol := 1e-6 * (1 + math.Abs(size)); !(math.Abs(got-stated) <= tol) {
		d.blame(element(table+".points", i), fmt.Sprintf("leaves a residual of %.6g with these constants, but says %.6g", got, stated),
			"constants or points were changed by hand; take the file from a copy, or make the step anew from its points")
	}
}

// calibrationFields and those below list the keys of each table, for reading and for writing alike.
func calibrationFields(c *Calibration) []field {
	return []field{
		{key: "name", into: &c.Name, must: true, want: "the calibration's name, which is that of the file"},
		{key: "joint", into: &c.Joint, must: true, want: `the joint's name, as in joint = "knee"`},
		{key: "from", into: &c.From, want: "the calibration that the other steps were taken from"},
		{key: "tool", into: &c.Tool, want: "the program that wrote it"},
	}
}

func madeFields(m *Made) []field {
	return []field{
		{key: "date", into: &m.Date, must: true, want: "date and time with zone, as in date = 2026-03-01T10:15:00+01:00"},
		{key: "who", into: &m.Who, want: "who did it"},
		{key: "serial", into: &m.Serial, want: "what marks the sensor or servo"},
		{key: "run", into: &m.Run, want: "the run the points come from"},
	}
}

func correctionFields(s correctionStep, c *Correction) []field {
	u := "_" + s.unit
	constant := "the constant as it was written"
	return append(madeFields(&c.Made),
		field{key: "model", into: (*string)(&c.Model), must: true, want: `"zero", "line", "curve" or "waves"`},
		field{key: "at" + u, into: &c.At, want: "the reading at which zero" + u + " holds"},
		field{key: "zero" + u, into: &c.Zero, must: true, want: constant},
		field{key: "zero_u" + u, into: &c.ZeroU, zero: true, ok: notNegative, want: "its standard uncertainty, or leave the key out"},
		field{key: "scale", into: &c.Scale, want: constant},
		field{key: "scale_u", into: &c.ScaleU, zero: true, ok: notNegative, want: "its standard uncertainty, or leave the key out"},
		field{key: "square_per" + u, into: &c.Square, want: constant},
		field{key: "cube_per" + u + "2", into: &c.Cube, want: constant},
		field{key: "sin1" + u, into: &c.Sin1, want: constant},
		field{key: "cos1" + u, into: &c.Cos1, want: constant},
		field{key: "sin2" + u, into: &c.Sin2, want: constant},
		field{key: "cos2" + u, into: &c.Cos2, want: constant},
		field{key: "from" + u, into: &c.From, must: true, want: "the least reading"},
		field{key: "to" + u, into: &c.To, must: true, want: "the greatest reading"},
		field{key: "residual_sd" + u, into: &c.ResidualSD, zero: true, ok: notNegative, want: "the scatter the fit leaves"},
		field{key: "freedom", into: &c.Freedom, ok: notNegative, want: "its degrees of freedom"},
		field{key: "form_u" + u, into: &c.FormU, zero: true, ok: notNegative, want: "the standard uncertainty of what the fit leaves, or leave the key out"},
		field{key: "within" + u, into: &c.Within, ok: notNegative, want: "what the reference is right within"},
	)
}

func correctionPointFields(s correctionStep, p *CalibrationPoint) []field {
	return []field{
		{key: s.reference + "_" + s.unit, into: &p.Reference, must: true, want: "what the " + s.reference + " said"},
		{key: "reading_" + s.unit, into: &p.Reading, must: true, want: "what the sensor showed"},
		{key: "sd_" + s.unit, into: &p.SD, ok: notNegative, want: "the standard deviation of one sample"},
		{key: "samples", into: &p.N, ok: notNegative, want: "how many samples the reading is the mean of"},
		{key: "residual_" + s.unit, into: &p.Residual, must: true, want: "what the fit leaves"},
	}
}

func pulseFields(p *PulseMap) []field {
	out := append(madeFields(&p.Made),
		field{key: "at_us", into: &p.AtUS, must: true, want: "the pulse at which up_deg and down_deg hold"})
	for _, l := range []struct {
		key string
		of  *PulseLine
	}{{"up_", &p.Up}, {"down_", &p.Down}} {
		out = append(out,
			field{key: l.key + "deg", into: &l.of.Deg, must: true, want: "the joint's angle at at_us"},
			field{key: l.key + "u_deg", into: &l.of.DegU, ok: notNegative, want: "its standard uncertainty"},
			field{key: l.key + "deg_per_us", into: &l.of.DegPerUS, must: true, want: "degrees of the joint per us"},
			field{key: l.key + "u_deg_per_us", into: &l.of.DegPerUSU, ok: notNegative, want: "its standard uncertainty"})
	}
	return append(out,
		field{key: "gap_deg", into: &p.GapDeg, want: "the upper line less the lower"},
		field{key: "gap_u_deg", into: &p.GapDegU, ok: notNegative, want: "its standard uncertainty"},
		field{key: "side_deg", into: &p.SideDeg, want: "half the step at hang_deg"},
		field{key: "side_u_deg", into: &p.SideDegU, ok: notNegative, want: "its standard uncertainty"},
		field{key: "hang_deg", into: &p.DownDeg, want: "the angle at which the link hangs down"},
		field{key: "residual_sd_deg", into: &p.ResidualSD, ok: notNegative, want: "the scatter the lines leave"},
		field{key: "freedom", into: &p.Freedom, ok: notNegative, want: "its degrees of freedom"},
		field{key: "from_us", into: &p.FromUS, must: true, want: "the least pulse"},
		field{key: "to_us", into: &p.ToUS, must: true, want: "the greatest pulse"},
		field{key: "within_deg", into: &p.WithinDeg, ok: notNegative, want: "what the angle is right within"})
}

func pulsePointFields(p *PulsePoint) []field {
	return []field{
		{key: "pulse_us", into: &p.PulseUS, must: true, ok: positive, want: "the pulse"},
		{key: "direction", into: &p.Direction, must: true, want: "1 or -1"},
		{key: "reading_deg", into: &p.ReadingDeg, must: true, want: "what the joint's sensor showed"},
		{key: "angle_deg", into: &p.AngleDeg, must: true, want: "the corrected angle"},
		{key: "sd_deg", into: &p.SD, ok: notNegative, want: "the standard deviation of one sample"},
		{key: "samples", into: &p.N, ok: notNegative, want: "how many samples"},
		{key: "residual_deg", into: &p.Residual, must: true, want: "what the line leaves"},
	}
}

// torqueFields: scale is in A/N·m for the law "motor", in A/(N·m)² for "duty".
func torqueFields(t *TorqueScale) []field {
	return append(madeFields(&t.Made),
		field{key: "law", into: (*string)(&t.Law), want: `"motor", "duty", or nothing where the points do not decide`},
		field{key: "undecided", into: &t.Undecided, want: "why the law is not known"},
		field{key: "scale", into: &t.Scale, ok: notNegative, want: "current per torque, or per its square"},
		field{key: "scale_u", into: &t.ScaleU, ok: notNegative, want: "its standard uncertainty"},
		field{key: "idle_a", into: &t.IdleA, want: "the current without torque"},
		field{key: "idle_u_a", into: &t.IdleAU, ok: notNegative, want: "its standard uncertainty"},
		field{key: "residual_sd_a", into: &t.ResidualSD, ok: notNegative, want: "the scatter the fit leaves"},
		field{key: "freedom", into: &t.Freedom, ok: notNegative, want: "its degrees of freedom"})
}

func torquePointFields(p *TorquePoint) []field {
	return []field{
		{key: "torque_nm", into: &p.TorqueNm, must: true, want: "the torque at the servo's shaft"},
		{key: "mass_kg", into: &p.MassKg, ok: notNegative, want: "the weight"},
		{key: "lever_m", into: &p.LeverM, ok: notNegative, want: "its lever"},
		{key: "angle_deg", into: &p.AngleDeg, want: "the angle from hanging straight down"},
		{key: "reading_a", into: &p.ReadingA, must: true, want: "what the current sensor showed"},
		{key: "current_a", into: &p.CurrentA, must: true, want: "the corrected current"},
		{key: "sd_a", into: &p.SD, ok: notNegative, want: "the standard deviation of one sample"},
		{key: "samples", into: &p.N, ok: notNegative, want: "how many samples"},
		{key: "residual_a", into: &p.Residual, must: true, want: "what the fit leaves"},
	}
}

const calibrationHead = `# A calibration: raw points and what was fitted to them. It is written once; better constants get a
# file of their own. true = reading + zero + scale*(reading - at) + ...; "u" is a standard uncertainty.
`

// Encode returns the text of a calibration file, which ParseCalibration reads back. Times are kept to
// the second.
func (c *Calibration) Encode() []byte {
	var b strings.Builder
	b.WriteString(calibrationHead)
	encode(&b, calibrationFields(c), "\n")
	for _, s := range correctionSteps() {
		if x := *s.of(c); x != nil {
			fmt.Fprintf(&b, "\n[%s]\n", s.key)
			encode(&b, correctionFields(s, x), "\n")
			encodePoints(&b, len(x.Points), func(i int) []field { return correctionPointFields(s, &x.Points[i]) })
		}
	}
	if p := c.Pulse; p != nil {
		b.WriteString("\n[pulse]\n")
		encode(&b, pulseFields(p), "\n")
		encodePoints(&b, len(p.Points), func(i int) []field { return pulsePointFields(&p.Points[i]) })
	}
	if t := c.Torque; t != nil {
		b.WriteString("\n[torque]\n")
		encode(&b, torqueFields(t), "\n")
		encodePoints(&b, len(t.Points), func(i int) []field { return torquePointFields(&t.Points[i]) })
	}
	return []byte(b.String())
}

func encodePoints(b *strings.Builder, n int, fields func(i int) []field) {
	b.WriteString("points = [\n")
	for i := range n {
		b.WriteString("  { ")
		encode(b, fields(i), ", ")
		b.WriteString(" },\n")
	}
	b.WriteString("]\n")
}

// encode writes key = value for each field; what may be missing and says nothing is left out.
func encode(b *strings.Builder, fields []field, end string) {
	first := true
	for _, f := range fields {
		text, empty := literal(f)
		if empty && !f.must {
			continue
		}
		if end != "\n" && !first {
			b.WriteString(end)
		}
		first = false
		b.WriteString(f.key + " = " + text)
		if end == "\n" {
			b.WriteString(end)
		}
	}
}

// literal returns a field's value as TOML, and whether it is one that a missing key stands for.
func literal(f field) (text string, empty bool) {
	switch v := f.into.(type) {
	case *string:
		return quoteTOML(*v), *v == ""
	case *int:
		return number(float64(*v)), *v == 0
	case *float64:
		if math.IsNaN(*v) || math.IsInf(*v, 0) {
			return "0.0", true
		}
		s := fmt.Sprint(*v)
		if !strings.ContainsAny(s, ".e") {
			s += ".0"
		}
		return s, *v == 0 && !f.zero
	case *time.Time:
		return v.Format(time.RFC3339), false
	}
	panic(fmt.Sprintf("rig: no writer for %T", f.into))
}

// quoteTOML writes a basic string.
func quoteTOML(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r < 0x20 || r == 0x7f || r == '\uFFFD':
			fmt.Fprintf(&b, "\\u%04X", r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}
