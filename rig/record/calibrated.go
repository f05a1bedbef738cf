package record

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"limbgauge/rig"
)

// Samples are kept as the stand sent them. Beside them lies a copy of every calibration the joints
// name, so that a run explains itself and its constants can be corrected later. They are applied when
// a series is made.

// keepCalibrations writes the copies and names them in the info.
func keepCalibrations(d disk, dir string, info *Info) error {
	var names []string
	for _, j := range info.Joints {
		if n := j.Setup.Calibration; n != "" && !slices.Contains(names, n) {
			names = append(names, n)
		}
	}
	info.Calibration = "none"
	if len(names) == 0 {
		return nil
	}
	info.Calibration = strings.Join(names, ", ")
	folder := filepath.Dir(rig.CalibrationPath(dir, names[0]))
	if err := d.Mkdir(folder); err != nil {
		return fmt.Errorf("keep calibrations: %w", err)
	}
	for _, n := range names {
		i := slices.IndexFunc(info.Calibrations, func(c *rig.Calibration) bool { return c.Name == n })
		if i < 0 {
			return fmt.Errorf("keep calibrations: %q is named and was not handed in", n)
		}
		if err := replaceFile(d, rig.CalibrationPath(dir, n), info.Calibrations[i].Encode()); err != nil {
			return fmt.Errorf("keep calibrations: %w", err)
		}
	}
	return nil
}

// readCalibrations reads the run's copies. What is wrong with one is kept as an error for whoever
// wants corrected samples: the raw ones are there all the same.
func (r *Run) readCalibrations(d disk) {
	r.constants = map[string]*rig.Calibration{}
	r.broken = map[string]error{}
	for _, j := range r.Info.Joints {
		n := j.Setup.Calibration
		if n == "" {
			continue
		}
		path := rig.CalibrationPath(r.Dir, n)
		data, err := d.ReadFile(path)
		if errors.Is(err, fs.ErrNotExist) {
			err = &InputError{Path: path, Problem: "there is no such file, though the run was made with this calibration",
				Hint: `put the run's copy back, or judge its readings as the stand sent them with "limbgauge analyze --calibration none"`}
		}
		var c *rig.Calibration
		if err == nil {
			c, err = rig.ParseCalibration(path, data)
		}
		if err != nil {
			r.broken[j.Setup.Name] = err
			continue
		}
		r.constants[j.Setup.Name] = c
	}
}

// Calibration returns what corrects a joint's samples, nil for nothing. The error says what is wrong
// with the run's copy.
func (r *Run) Calibration(joint string) (*rig.Calibration, error) {
	return r.constants[joint], r.broken[joint]
}

// Use makes the run's samples of a joint be corrected by c instead of what it was made with, by
// nothing when c is nil. The folder stays as it is.
func (r *Run) Use(joint string, c *rig.Calibration) {
	r.constants[joint] = c
	delete(r.broken, joint)
}

// Raw returns one joint's samples as the stand sent them, in the units of the analysis. It fails with
// ErrDamaged where the sealed file is.
func (r *Run) Raw(joint string) (*rig.Series, error) {
	i := slices.Index(r.Joints(), joint)
	if i < 0 {
		return nil, fmt.Errorf("run %s has no joint %q; it has %q", r.Info.Run, joint, r.Joints())
	}
	s, err := r.samples(i)
	if err != nil {
		return nil, err
	}
	s.Losses, s.SampleHz = r.Info.Joints[i].Losses, r.Info.Stand.SampleHz
	return s, nil
}

// Series returns one joint's samples in the units of the analysis, corrected by the calibration the
// run was made with.
func (r *Run) Series(joint string) (*rig.Series, error) {
	s, err := r.Raw(joint)
	if err != nil {
		return nil, err
	}
	if err := r.broken[joint]; err != nil {
		return nil, err
	}
	return r.constants[joint].Series(s, r.Info.Joints[slices.Index(r.Joints(), joint)].Setup), nil
}

// Setup returns a joint of the run's info with what its calibration says of it.
func (r *Run) Setup(joint string) rig.Joint {
	i := slices.Index(r.Joints(), joint)
	if i < 0 {
		return rig.Joint{}
	}
	return r.constants[joint].Setup(r.Info.Joints[i].Setup)
}

// corrected returns the run's samples in the form of batches, corrected and rounded to the resolution
// of the sealed columns, with what corrected each.
func (r *Run) corrected() (batches []*rig.Batch, by []string, err error) {
	for k, name := range r.Joints() {
		s, err := r.Series(name)
		if err != nil {
			return nil, nil, err
		}
		b, err := BatchOf(s)
		if err != nil {
			return nil, nil, err
		}
		b.Joint = k
		batches, by = append(batches, b), append(by, s.Calibration)
	}
	return batches, by, nil
}

// correctedWord begins a line of a CSV log that says which calibration a joint's values were
// corrected by: # corrected "knee" 2026-03-01-knee-1.
const correctedWord = "# corrected "

func correctedLine(joint, calibration string) string {
	return correctedWord + strconv.Quote(joint) + " " + calibration
}

// remark takes a line of a log that begins with #. All but what says how values were corrected is
// skipped.
func (p *csvParser) remark(line string) error {
	rest, ok := strings.CutPrefix(line, correctedWord)
	if !ok {
		return nil
	}
	quoted, err := strconv.QuotedPrefix(rest)
	if err != nil {
		return p.fault(p.line, "", "does not name the joint that was corrected", `write it as in # corrected "knee" 2026-03-01-knee-1`)
	}
	joint, _ := strconv.Unquote(quoted) // QuotedPrefix found it sound
	name := strings.TrimSpace(rest[len(quoted):])
	if rig.CalibrationNameWrong(name) != "" {
		return p.fault(p.line, "", fmt.Sprintf("%q is no name of a calibration", name), `write it as in # corrected "knee" 2026-03-01-knee-1`)
	}
	p.corrected[joint] = name
	return nil
}
