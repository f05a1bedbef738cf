package main

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"limbgauge/rig"
	"limbgauge/rig/virtual"
)

// kneeErrors are what the virtual stand's knee reads and does wrong in the test below.
var kneeErrors = map[string]float64{"joint_zero_deg": 3, "joint_scale": -0.06, "motor_zero_deg": -2, "current_gain": 0.15, "current_zero_a": 0.03,
	"supply_gain": -0.03, "servo_middle_us": 15, "servo_travel": 0.04}

// answer is the part of the JSON answer the test reads.
type answerJSON struct {
	Joints []struct {
		Measures []struct {
			Name, Path  string
			Value       float64
			Uncertainty float64
		}
	}
}

// limbgauge runs one command line and wants it to succeed.
func limbgauge(t *testing.T, args ...string) string {
	t.Helper()
	var out, errw bytes.Buffer
	if code := run(t.Context(), args, strings.NewReader(""), &out, &errw); code != 0 {
		t.Fatalf("limbgauge %s: exit %d\n%s", strings.Join(args, " "), code, errw.String())
	}
	return out.String()
}

func measuresOf(t *testing.T, text string) map[string][2]float64 {
	t.Helper()
	var a answerJSON
	if err := json.Unmarshal([]byte(text), &a); err != nil || len(a.Joints) != 1 {
		t.Fatalf("%v\n%s", err, text)
	}
	out := map[string][2]float64{}
	for _, m := range a.Joints[0].Measures {
		out[m.Name+" "+m.Path] = [2]float64{m.Value, m.Uncertainty}
	}
	return out
}

// A stand whose sensors and servo are off by known amounts: calibration finds each of them within its
// interval, a run names the calibration, and its figures are those of a stand that reads right; the
// same samples without it are far off. The truth is what was put in, and the same joint without errors.
func TestCalibrationOnTheVirtualStand(t *testing.T) {
	if testing.Short() {
		t.Skip("plays some minutes of a stand")
	}
	bench := func() string {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, benchFile), []byte(rig.ExampleBench()), 0o644); err != nil {
			t.Fatal(err)
		}
		return dir
	}
	var wrong []string
	for name, size := range kneeErrors {
		wrong = append(wrong, "--error", name+"="+jsonNumber(size))
	}
	dir := bench()
	limbgauge(t, append([]string{"-b", dir, "calibrate", "knee", "--weights", "0.1,0.25,0.4", "--lever", "0.11", "--yes", "--speed", "0", "--use", "--name", "cal"}, wrong...)...)

	c, err := rig.LoadCalibration(rig.CalibrationPath(dir, "cal"))
	if err != nil {
		t.Fatal(err)
	}
	b, err := rig.LoadBench(filepath.Join(dir, benchFile))
	if err != nil {
		t.Fatal(err)
	}
	knee, _ := b.JointByName("knee")
	truth := virtual.Healthy(knee, 1)
	within := func(name string, got, want, u float64) {
		t.Helper()
		if d := math.Abs(got - want); !(d <= 2*u) || !(u > 0) {
			t.Errorf("%s is %.5f ± %.5f, but %.5f was put in", name, got, 2*u, want)
		}
	}
	// A reading of zero + (1+k)·true gives back true = reading + (-k/(1+k))·(reading - zero) - zero.
	scaleOf := func(k float64) float64 { return 1/(1+k) - 1 }
	for _, test := range []struct {
		name    string
		c       *rig.Correction
		zero, k float64
	}{
		{"joint angle", c.JointAngle, 3, -0.06}, {"motor angle", c.MotorAngle, -2, 0},
		{"current", c.Current, 0.03, 0.15}, {"supply", c.Supply, 0, -0.03},
	} {
		within(test.name+" scale", test.c.Scale, scaleOf(test.k), test.c.ScaleU)
		within(test.name+" at its middle", test.c.Apply(test.c.At), (test.c.At-test.zero)/(1+test.k), test.c.ZeroU)
	}
	within("slope of the pulses", c.Pulse.Up.DegPerUS, 180.0/2000*1.04, c.Pulse.Up.DegPerUSU)
	// Midway lies the middle of the dead band; a joint at rest in it may lie anywhere, by the gap.
	if at := c.Pulse.Angle(1515); math.Abs(at) > math.Abs(c.Pulse.GapDeg)/2 {
		t.Errorf("the servo's middle at 1515 us lies at %.3f deg", at)
	}
	// Amperes per N·m from the motor's lines: stall current without idle over stall torque with what the gears take.
	s := truth.Servo
	if c.Torque.Law != rig.CurrentMotor {
		t.Errorf("law %q (%s), the stand has a motor's", c.Torque.Law, c.Torque.Undecided)
	}
	within("current per torque", c.Torque.Scale, (s.StallA-s.IdleA)/(s.StallNm+s.GearFrictionNm), c.Torque.ScaleU)

	got := measuresOf(t, limbgauge(t, append([]string{"-b", dir, "sweep", "knee", "--yes", "--speed", "0", "--json"}, wrong...)...))
	raw := measuresOf(t, limbgauge(t, "-b", dir, "analyze", "1", "--calibration", "none", "--json"))
	info, err := os.ReadFile(filepath.Join(dir, "runs", "0001", "run.json"))
	if err != nil || !strings.Contains(string(info), `"calibration": "cal"`) {
		t.Errorf("run.json does not name the calibration: %v\n%s", err, info)
	}
	if text := limbgauge(t, "-b", dir, "analyze", "1"); !strings.Contains(text, "corrected by calibration cal") {
		t.Errorf("the answer does not say so:\n%s", text)
	}
	right := measuresOf(t, limbgauge(t, "-b", bench(), "sweep", "knee", "--yes", "--speed", "0", "--json"))
	for _, name := range []string{"compliance transmission", "compliance total", "systematic_deviation total", "load_torque_peak ", "torque_use "} {
		w, g, r := right[name], got[name], raw[name]
		// Of calibration remain scale and zero of a jig good within 0.1 deg.
		tol := math.Hypot(w[1], g[1]) + 0.05*math.Abs(w[0])
		if d := math.Abs(g[0] - w[0]); !(d <= tol) {
			t.Errorf("%s: %.3f corrected, %.3f on a stand that reads right (± %.3f)", name, g[0], w[0], tol)
		}
		if strings.Contains(name, "compliance") || strings.Contains(name, "deviation") {
			if d := math.Abs(r[0] - w[0]); !(d > 3*tol) {
				t.Errorf("%s: %.3f without calibration is as good as %.3f: the errors do not show, so this test shows nothing", name, r[0], w[0])
			}
		}
	}

	// The corrected log gives the same answer where it lies, and is not corrected twice.
	log := filepath.Join(dir, "corrected.csv")
	limbgauge(t, "-b", dir, "export", "1", "--corrected", "--out", log)
	again := measuresOf(t, limbgauge(t, "-b", dir, "analyze", "--csv", log, "--json"))
	if d := math.Abs(again["compliance transmission"][0] - got["compliance transmission"][0]); d > 0.05 {
		t.Errorf("compliance from the corrected log is %.3f, from the run %.3f", again["compliance transmission"][0], got["compliance transmission"][0])
	}
	// And the raw one is corrected by what bench.toml names.
	log = filepath.Join(dir, "raw.csv")
	limbgauge(t, "-b", dir, "export", "1", "--out", log)
	again = measuresOf(t, limbgauge(t, "-b", dir, "analyze", "--csv", log, "--json"))
	if d := math.Abs(again["compliance transmission"][0] - got["compliance transmission"][0]); d > 0.05 {
		t.Errorf("compliance from the raw log is %.3f, from the run %.3f", again["compliance transmission"][0], got["compliance transmission"][0])
	}
}

func jsonNumber(v float64) string {
	text, _ := json.Marshal(v) // a finite number
	return string(text)
}
