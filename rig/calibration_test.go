package rig_test

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"limbgauge/rig"
)

// whole is a calibration with every step, its residuals computed here.
func whole() *rig.Calibration {
	made := rig.Made{Date: time.Date(2026, 3, 1, 10, 15, 0, 0, time.FixedZone("", 3600)), Who: `J. "Q" \ Müller`, Serial: "K-2"}
	c := &rig.Calibration{Name: "2026-03-01-knee-1", Joint: "knee", From: "older", Tool: "limbgauge",
		JointAngle: &rig.Correction{Made: made, Model: rig.ModelWaves, At: 1.25, Zero: 2, ZeroU: 0.03, Scale: -0.01, ScaleU: 1e-5, Sin1: 0.1, Cos1: -0.2, Sin2: 0.03, Cos2: 0.04,
			From: -150, To: 160, ResidualSD: 0.02, Freedom: 4, FormU: 0.06, Within: 0.1},
		MotorAngle: &rig.Correction{Made: made, Model: rig.ModelCurve, Zero: -1, Scale: 0.02, Square: 1e-4, Cube: -1e-6, From: -60, To: 60, ZeroU: 0, ScaleU: 0, ResidualSD: 0, Freedom: 1, FormU: 0.1},
		Current:    &rig.Correction{Made: made, Model: rig.ModelZero, Zero: -0.004, ZeroU: 0.001, ScaleU: math.NaN(), ResidualSD: math.NaN(), FormU: math.NaN()},
		Supply:     &rig.Correction{Made: made, Model: rig.ModelLine, At: 6, Zero: 0.1, Scale: 0.01, From: 4.8, To: 7.2, ZeroU: math.NaN(), ScaleU: math.NaN(), ResidualSD: math.NaN(), FormU: math.NaN()},
		Pulse: &rig.PulseMap{Made: made, AtUS: 1500, Up: rig.PulseLine{Deg: -0.1, DegU: 0.01, DegPerUS: 0.09, DegPerUSU: 1e-6},
			Down: rig.PulseLine{Deg: 0.2, DegU: 0.01, DegPerUS: 0.091, DegPerUSU: 1e-6}, GapDeg: -0.3, GapDegU: 0.014, SideDeg: 0.1, SideDegU: 0.02, DownDeg: -3, ResidualSD: 0.02, Freedom: 13, FromUS: 700, ToUS: 2300},
		Torque: &rig.TorqueScale{Made: made, Law: rig.CurrentDuty, Scale: 1.3, ScaleU: 0.02, IdleA: 0.12, IdleAU: 0.002, ResidualSD: 0.003, Freedom: 5},
	}
	for _, x := range []*rig.Correction{c.JointAngle, c.MotorAngle, c.Current, c.Supply} {
		for _, r := range []float64{-0.5, 0.25, 3} {
			x.Points = append(x.Points, rig.CalibrationPoint{Reference: r + 0.01, Reading: r, SD: 0.002, N: 500, Residual: r + 0.01 - x.Apply(r)})
		}
	}
	for _, d := range []int{1, -1} {
		l := c.Pulse.Line(d)
		c.Pulse.Points = append(c.Pulse.Points, rig.PulsePoint{PulseUS: 1600, Direction: d, ReadingDeg: 9.1, AngleDeg: 9, SD: 0.01, N: 60, Residual: 9 - 0.1 - (l.Deg + l.DegPerUS*100)})
	}
	c.Torque.Points = []rig.TorquePoint{{TorqueNm: -0.3, MassKg: 0.3, LeverM: 0.1, AngleDeg: -90, ReadingA: 0.25, CurrentA: 0.24, SD: 0.01, N: 60, Residual: 0.24 - c.Torque.Current(0.3)}}
	return c
}

// same compares by text, in which what is not known is absent.
func same(t *testing.T, got, want *rig.Calibration) {
	t.Helper()
	if string(got.Encode()) != string(want.Encode()) {
		t.Errorf("got\n%s\nwant\n%s", got.Encode(), want.Encode())
	}
}

func TestCalibrationRoundTrip(t *testing.T) {
	want := whole()
	got, err := rig.ParseCalibration("2026-03-01-knee-1.toml", want.Encode())
	if err != nil {
		t.Fatalf("%v\n%s", err, want.Encode())
	}
	same(t, got, want)
	if got.JointAngle.Sin2 != 0.03 || got.MotorAngle.ZeroU != 0 || !math.IsNaN(got.Current.ScaleU) || !got.JointAngle.Date.Equal(want.JointAngle.Date) || got.JointAngle.Who != want.JointAngle.Who {
		t.Errorf("joint %+v, motor %+v, current %+v", got.JointAngle, got.MotorAngle, got.Current)
	}
	if !reflect.DeepEqual(got.Pulse.Points, want.Pulse.Points) || !reflect.DeepEqual(got.Torque.Points, want.Torque.Points) || !reflect.DeepEqual(got.JointAngle.Points, want.JointAngle.Points) {
		t.Error("points differ")
	}
	if n := len(got.Steps()); n != 6 {
		t.Errorf("%d steps, want 6", n)
	}
}

// Every kind of correction, by hand: reading 10 on a sensor.
func TestCorrectionByHand(t *testing.T) {
	for _, test := range []struct {
		name string
		c    *rig.Correction
		want float64
	}{
		{"none", nil, 10},
		{"zero", &rig.Correction{Model: rig.ModelZero, Zero: -2}, 8},
		{"line", &rig.Correction{Model: rig.ModelLine, At: 5, Zero: 1, Scale: 0.1}, 10 + 1 + 0.5},
		{"curve", &rig.Correction{Model: rig.ModelCurve, At: 5, Square: 0.01, Cube: 0.001, From: 0, To: 20}, 10 + 0.25 + 0.125},
		{"beyond the curve", &rig.Correction{Model: rig.ModelCurve, At: 5, Scale: 0.1, Square: 0.01, From: 0, To: 8}, 10 + 0.5 + 0.09},
		{"waves", &rig.Correction{Model: rig.ModelWaves, Sin1: 1, Cos1: 2, Sin2: 3, Cos2: 4},
			10 + math.Sin(math.Pi/18) + 2*math.Cos(math.Pi/18) + 3*math.Sin(math.Pi/9) + 4*math.Cos(math.Pi/9)},
	} {
		if got := test.c.Apply(10); math.Abs(got-test.want) > 1e-12 {
			t.Errorf("%s: %.12f, want %.12f", test.name, got, test.want)
		}
	}
}

func TestCalibratedSeries(t *testing.T) {
	raw := &rig.Series{Joint: "knee", Time: []float64{0, 1}, Command: []float64{0, 9}, Angle: []float64{-0.5, math.NaN()}, Current: []float64{0.104, 0.204}}
	c := whole()
	j := rig.DefaultJoint(0)
	s := c.Series(raw, j)
	if s.Calibration != c.Name || raw.Calibration != "" || raw.Angle[0] != -0.5 {
		t.Error("the raw series was touched, or the corrected one does not name its calibration")
	}
	if math.Abs(s.Current[0]-0.1) > 1e-12 || !math.IsNaN(s.Angle[1]) || s.Motor != nil || s.Supply != nil {
		t.Errorf("%+v", s)
	}
	// 9 deg are 100 us above the middle; midway between the lines that is 0.05 + 9.05 deg.
	if math.Abs(s.Command[1]-9.1) > 1e-9 {
		t.Errorf("command %v, want 9.1", s.Command[1])
	}
	if (*rig.Calibration)(nil).Series(raw, j) != raw {
		t.Error("no calibration must correct nothing")
	}
	set := c.Setup(j)
	if set.Doubt.JointFormDeg != 0.06 || set.Doubt.JointScale != 1e-5 || set.Servo.CurrentLaw != rig.CurrentDuty || set.Servo.IdleA != 0.12 || set.Doubt.CurrentScale != 0 {
		t.Errorf("set-up %+v", set)
	}
	j.Servo.CurrentLaw, j.Servo.IdleA = rig.CurrentMotor, 0.2
	if set = c.Setup(j); set.Servo.CurrentLaw != rig.CurrentMotor || set.Servo.IdleA != 0.2 {
		t.Error("what bench.toml states comes first")
	}
}

func TestParseCalibrationNamesWhatIsWrong(t *testing.T) {
	good := string(whole().Encode())
	for _, test := range []struct{ name, from, to, key, says string }{
		{"unknown key", "zero_deg = 2.0", "zero_dge = 2.0", "joint_angle.zero_dge", `"zero_deg"`},
		{"other unit", "zero_a = -0.004", "zero_ma = -4", "current.zero_ma", `"zero_a"`},
		{"unknown table", "[supply]", "[suply]", "suply", `"supply"`},
		{"model", `model = "waves"`, `model = "wave"`, "joint_angle.model", `"waves"`},
		{"date", "date = 2026-03-01T10:15:00+01:00", `date = "March"`, "joint_angle.date", "date and time"},
		{"constant changed by hand", "zero_deg = 2.0", "zero_deg = 2.5", "joint_angle.points", "changed by hand"},
		{"point changed by hand", "current_a = 0.24,", "current_a = 0.34,", "torque.points", "changed by hand"},
		{"direction", "direction = -1", "direction = 2", "pulse.points.direction", "must be 1 or -1"},
		{"other name", `name = "2026-03-01-knee-1"`, `name = "x"`, "name", "name of its own"},
		{"negative uncertainty", "zero_u_a = 0.001", "zero_u_a = -0.001", "current.zero_u_a", "must not be negative"},
		{"missing", "at_us = 1500.0\n", "", "pulse.at_us", "is missing"},
	} {
		text := strings.Replace(good, test.from, test.to, 1)
		if text == good {
			t.Errorf("%s: %q is not in the file", test.name, test.from)
			continue
		}
		_, err := rig.ParseCalibration("2026-03-01-knee-1.toml", []byte(text))
		var e *rig.ConfigError
		if !errors.As(err, &e) {
			t.Errorf("%s: %v", test.name, err)
			continue
		}
		if e.Key != test.key || !strings.Contains(e.Problem+" "+e.Hint, test.says) || e.Line == 0 || e.Hint == "" {
			t.Errorf("%s: %v, want key %s and %q", test.name, e, test.key, test.says)
		}
	}
	for _, text := range []string{"", "name = \"a\"\njoint = \"knee\"\n", "name = \"a\"\njoint = \"knee\"\n[current]\n"} {
		if _, err := rig.ParseCalibration("a.toml", []byte(text)); err == nil {
			t.Errorf("%q was taken", text)
		}
	}
}

func TestCalibrationOf(t *testing.T) {
	dir := t.TempDir()
	bench := func(text string) *rig.Bench {
		path := filepath.Join(dir, "bench.toml")
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		b, err := rig.LoadBench(path)
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	if err := os.Mkdir(filepath.Join(dir, "calibrations"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(rig.CalibrationPath(dir, whole().Name), whole().Encode(), 0o644); err != nil {
		t.Fatal(err)
	}
	const knee = "[[joint]]\nname = \"knee\"\nrange_deg = [-60, 60]\n"
	b := bench(knee)
	if c, err := b.CalibrationOf(b.Joints[0]); c != nil || err != nil {
		t.Errorf("none is named, got %v, %v", c, err)
	}
	b = bench(knee + "calibration = \"2026-03-01-knee-1\"\n")
	if c, err := b.CalibrationOf(b.Joints[0]); err != nil {
		t.Error(err)
	} else {
		same(t, c, whole())
	}
	for _, test := range []struct{ name, text, says string }{
		{"not there", knee + "calibration = \"gone\"\n", "there is no "},
		{"another joint", strings.Replace(knee, "knee", "hip", 1) + "calibration = \"2026-03-01-knee-1\"\n", "made for joint knee, not hip"},
		{"another servo", knee + "calibration = \"2026-03-01-knee-1\"\n[joint.servo]\nserial = \"S9\"\n", `servo "K-2", joint knee has "S9"`},
	} {
		b := bench(test.text)
		_, err := b.CalibrationOf(b.Joints[0])
		var e *rig.ConfigError
		if !errors.As(err, &e) || e.Line != 4 || e.Column != 15 || e.Key != "joint.calibration" || !strings.Contains(e.Problem, test.says) {
			t.Errorf("%s: %v, want line 4 and %q", test.name, err, test.says)
		}
	}
	// The same parts in another joint: the serials say so.
	b = bench(strings.Replace(knee, "knee", "hip", 1) + "calibration = \"2026-03-01-knee-1\"\n[joint.servo]\nserial = \"K-2\"\n[joint.sensors]\nserial = \"K-2\"\n")
	if _, err := b.CalibrationOf(b.Joints[0]); err != nil {
		t.Errorf("the serials are the same: %v", err)
	}
	if _, err := rig.ParseBench("b", []byte(knee+"calibration = \"../x\"\n")); err == nil || !strings.Contains(err.Error(), "b:4:15: joint.calibration") {
		t.Errorf("a path as a name: %v", err)
	}
}

// One line is changed; comments, order and line ends stay.
func TestUseCalibration(t *testing.T) {
	const text = "# my bench\n[[joint]]\n  name = \"hip\" # first\nrange_deg = [0, 1]\n[[joint]]\nchannel = 5\nname = \"knee\"\nrange_deg = [0, 1]\ncalibration = \"old\"   # last spring\n"
	for _, test := range []struct{ name, text, joint, want string }{
		{"added", text, "hip", strings.Replace(text, "# first\n", "# first\n  calibration = \"new-1\"\n", 1)},
		{"changed", text, "knee", strings.Replace(text, `"old"`, `"new-1"`, 1)},
		{"windows", strings.ReplaceAll(text, "\n", "\r\n"), "hip", strings.ReplaceAll(strings.Replace(text, "# first\n", "# first\n  calibration = \"new-1\"\n", 1), "\n", "\r\n")},
		{"mark in front", "\xef\xbb\xbf" + text, "knee", "\xef\xbb\xbf" + strings.Replace(text, `"old"`, `"new-1"`, 1)},
		{"no end of line", "[[joint]]\nrange_deg = [0, 1]\nname = \"a\"", "a", "[[joint]]\nrange_deg = [0, 1]\nname = \"a\"\ncalibration = \"new-1\"\n"},
	} {
		got, err := rig.UseCalibration("bench.toml", []byte(test.text), test.joint, "new-1")
		if err != nil || string(got) != test.want {
			t.Errorf("%s: %v\n%q\nwant\n%q", test.name, err, got, test.want)
		}
	}
	for _, bad := range []string{`joint = [{ name = "knee", range_deg = [0, 1] }]`, "[[joint]]\nrange_deg = [0, 1]\nname = '''\nknee'''\n"} {
		if got, err := rig.UseCalibration("bench.toml", []byte(bad), "knee", "new-1"); err == nil || !strings.Contains(err.Error(), `write calibration = "new-1" below`) {
			t.Errorf("%q became %q, %v", bad, got, err)
		}
	}
}

func FuzzParseCalibration(f *testing.F) {
	f.Add([]byte(string(whole().Encode())))
	f.Add([]byte("name = 'a'\njoint = 'b'\n[current]\npoints = [1, {}, {meter_a = 1}]\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := rig.ParseCalibration("a.toml", data)
		if (c == nil) == (err == nil) {
			t.Fatalf("%v, %v", c, err)
		}
		if err == nil {
			if _, err := rig.ParseCalibration("a.toml", c.Encode()); err != nil {
				t.Fatalf("what was written is not read: %v\n%s", err, c.Encode())
			}
		}
	})
}
