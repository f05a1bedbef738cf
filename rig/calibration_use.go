package rig

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
)

// Misfit says why a calibration can not serve a joint, "" when it can. It belongs to parts, not to
// a name: where serials are stated on both sides they must be the same, and with another joint's name
// every step must be tied by its serial. An angle's constants are those of one zero and one sense.
func (c *Calibration) Misfit(j Joint) string {
	tied := true
	for _, s := range c.Steps() {
		part, of := "sensors", j.Sensors.Serial
		if s.Key == "pulse" || s.Key == "torque" {
			part, of = "servo", j.Servo.Serial
		}
		if s.Serial != "" && of != "" && s.Serial != of {
			return fmt.Sprintf("its step %s was made with %s %q, joint %s has %q", s.Key, part, s.Serial, j.Name, of)
		}
		tied = tied && s.Serial != "" && of != ""
	}
	for _, s := range correctionSteps() {
		x := *s.of(c)
		if x == nil || s.mount == nil {
			continue
		}
		if was, is := x.Mount, s.mount(j.Sensors); was != is {
			return fmt.Sprintf("its step %s was made with the sensor of joint %s at %s, bench.toml has it at %s now", s.key, j.Name, was, is)
		}
	}
	if c.Joint != j.Name && !tied {
		return fmt.Sprintf("it was made for joint %s, not %s, and no serials say that these are the same parts", c.Joint, j.Name)
	}
	return ""
}

// CalibrationOf reads the calibration bench.toml names for a joint; nil when it names none. What is
// wrong with the name or the file is a *ConfigError that points at the key.
func (b *Bench) CalibrationOf(j Joint) (*Calibration, error) {
	if j.Calibration == "" {
		return nil, nil
	}
	path := CalibrationPath(filepath.Dir(b.Path), j.Calibration)
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return nil, b.blame(j.Name, "calibration", fmt.Sprintf("names %q, but there is no %s", j.Calibration, path),
			`"limbgauge calibrate list" lists what there is; put the file back, or leave the key out for readings as the stand sends them`)
	}
	c, err := LoadCalibration(path)
	if err != nil {
		return nil, err
	}
	if wrong := c.Misfit(j); wrong != "" {
		return nil, b.blame(j.Name, "calibration", fmt.Sprintf("names %q: %s", c.Name, wrong),
			"name a calibration of these parts as they sit, or make one; serials, zeros and senses stand in [joint.servo] and [joint.sensors]")
	}
	return c, nil
}

// blame makes an error that points at a key of a joint in the bench file.
func (b *Bench) blame(joint, key, problem, hint string) error {
	e := &ConfigError{Path: b.Path, Key: "joint." + key, Problem: problem, Hint: hint}
	if data, err := os.ReadFile(b.Path); err == nil {
		if d, syntax := parseDocument(b.Path, data); syntax == nil {
			if at := d.jointAt(joint); at != "" {
				e.Line, e.Column = d.position(under(at, key))
			}
		}
	}
	return e
}

// jointAt returns the path of the joint of that name, "" for none.
func (d *document) jointAt(name string) string {
	list, _ := d.root["joint"].([]any)
	for i, v := range list {
		if t, ok := v.(map[string]any); ok && t["name"] == name {
			return element("joint", i)
		}
	}
	return ""
}

// UseCalibration returns the text of a bench file in which a joint names a calibration. One line is
// changed or added, all else stays as it was typed; the result is read back and compared before it is
// returned. Where the joint is not written as a [[joint]] with a name line of its own, an error says
// what to write by hand.
func UseCalibration(path string, data []byte, joint, name string) ([]byte, error) {
	before, err := ParseBench(path, data)
	if err != nil {
		return nil, err
	}
	byHand := &ConfigError{Path: path, Key: "joint.calibration", Problem: "can not be put in here without touching more than one line",
		Hint: fmt.Sprintf("write calibration = %q below the name of joint %s", name, joint)}
	bom := []byte("\xef\xbb\xbf")
	mark := 0
	if bytes.HasPrefix(data, bom) {
		mark = len(bom)
	}
	d, syntax := parseDocument(path, data)
	if syntax != nil {
		return nil, syntax
	}
	at := d.jointAt(joint)
	if at == "" {
		return nil, fmt.Errorf("%s has no joint %q", path, joint)
	}
	line := "calibration = " + quoteTOML(name)
	var out []byte
	if from, there := d.keys[under(at, "calibration")]; there {
		// The value is text in quotes: replace from its key to the quote's end.
		from += mark
		value := d.values[under(at, "calibration")] + mark
		end := value + 1 + bytes.IndexByte(data[value+1:], data[value]) + 1
		out = append(append(append(out, data[:from]...), line...), data[end:]...)
	} else {
		from, there := d.keys[under(at, "name")]
		from += mark
		start := bytes.LastIndexByte(data[:from], '\n') + 1
		end := bytes.IndexByte(data[from:], '\n')
		if !there || len(bytes.TrimSpace(data[start:from])) > 0 {
			return nil, byHand
		}
		stop := len(data)
		if end >= 0 {
			stop = from + end + 1
		} else {
			line = "\n" + line
		}
		eol := "\n"
		if bytes.HasSuffix(data[:stop], []byte("\r\n")) {
			eol = "\r\n"
		}
		out = append(append(append(out, data[:stop]...), string(data[start:from])+line+eol...), data[stop:]...)
	}
	after, err := ParseBench(path, out)
	if err != nil {
		return nil, byHand
	}
	for i := range before.Joints {
		if before.Joints[i].Name == joint {
			before.Joints[i].Calibration = name
		}
	}
	if !reflect.DeepEqual(before, after) {
		return nil, byHand
	}
	return out, nil
}
