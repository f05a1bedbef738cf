package rig

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
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
