package record

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"limbgauge/rig"
)

func kneeCalibration() *rig.Calibration {
	c := &rig.Calibration{Name: "2026-03-01-knee-1", Joint: "knee",
		JointAngle: &rig.Correction{Made: rig.Made{Date: time.Unix(0, 0).UTC()}, Model: rig.ModelLine, Zero: 2, Scale: 0.1, From: -50, To: 50}}
	c.JointAngle.Points = []rig.CalibrationPoint{{Reference: 13, Reading: 10}}
	return c
}

// calibratedRun records one sample each of two joints, of which the knee names a calibration.
func calibratedRun(t *testing.T) string {
	t.Helper()
	bench := t.TempDir()
	knee, hip := rig.DefaultJoint(0), rig.DefaultJoint(1)
	knee.Name, knee.Calibration, hip.Name = "knee", "2026-03-01-knee-1", "hip"
	r, err := Create(bench, Info{Joints: []JointInfo{{Setup: knee}, {Setup: hip}}, Calibrations: []*rig.Calibration{kneeCalibration()}})
	if err != nil {
		t.Fatal(err)
	}
	for k := range 2 {
		b := rig.Batch{Joint: k}
		b.Append(rig.Row{TimeUS: 4000, Command: 12000, Angle: 10000, Motor: rig.Missing, Current: 100, Supply: 6000, Torque: rig.Missing, Temp: rig.Missing})
		if err := r.Append(&b); err != nil {
			t.Fatal(err)
		}
	}
	if err := r.Close(End{How: Complete}, nil); err != nil {
		t.Fatal(err)
	}
	if _, err := Seal(r.Dir()); err != nil {
		t.Fatal(err)
	}
	return r.Dir()
}

func angleOf(t *testing.T, s *rig.Series, err error) float64 {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	return s.Angle[0]
}

func TestRunNamesAndKeepsItsCalibration(t *testing.T) {
	dir := calibratedRun(t)
	text, err := os.ReadFile(filepath.Join(dir, infoName))
	if err != nil || !strings.Contains(string(text), `"calibration": "2026-03-01-knee-1"`) {
		t.Errorf("%v\n%s", err, text)
	}
	r, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	// By hand: 10 + 2 + 0.1·10.
	s, err := r.Series("knee")
	if got := angleOf(t, s, err); math.Abs(got-13) > 1e-12 || s.Calibration != "2026-03-01-knee-1" {
		t.Errorf("corrected angle %v by %q, want 13", got, s.Calibration)
	}
	s, err = r.Raw("knee")
	if got := angleOf(t, s, err); got != 10 || s.Calibration != "" {
		t.Errorf("raw angle %v, want 10", got)
	}
	s, err = r.Series("hip")
	if got := angleOf(t, s, err); got != 10 || s.Calibration != "" {
		t.Errorf("the hip's angle is %v, but it has no calibration", got)
	}
	r.Use("knee", nil)
	s, err = r.Series("knee")
	if got := angleOf(t, s, err); got != 10 {
		t.Errorf("angle %v by no calibration", got)
	}
	if bad := Check(dir); len(bad) > 0 {
		t.Errorf("%v", bad)
	}
}

func TestLostCopyOfACalibration(t *testing.T) {
	dir := calibratedRun(t)
	if err := os.Remove(rig.CalibrationPath(dir, "2026-03-01-knee-1")); err != nil {
		t.Fatal(err)
	}
	r, err := Open(dir)
	if err != nil {
		t.Fatalf("the samples are there all the same: %v", err)
	}
	if _, err := r.Series("knee"); err == nil || !strings.Contains(err.Error(), "--calibration none") {
		t.Errorf("%v: what to do?", err)
	}
	s, err := r.Raw("knee")
	if got := angleOf(t, s, err); got != 10 {
		t.Errorf("raw angle %v", got)
	}
	if bad := Check(dir); len(bad) != 1 {
		t.Errorf("check says %v", bad)
	}
	r.Use("knee", kneeCalibration())
	s, err = r.Series("knee")
	if got := angleOf(t, s, err); math.Abs(got-13) > 1e-12 {
		t.Errorf("angle %v with a calibration handed in", got)
	}
}

func TestCreateWantsTheCalibration(t *testing.T) {
	j := rig.DefaultJoint(0)
	j.Name, j.Calibration = "knee", "x"
	if _, err := Create(t.TempDir(), Info{Joints: []JointInfo{{Setup: j}}}); err == nil || !strings.Contains(err.Error(), `"x" is named`) {
		t.Error(err)
	}
}

// A log says whether its values are raw or corrected, and by what.
func TestCSVSaysWhatCorrectedIt(t *testing.T) {
	r, err := Open(calibratedRun(t))
	if err != nil {
		t.Fatal(err)
	}
	for _, test := range []struct {
		write func(*bytes.Buffer) error
		angle float64
		by    string
	}{
		{func(b *bytes.Buffer) error { return r.WriteCSV(b) }, 10, ""},
		{func(b *bytes.Buffer) error { return r.WriteCorrectedCSV(b) }, 13, "2026-03-01-knee-1"},
	} {
		var b bytes.Buffer
		if err := test.write(&b); err != nil {
			t.Fatal(err)
		}
		all, err := ParseCSV("x.csv", b.Bytes(), CSVOptions{})
		if err != nil || len(all) != 2 {
			t.Fatalf("%v\n%s", err, b.String())
		}
		if all[0].Angle[0] != test.angle || all[0].Calibration != test.by || all[1].Angle[0] != 10 || all[1].Calibration != "" {
			t.Errorf("read %+v and %+v from\n%s", all[0], all[1], b.String())
		}
	}
	for _, bad := range []string{"# corrected knee x\n", "# corrected \"knee\" ../x\n"} {
		if _, err := ParseCSV("x.csv", []byte(bad+"time_s,joint,command_deg,joint_deg\n1,knee,1,1\n"), CSVOptions{}); err == nil || !strings.Contains(err.Error(), "x.csv:1: ") {
			t.Errorf("%q: %v", bad, err)
		}
	}
}

// Wherever the power goes while a run with a calibration is begun and sealed, either there is no run
// yet, or its samples and its calibration are there.
func TestCalibrationOutlivesACrash(t *testing.T) {
	for at := 0; ; at++ {
		d := newMemDisk()
		d.crashAt = at
		j := rig.DefaultJoint(0)
		j.Name, j.Calibration = "knee", "2026-03-01-knee-1"
		r, err := create(d, ".", Info{Joints: []JointInfo{{Setup: j}}, Calibrations: []*rig.Calibration{kneeCalibration()}})
		done := false
		if err == nil {
			b := rig.Batch{}
			b.Append(rig.Row{TimeUS: 4000, Angle: 10000})
			_ = r.Append(&b)
			_ = r.Close(End{How: Complete}, nil)
			_, err = seal(d, r.dir)
			done = err == nil
		}
		after := d.crash(powerLost)
		if got, openErr := open(after, filepath.Join("runs", "0001")); openErr == nil {
			if s, err := got.Series("knee"); err != nil || s.Len() > 0 && math.Abs(s.Angle[0]-13) > 1e-12 {
				t.Errorf("crash at %d: %v", at, err)
			}
		} else if done {
			t.Errorf("crash at %d: sealed, but %v", at, openErr)
		}
		if done {
			break
		}
	}
}
