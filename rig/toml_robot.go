package rig

import (
	"fmt"
	"math"
)

func (d *document) leg(t map[string]any, l *Leg) {
	d.read("leg", t, legFields(l), "geometry", "link")
	d.name("leg.name", l.Name)
	if sub, ok := d.table("leg", t, "geometry"); ok {
		g := DefaultGeometry()
		d.read("leg.geometry", sub, geometryFields(&g))
		d.oneOf("leg.geometry.knee_motor", g.KneeMotor, KneeOnLink, KneeOnBody)
		g.stance()
		d.reachable(g)
		l.Geometry = &g
	}
	links, ok := d.table("leg", t, "link")
	if !ok {
		return
	}
	d.read("leg.link", links, nil, "coxa", "femur", "tibia")
	for _, k := range []struct {
		key  string
		into *Link
	}{{"coxa", &l.Coxa}, {"femur", &l.Femur}, {"tibia", &l.Tibia}} {
		if sub, ok := d.table("leg.link", links, k.key); ok {
			d.read(under("leg.link", k.key), sub, linkFields(k.into))
		}
	}
}

// reachable blames a stance that the leg is too short, or too long folded, to take.
func (d *document) reachable(g Geometry) {
	if !(g.L2M > 0 && g.L3M > 0) {
		return // blamed already
	}
	for _, h := range g.HeightM {
		for _, r := range g.ReachM {
			far := math.Hypot(r-g.L1M, h)
			if far > (g.L2M+g.L3M)*(1+1e-9) || far < math.Abs(g.L2M-g.L3M)*(1-1e-9) {
				d.blame("leg.geometry", fmt.Sprintf("a foot %.3g m from the yaw axis and %.3g m below the hip is %.3g m from the hip axis; this leg reaches %.3g to %.3g m",
					r, h, far, math.Abs(g.L2M-g.L3M), g.L2M+g.L3M), "change stance_height_m or stance_reach_m")
				return
			}
		}
	}
}

func (d *document) robot(t map[string]any) *Robot {
	r := DefaultRobot()
	d.read("robot", t, robotFields(&r))
	if r.StanceLegs > r.Legs && r.Legs > 0 {
		d.blame("robot.stance_legs", fmt.Sprintf("is %d, but the robot has %d legs", r.StanceLegs, r.Legs), "give how many legs stand at least")
	}
	if n := len(r.HipsM); n > 0 && r.Legs > 0 && n != r.Legs {
		d.blame("robot.hips_m", fmt.Sprintf("lists %d places, but the robot has %d legs", n, r.Legs), "give one [x, y] per leg")
	}
	if r.ScaleKg > 0 && r.BodyKg > r.ScaleKg {
		d.blame("robot.scale_kg", fmt.Sprintf("is %s, less than the body's %s alone", number(r.ScaleKg), number(r.BodyKg)), "weigh the whole robot, legs included")
	}
	return &r
}

// legJoints holds that the joints a geometry names are those of the bench. A joint that is named by
// default only may be absent: a leg on the bench need not be whole.
func (d *document) legJoints(b *Bench) {
	g := b.Leg.Geometry
	if g == nil || len(b.Joints) == 0 {
		return
	}
	leg, _ := d.root["leg"].(map[string]any)
	t, _ := leg["geometry"].(map[string]any)
	seen := map[string]string{}
	for _, k := range []struct {
		key  string
		name *string
	}{{"yaw", &g.Yaw}, {"hip", &g.Hip}, {"knee", &g.Knee}} {
		_, given := t[k.key]
		if _, ok := b.JointByName(*k.name); !ok {
			if given && *k.name != "" {
				d.blame(under("leg.geometry", k.key), fmt.Sprintf("%q is no joint of this bench", *k.name), "give the name of a [[joint]]")
			}
			*k.name = ""
			continue
		}
		if other := seen[*k.name]; other != "" {
			d.blame(under("leg.geometry", k.key), fmt.Sprintf("%q is the %s already", *k.name, other), "give each joint one place in the leg")
		}
		seen[*k.name] = k.key
	}
}

func geometryFields(g *Geometry) []field {
	const stance = ", the lesser first"
	return []field{
		{key: "l1_m", into: &g.L1M, must: true, ok: notNegative, want: "the distance from yaw axis to hip axis in m, as in l1_m = 0.03"},
		{key: "l2_m", into: &g.L2M, must: true, ok: positive, want: "the distance from hip axis to knee axis in m, as in l2_m = 0.07"},
		{key: "l3_m", into: &g.L3M, must: true, ok: positive, want: "the distance from knee axis to foot in m, as in l3_m = 0.11"},
		{key: "yaw", into: &g.Yaw, want: `the name of the joint that turns the leg about the upright axis, as in yaw = "yaw"`},
		{key: "hip", into: &g.Hip, want: `the name of the joint that lifts the leg, as in hip = "hip"`},
		{key: "knee", into: &g.Knee, want: `the name of the joint between femur and tibia, as in knee = "knee"`},
		{key: "knee_motor", into: &g.KneeMotor, want: `knee_motor = "link" where it sits on the femur, "body" where a belt keeps the tibia's direction to the body`},
		{key: "belt_efficiency", into: &g.BeltEfficiency, ok: between(0.3, 1), want: "the share of the torque that a belt hands on, as in belt_efficiency = 0.95"},
		{key: "stance_height_m", into: &g.HeightM, ok: positive, want: "how far the hip axis is above the ground, as in stance_height_m = [0.06, 0.10]" + stance},
		{key: "stance_reach_m", into: &g.ReachM, want: "how far the foot is from the yaw axis, as in stance_reach_m = [0.07, 0.10]" + stance},
		{key: "stance_yaw_deg", into: &g.YawDeg, ok: between(-90, 90), want: "how far the leg turns while it stands, as in stance_yaw_deg = [-20.0, 20.0]"},
		{key: "hip_zero_deg", into: &g.HipZeroDeg, ok: between(-360, 360), want: "the femur's angle above level where the bench reads 0, as in hip_zero_deg = 30.0"},
		{key: "knee_zero_deg", into: &g.KneeZeroDeg, ok: between(-360, 360), want: "the tibia's angle to the stretched femur where the bench reads 0, as in knee_zero_deg = -100.0"},
	}
}

func linkFields(l *Link) []field {
	return []field{
		{key: "mass_kg", into: &l.MassKg, must: true, ok: notNegative, want: "the link's mass in kg with all that is fixed to it, as in mass_kg = 0.09"},
		{key: "centre_m", into: &l.CentreM, must: true, ok: notNegative, want: "how far its centre of mass is from the joint nearer to the body, as in centre_m = 0.03"},
		{key: "inertia_kg_m2", into: &l.InertiaKgM2, ok: notNegative, want: "its inertia about its own centre, or leave the key out for a slender rod"},
	}
}

func robotFields(r *Robot) []field {
	return []field{
		{key: "legs", into: &r.Legs, must: true, ok: between(1, 20), want: "how many legs there are, as in legs = 6"},
		{key: "body_kg", into: &r.BodyKg, ok: notNegative, want: "the mass of all that is no leg, as in body_kg = 0.9"},
		{key: "scale_kg", into: &r.ScaleKg, ok: notNegative, want: "what a scale shows of the whole robot, as in scale_kg = 1.85"},
		{key: "stance_legs", into: &r.StanceLegs, ok: between(1, 20), want: "how many legs stand at least, as in stance_legs = 3"},
		{key: "duty", into: &r.Duty, ok: between(0.05, 1), want: "which share of a step each leg stands, as in duty = 0.5"},
		{key: "hips_m", into: &r.HipsM, ok: between(-5, 5), want: "the yaw axes on the body, x forward and y to the left, one [x, y] per leg"},
		{key: "com_m", into: &r.ComM, ok: between(-5, 5), want: "the robot's centre of mass seen from above, legs included, as in com_m = [0.0, 0.0]"},
		{key: "com_height_m", into: &r.ComHeightM, ok: between(-1, 5), want: "how far it is above the hip axes, as in com_height_m = 0.02"},
		{key: "ground_friction", into: &r.Friction, ok: between(0, 3), want: "the friction between foot and ground, as in ground_friction = 0.4"},
		{key: "slope_deg", into: &r.SlopeDeg, ok: between(0, 60), want: "the slope of the ground, as in slope_deg = 0.0"},
		{key: "step_s", into: &r.StepS, ok: positive, want: "how long a whole step takes in s, as in step_s = 1.0"},
		{key: "step_m", into: &r.StepM, ok: notNegative, want: "how far the body goes in a step, as in step_m = 0.05"},
		{key: "lift_m", into: &r.LiftM, ok: notNegative, want: "how high a foot is lifted, as in lift_m = 0.03"},
	}
}
