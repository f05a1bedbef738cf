package rig_test

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"limbgauge/rig"
)

// shared returns a path below the data that lies beside the repository. It is not part of it, so
// a test without it is skipped, or fails where everything is required.
func shared(t *testing.T, path string) string {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			break
		}
		if dir == filepath.Dir(dir) {
			t.Fatal("no go.mod above the test")
		}
		dir = filepath.Dir(dir)
	}
	p := filepath.Join(dir, "..", "shared", path)
	if _, err := os.Stat(p); err != nil {
		if os.Getenv("LIMBGAUGE_REQUIRE_ALL") == "1" {
			t.Fatalf("required data is missing: %v", err)
		}
		t.Skipf("data beside the repository is missing: %v", err)
	}
	return p
}

// The example of the design, key by key: every value here was read off the page.
const designExample = `
[stand]
port = "/dev/ttyACM0"
baud = 250000
sample_hz = 500

[leg]
name = "fore-left"

[[joint]]
name = "knee"
channel = 3
range_deg = [-75.0, 70]
current_max_a = 2.5

[joint.load]
mass_kg = 0.25
lever_m = 0.11
inertia_kg_m2 = 0.0036
down_deg = 1.5

[joint.servo]
rated = [{ volts = 5.0, stall_nm = 1.2, no_load_deg_per_s = 350.0, stall_a = 2.0 },
         { volts = 6.0, stall_nm = 1.4, no_load_deg_per_s = 420.0, stall_a = 2.4 }]
idle_a = 0.12
travel_deg = 170.0
pulse_us = [600, 2400]
deadband_us = 3.0
current_law = "duty"

[joint.belt]
teeth = 20
pitch_mm = 2.0
ratio = 1.125

[joint.sensors]
joint_counts = 4000
motor_counts = 16384

[joint.limits]
reversal_error_deg = 1.2
belt_tension_n = 25
`

func TestParseBenchReadsEveryKey(t *testing.T) {
	got, err := rig.ParseBench("bench.toml", []byte(designExample))
	if err != nil {
		t.Fatal(err)
	}
	want := &rig.Bench{
		Stand: rig.Stand{Port: "/dev/ttyACM0", Baud: 250000, SampleHz: 500, Form: "frames"},
		Leg:   rig.Leg{Name: "fore-left"},
		Path:  "bench.toml",
		Joints: []rig.Joint{{
			Name: "knee", Channel: 3, RangeDeg: [2]float64{-75, 70}, CurrentMaxA: 2.5,
			Load: &rig.Load{MassKg: 0.25, LeverM: 0.11, InertiaKgM2: 0.0036, DownDeg: 1.5},
			Servo: rig.Servo{
				Rated: []rig.Rating{{Volts: 5, StallNm: 1.2, NoLoadDegPerS: 350, StallA: 2}, {Volts: 6, StallNm: 1.4, NoLoadDegPerS: 420, StallA: 2.4}},
				IdleA: 0.12, TravelDeg: 170, PulseUS: [2]int{600, 2400}, DeadbandUS: 3, CurrentLaw: rig.CurrentDuty,
			},
			Belt:    &rig.Belt{Teeth: 20, PitchMM: 2, Ratio: 1.125},
			Sensors: rig.Sensors{JointCounts: 4000, MotorCounts: 16384},
			Limits:  rig.Limits{"reversal_error": 1.2, "belt_tension": 25},
		}},
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
}

func TestParseBenchDefaults(t *testing.T) {
	got, err := rig.ParseBench("b", []byte("[[joint]]\nname = \"a\"\nrange_deg = [-10, 20]\n[[joint]]\nname = \"b\"\nrange_deg = [0, 1]\n[joint.servo]\nrated = [{volts=6, stall_nm=1, no_load_deg_per_s=300, stall_a=1.75}]\n[joint.belt]\nteeth=20\npitch_mm=2\n"))
	if err != nil {
		t.Fatal(err)
	}
	if got.Stand != rig.DefaultStand() {
		t.Errorf("stand = %+v", got.Stand)
	}
	a, b := got.Joints[0], got.Joints[1]
	if a.Channel != 0 || b.Channel != 1 {
		t.Errorf("channels %d, %d; want the places in the file, 0 and 1", a.Channel, b.Channel)
	}
	if a.Load != nil || a.Belt != nil || a.Sensors.MotorCounts != 0 || a.CurrentMaxA <= 0 {
		t.Errorf("joint a = %+v: what is left out must be unknown, and a trip current must be set", a)
	}
	if b.CurrentMaxA != 1.75 {
		t.Errorf("current limit %v A, want the stall current 1.75 A", b.CurrentMaxA)
	}
	if b.Belt == nil || b.Belt.Ratio != 1 {
		t.Errorf("belt = %+v, want ratio 1", b.Belt)
	}
}

func TestExampleBenchLoads(t *testing.T) {
	b, err := rig.ParseBench("example", []byte(rig.ExampleBench()))
	if err != nil {
		t.Fatal(err)
	}
	var kinds []string
	for _, j := range b.Joints {
		kinds = append(kinds, j.Name+" "+j.Kind())
	}
	if got, want := strings.Join(kinds, ", "), "yaw direct, hip belt, knee belt"; got != want || b.Leg.Name != "fore-left" {
		t.Errorf("leg %q with %s; want fore-left with %s", b.Leg.Name, got, want)
	}
}

func TestLoadBenchOfCaseLogs(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(shared(t, "caselogs"), "case*", "bench.toml"))
	if err != nil || len(files) != 16 {
		t.Fatalf("%d bench files (%v), want 16", len(files), err)
	}
	for _, f := range files {
		b, err := rig.LoadBench(f)
		if err != nil {
			t.Error(err)
			continue
		}
		if len(b.Joints) != 1 || b.Joints[0].Name != "knee" || len(b.Joints[0].Limits) != 8 {
			t.Errorf("%s: %+v", f, b)
		}
	}
}

// one is a bench with a single good joint; the rows below break one thing in it.
const one = `[leg]
name = "fore"
[[joint]]
name = "knee"
range_deg = [-75.0, 75.0]
`

func TestParseBenchNamesWhatIsWrong(t *testing.T) {
	for _, test := range []struct {
		name string
		text string
		line int
		col  int
		key  string
		says string // in the problem or the hint
	}{
		{"unknown key", "[stand]\nsample_hx = 5\n" + one, 2, 1, "stand.sample_hx", `did you mean "sample_hz"?`},
		{"unit forgotten", one + "[joint.load]\nmass = 0.2\nlever_m = 0.1\n", 7, 1, "joint.load.mass", `did you mean "mass_kg"?`},
		{"other unit", one + "[joint.load]\nmass_kg = 0.2\nlever_mm = 110\n", 8, 1, "joint.load.lever_mm", `did you mean "lever_m"?`},
		{"key of another table", one + "teeth = 20\n", 6, 1, "joint.teeth", "belongs below [joint.belt]"},
		{"unknown table", one + "[joint.spring]\n", 6, 8, "joint.spring", "can hold"},
		{"text for a number", one + "current_max_a = \"2.5\"\n", 6, 17, "joint.current_max_a", "must be a number"},
		{"number for text", "[leg]\nname = 5\n[[joint]]\nname=\"k\"\nrange_deg=[0,1]\n", 2, 8, "leg.name", "must be text"},
		{"fraction for a count", one + "channel = 1.5\n", 6, 11, "joint.channel", "whole number"},
		{"nan", one + "current_max_a = nan\n", 6, 17, "joint.current_max_a", "finite"},
		{"inf", one + "current_max_a = inf\n", 6, 17, "joint.current_max_a", "finite"},
		{"negative mass", one + "[joint.load]\nmass_kg = -0.2\nlever_m = 0.1\n", 7, 11, "joint.load.mass_kg", "must not be negative"},
		{"inertia no body has", one + "[joint.load]\nmass_kg = 1\nlever_m = 0.1\ninertia_kg_m2 = 0.005\n", 9, 17, "joint.load.inertia_kg_m2", "mass·lever²"},
		{"range reversed", "[[joint]]\nname = \"knee\"\nrange_deg = [75.0, -75.0]\n", 3, 1, "joint.range_deg", "lesser comes first"},
		{"range of one number", "[[joint]]\nname = \"knee\"\nrange_deg = [75.0]\n", 3, 1, "joint.range_deg", "two numbers"},
		{"range missing", "[[joint]]\nname = \"knee\"\n", 1, 3, "joint.range_deg", "missing"},
		{"name missing", "[[joint]]\nrange_deg = [0,1]\n", 1, 3, "joint.name", "missing"},
		{"name with newline", "[[joint]]\nname = \"a\\nb\"\nrange_deg = [0,1]\n", 2, 8, "joint.name", "control character"},
		{"wider than the servo turns", one + "[joint.belt]\nteeth=20\npitch_mm=2\nratio=2\n", 5, 1, "joint.range_deg", "90 deg only"},
		{"zero teeth", one + "[joint.belt]\nteeth = 0\npitch_mm = 2.0\n", 7, 9, "joint.belt.teeth", "must be from"},
		{"ratio zero", one + "[joint.belt]\nteeth = 20\npitch_mm = 2.0\nratio = 0\n", 9, 9, "joint.belt.ratio", "greater than 0"},
		{"rated empty", one + "[joint.servo]\nrated = []\n", 7, 1, "joint.servo.rated", "empty"},
		{"rated unordered", one + "[joint.servo]\nrated = [\n {volts=6, stall_nm=1, no_load_deg_per_s=300, stall_a=2},\n {volts=5, stall_nm=1, no_load_deg_per_s=300, stall_a=2}]\n", 9, 9, "joint.servo.rated.volts", "rising order"},
		{"rated without a figure", one + "[joint.servo]\nrated = [{volts=6, no_load_deg_per_s=300, stall_a=2}]\n", 7, 10, "joint.servo.rated.stall_nm", "missing"},
		{"current law", one + "[joint.servo]\ncurrent_law = \"square\"\n", 7, 15, "joint.servo.current_law", `"motor" "duty"`},
		{"form", "[stand]\nform = \"binary\"\n" + one, 2, 8, "stand.form", `"frames" "text"`},
		{"no joint counts", one + "[joint.sensors]\njoint_counts = 0\n", 7, 16, "joint.sensors.joint_counts", "from 1"},
		{"sense as a number", one + "[joint.sensors]\njoint_reversed = 1\n", 7, 18, "joint.sensors.joint_reversed", "must be true or false"},
		{"too many pulses", one + "[joint.servo]\nframe_hz = 400\n", 7, 12, "joint.servo.frame_hz", "data sheet names"},
		{"pulses longer than their frame", one + "[joint.servo]\npulse_us = [500, 2600]\nframe_hz = 333\n", 8, 12, "joint.servo.frame_hz", "up to 2503 us"},
		{"pulses of a stand that prints", "[stand]\nform = \"text\"\n" + one + "[joint.servo]\nframe_hz = 250\n", 9, 1, "joint.servo.frame_hz", "sketch"},
		{"zero beyond a turn", one + "[joint.sensors]\njoint_zero_deg = 190.0\n", 7, 18, "joint.sensors.joint_zero_deg", "from -180 to 180"},
		// one is 75 deg to each side: 102 + 75 + 3 is half a turn.
		{"zero opposite the joint", one + "[joint.sensors]\njoint_zero_deg = 102.0\njoint_reversed = true\n", 7, 18, "joint.sensors.joint_zero_deg", "read 180 deg"},
		{"zero opposite the motor side", one + "[joint.sensors]\nmotor_counts = 4096\nmotor_zero_deg = -150.0\n", 8, 18, "joint.sensors.motor_zero_deg", "about 150 deg"},
		{"zero of a stand that prints", "[stand]\nform = \"text\"\n" + one + "[joint.sensors]\njoint_zero_deg = 10.0\n", 9, 1, "joint.sensors.joint_zero_deg", "sketch"},
		{"zero of no motor side", one + "[joint.sensors]\nmotor_zero_deg = 10.0\n", 7, 1, "joint.sensors.motor_zero_deg", "motor_counts is 0"},
		{"sense of no motor side", one + "[joint.sensors]\nmotor_counts = 0\nmotor_reversed = false\n", 8, 1, "joint.sensors.motor_reversed", "motor_counts is 0"},
		{"zero in a whole turn", one + "[joint.sensors]\njoint_zero_deg = 270.0\n", 7, 18, "joint.sensors.joint_zero_deg", "take 360 off"},
		{"zero without its unit", one + "[joint.sensors]\njoint_zero = 10.0\n", 7, 1, "joint.sensors.joint_zero", `did you mean "joint_zero_deg"?`},
		{"sense cut short", one + "[joint.sensors]\njoint_reverse = true\n", 7, 1, "joint.sensors.joint_reverse", `did you mean "joint_reversed"?`},
		{"sense by another word", one + "[joint.sensors]\nmotor_inverted = true\n", 7, 1, "joint.sensors.motor_inverted", `did you mean "motor_reversed"?`},
		{"capital letter", one + "[joint.sensors]\njoint_reversed = True\n", 7, 18, "", "small letters"},
		{"negative limit", one + "[joint.limits]\nplay_deg = -0.1\n", 7, 12, "joint.limits.play_deg", "must not be negative"},
		{"same name twice", one + "[[joint]]\nname = \"knee\"\nrange_deg = [0, 1]\n", 7, 8, "joint.name", "line 4"},
		{"same channel twice", one + "[[joint]]\nname = \"hip\"\nchannel = 0\nrange_deg = [0, 1]\n", 8, 11, "joint.channel", "channel"},
		{"one bracket", "[joint]\nname = \"knee\"\n", 1, 2, "joint", "[[joint]]"},
		{"nothing at all", "", 0, 0, "", "[[joint]]"},
		{"key twice", "[leg]\nname = \"a\"\nname = \"b\"\n", 3, 1, "name", "once"},
		{"not TOML", "[leg\nname = 1\n", 1, 5, "", "]"},
		{"unit behind a number", "[[joint]]\ncurrent_max_a = 2.5 A\n", 2, 21, "", "without a unit"},
	} {
		t.Run(test.name, func(t *testing.T) {
			b, err := rig.ParseBench("bench.toml", []byte(test.text))
			var e *rig.ConfigError
			if !errors.As(err, &e) {
				t.Fatalf("bench %+v, error %v; want a *ConfigError", b, err)
			}
			if list, ok := err.(interface{ Unwrap() []error }); ok && len(list.Unwrap()) != 1 {
				t.Errorf("%d problems, want one:\n%v", len(list.Unwrap()), err)
			}
			if e.Path != "bench.toml" || e.Line != test.line || e.Column != test.col || e.Key != test.key {
				t.Errorf("at %s:%d:%d %s, want %d:%d %s", e.Path, e.Line, e.Column, e.Key, test.line, test.col, test.key)
			}
			if !strings.Contains(e.Problem+" "+e.Hint, test.says) {
				t.Errorf("%q does not say %q", e.Error(), test.says)
			}
			if e.Hint == "" {
				t.Errorf("%q does not say what to do", e.Error())
			}
		})
	}
}

func TestParseBenchReportsAllInLineOrder(t *testing.T) {
	_, err := rig.ParseBench("b", []byte(`[stand]
form = "x"
baud = -1
[[joint]]
nmae = "knee"
range_deg = [1, 0]
[joint.limits]
play_deg = -1
[[joint]]
name = "knee"
range_deg = [1, 0]
[joint.belt]
teeth = 0
`))
	var lines []int
	for _, e := range err.(interface{ Unwrap() []error }).Unwrap() {
		lines = append(lines, e.(*rig.ConfigError).Line)
	}
	if want := []int{2, 3, 5, 6, 8, 11, 12, 13}; !reflect.DeepEqual(lines, want) {
		t.Errorf("lines %v, want %v:\n%v", lines, want, err)
	}
}

// Whatever the bytes, there is a bench or an error that names the file, and never a panic.
func FuzzParseBench(f *testing.F) {
	f.Add([]byte(rig.ExampleBench()))
	f.Add([]byte(designExample))
	f.Add([]byte("joint = [1, {name='x'}, [2]]\n[a.b]\n\"c[1\" = 2\n"))
	f.Add([]byte("\xef\xbb\xbf[leg]\r\nname = 'x'\r\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		b, err := rig.ParseBench("bench.toml", data)
		if (b == nil) == (err == nil) {
			t.Fatalf("bench %v, error %v", b, err)
		}
		if err != nil {
			var e *rig.ConfigError
			if !errors.As(err, &e) || e.Path != "bench.toml" {
				t.Fatalf("error %v", err)
			}
			return
		}
		for _, j := range b.Joints {
			if !(j.RangeDeg[0] < j.RangeDeg[1]) || math.IsNaN(j.CurrentMaxA) {
				t.Fatalf("joint %+v", j)
			}
		}
	})
}

// The loads of the example must be able to show the belt tension it asks for: a span goes slack at
// the torque 2·T0·r (design: belt tension without a tension meter), which the load has to reach
// inside the reach of the routine, 0.44 of the range on either side of hanging down, with a quarter to spare.
func TestExampleLoadsShowTheBeltTensionAskedFor(t *testing.T) {
	b, err := rig.ParseBench("example", []byte(rig.ExampleBench()))
	if err != nil {
		t.Fatal(err)
	}
	for _, j := range b.Joints {
		if j.Belt == nil {
			continue
		}
		reach := 0.44 * (j.RangeDeg[1] - j.RangeDeg[0]) * math.Pi / 180
		load := j.Load.MassKg * 9.80665 * j.Load.LeverM * math.Sin(min(reach, math.Pi/2))
		if need := 2 * j.Limits["belt_tension"] * j.Belt.RadiusM() * j.Ratio(); load < 1.25*need {
			t.Errorf("joint %s: the load reaches %.3f N·m, the limit needs %.3f N·m", j.Name, load, need)
		}
	}
}
