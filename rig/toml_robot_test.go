package rig_test

import (
	"reflect"
	"strings"
	"testing"

	"limbgauge/rig"
)

const legAndRobot = `
[leg]
name = "rear-right"
[leg.geometry]
l1_m = 0.02
l2_m = 0.08
l3_m = 0.11
yaw = ""
hip = "thigh"
knee = "shank"
knee_motor = "body"
belt_efficiency = 0.9
stance_height_m = [0.06, 0.09]
stance_reach_m = [0.05, 0.12]
stance_yaw_deg = [-15, 25]
hip_zero_deg = 40
knee_zero_deg = -90
[leg.link.coxa]
mass_kg = 0.05
centre_m = 0.01
[leg.link.femur]
mass_kg = 0.09
centre_m = 0.02
inertia_kg_m2 = 0.00005
[leg.link.tibia]
mass_kg = 0.03
centre_m = 0.05
[robot]
legs = 4
body_kg = 0.8
scale_kg = 1.6
stance_legs = 3
duty = 0.75
hips_m = [[0.1, 0.05], [0.1, -0.05], [-0.1, 0.05], [-0.1, -0.05]]
com_m = [0.01, -0.002]
com_height_m = 0.03
ground_friction = 0.6
slope_deg = 5
step_s = 1.2
step_m = 0.07
lift_m = 0.02
[[joint]]
name = "thigh"
range_deg = [-60, 60]
[[joint]]
name = "shank"
range_deg = [-60, 60]
`

func TestLegAndRobotKeyByKey(t *testing.T) {
	b, err := rig.ParseBench("bench.toml", []byte(legAndRobot))
	if err != nil {
		t.Fatal(err)
	}
	wantLeg := rig.Leg{Name: "rear-right",
		Geometry: &rig.Geometry{L1M: 0.02, L2M: 0.08, L3M: 0.11, Hip: "thigh", Knee: "shank", KneeMotor: rig.KneeOnBody, BeltEfficiency: 0.9,
			HeightM: [2]float64{0.06, 0.09}, ReachM: [2]float64{0.05, 0.12}, YawDeg: [2]float64{-15, 25}, HipZeroDeg: 40, KneeZeroDeg: -90},
		Coxa: rig.Link{MassKg: 0.05, CentreM: 0.01}, Femur: rig.Link{MassKg: 0.09, CentreM: 0.02, InertiaKgM2: 0.00005}, Tibia: rig.Link{MassKg: 0.03, CentreM: 0.05}}
	wantRobot := &rig.Robot{Legs: 4, BodyKg: 0.8, ScaleKg: 1.6, StanceLegs: 3, Duty: 0.75, HipsM: []rig.Point{{0.1, 0.05}, {0.1, -0.05}, {-0.1, 0.05}, {-0.1, -0.05}},
		ComM: rig.Point{0.01, -0.002}, ComHeightM: 0.03, Friction: 0.6, SlopeDeg: 5, StepS: 1.2, StepM: 0.07, LiftM: 0.02}
	if !reflect.DeepEqual(b.Leg, wantLeg) || !reflect.DeepEqual(b.Robot, wantRobot) {
		t.Errorf("got  %+v %+v\nwant %+v %+v", b.Leg, b.Robot, wantLeg, wantRobot)
	}
}

func TestLegAndRobotErrors(t *testing.T) {
	for _, row := range []struct{ from, to, says string }{
		{"l2_m = 0.08", "l2_mm = 80", `6:1: leg.geometry.l2_mm: is no key of this table; did you mean "l2_m"?`},
		{"l3_m = 0.11\n", "", "leg.geometry.l3_m: is missing; give the distance from knee axis to foot"},
		{`hip = "thigh"`, `hip = "hip"`, `9:7: leg.geometry.hip: "hip" is no joint of this bench`},
		{`hip = "thigh"`, `hip = "shank"`, `"shank" is the hip already`},
		{`knee_motor = "body"`, `knee_motor = "frame"`, `"frame" is not known; give one of ["link" "body"]`},
		{"stance_reach_m = [0.05, 0.12]", "stance_reach_m = [0.05, 0.3]", "this leg reaches 0.03 to 0.19 m"},
		{"[leg.link.femur]", "[leg.link.thigh]", "leg.link.thigh: is no key of this table"},
		{"legs = 4", "legs = 2", "robot.stance_legs: is 3, but the robot has 2 legs"},
		{", [-0.1, -0.05]]", "]", "robot.hips_m: lists 3 places, but the robot has 4 legs"},
		{"[-0.1, -0.05]]", "[-0.1]]", "must be a list of two numbers, x and y"},
		{"com_m = [0.01, -0.002]", "com_m = 0.01", "robot.com_m: must be a list of two numbers"},
		{"hips_m = [[0.1, 0.05], [0.1, -0.05], [-0.1, 0.05], [-0.1, -0.05]]", "hips_m = 4", "must be a list of points, not the number 4"},
		{"scale_kg = 1.6", "scale_kg = 0.5", "weigh the whole robot"},
		{"mass_kg = 0.05", "body_kg = 0.05", "it belongs below [robot]"},
	} {
		text := strings.Replace(legAndRobot, row.from, row.to, 1)
		if text == legAndRobot {
			t.Fatalf("%q is not in the text", row.from)
		}
		if _, err := rig.ParseBench("b", []byte(text)); err == nil || !strings.Contains(err.Error(), row.says) {
			t.Errorf("%s: got %v\nwant %s", row.to, err, row.says)
		}
	}
	// A bench of the knee alone, as in the middle of building, is no mistake.
	b, err := rig.ParseBench("b", []byte("[leg.geometry]\nl1_m = 0.03\nl2_m = 0.06\nl3_m = 0.1\n[[joint]]\nname = \"knee\"\nrange_deg = [-60, 60]\n"))
	if err != nil {
		t.Fatal(err)
	}
	if g := b.Leg.Geometry; g.Yaw != "" || g.Hip != "" || g.Knee != "knee" || g.HeightM[0] <= 0 || g.ReachM[1] <= g.ReachM[0] {
		t.Errorf("geometry %+v", g)
	}
}
