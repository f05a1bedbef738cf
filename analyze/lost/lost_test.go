package lost

import (
	"math"
	"testing"

	"limbgauge/analyze/health"
	"limbgauge/analyze/internal/ref"
	"limbgauge/rig"
)

func joint(ms ...health.Measure) health.Joint { return health.Joint{Joint: "knee", Measures: ms} }

func of(name string, p health.Path, v, u float64) health.Measure { return health.Of(name, p, v, u, "") }

// B = b + 2·T_f·C: dead band 0.27 and play 0.5 deg, friction 0.05 N·m, compliance 4.5 deg/N·m make 1.22 deg
// (the worked reversal value of a joint); a load of 0.27 N·m to either side takes 2·4.5·0.27 = 2.43 deg more.
func TestSumOfAModelJoint(t *testing.T) {
	s := Of(joint(
		of("play", health.Total, 0.77, 0.02), of("compliance", health.Total, 4.5, 0.1), of("friction", health.Total, 0.05, 0.005),
		of("load_torque_peak", health.NoPath, 0.27, 0), of("systematic_deviation", health.Total, 3.9, 0.05)), 0.1)
	ref.Near(t, "dead zone and friction", s.Parts[0].Deg+s.Parts[2].Deg, 1.22, 1e-9, "closed form")
	ref.Near(t, "compliance", s.Parts[1].Deg, 2.43, 1e-9, "2·C·M")
	ref.Near(t, "known", s.Known, 3.65, 1e-9, "sum")
	ref.Near(t, "rest", s.Rest, 0.25, 1e-9, "3.9 - 3.65")
	ref.Near(t, "at the foot", s.MM(1), math.Pi/180*100, 1e-9, "arc of 1 deg at 100 mm")
}

// With both stretches seen each has its own parts, and the whole joint's figures are not counted again.
func TestStretchesAreToldApart(t *testing.T) {
	s := Of(joint(
		of("play", health.Total, 0.8, 0.1), of("compliance", health.Total, 4, 0.1),
		of("play", health.Servo, 0.2, 0.05), of("compliance", health.Servo, 1.5, 0.1),
		of("play", health.Transmission, 0.6, 0.05), of("compliance", health.Transmission, 2.5, 0.1),
		of("load_torque_peak", health.NoPath, 0.4, 0.01)), 0)
	ref.Near(t, "known", s.Known, 0.2+0.6+2*0.4*(1.5+2.5), 1e-9, "b + 2·C·M of both stretches")
	if !math.IsNaN(s.MM(1)) || !math.IsNaN(s.Rest) {
		t.Errorf("without an arm and a whole: %g mm, rest %g, want neither", s.MM(1), s.Rest)
	}
}

// What could not be seen is no zero: it has its reason and stays out of the sum; a greatest value is
// shown as one and stays out too.
func TestUnseenIsSaid(t *testing.T) {
	s := Of(joint(
		health.Unseen("play", health.Total, "", "the load pulls one way"),
		health.Bound("compliance", health.Total, health.BoundHigh, 3, 0.1, "", "few levels"),
		of("load_torque_peak", health.NoPath, 0.4, 0.01)), 0)
	if p := s.Parts[0]; !math.IsNaN(p.Deg) || p.Reason != "the load pulls one way" {
		t.Errorf("play: %+v, want NaN with its reason", p)
	}
	if p := s.Parts[1]; !p.AtMost || p.Seen() {
		t.Errorf("compliance: %+v, want at most", p)
	}
	if p := s.Parts[2]; p.Reason == "" || !math.IsNaN(p.Deg) {
		t.Errorf("friction: %+v, want unseen with a reason", p)
	}
	if s.Known != 0 {
		t.Errorf("known %g, want nothing", s.Known)
	}
}

// A right triangle of 3, 4, 5: the hip axis 40 mm up and the foot 30 mm beyond it.
func TestArm(t *testing.T) {
	g := &rig.Geometry{L1M: 0.02, L3M: 0.075, Yaw: "yaw", Hip: "hip", Knee: "knee", ReachM: [2]float64{0.04, 0.06}, HeightM: [2]float64{0.03, 0.05}}
	for name, want := range map[string]float64{"knee": 0.075, "hip": 0.05, "yaw": 0.05, "tail": 0} {
		m, _ := Arm(g, name)
		ref.Near(t, name, m, want, 1e-12, "geometry")
	}
	if m, why := Arm(nil, "knee"); m != 0 || why != "" {
		t.Errorf("without geometry: %g %q", m, why)
	}
}

// A joint that stands short of its command has felt at least so much load; what it lost, it lost to that, 2·4·0.4.
// What takes more than half is most of it, and beyond the doubt of whole and parts the rest is not explained.
func TestShortOfItsCommand(t *testing.T) {
	s := Of(joint(
		of("play", health.Total, 0.5, 0.1), of("compliance", health.Total, 4, 0.1),
		health.Bound("load_torque_peak", health.NoPath, health.BoundLow, 0.4, 0.01, "", "stands short of its command"),
		of("systematic_deviation", health.Total, 4.5, 0.2)), 0)
	ref.Near(t, "compliance", s.Parts[1].Deg, 3.2, 1e-9, "2·C·M")
	if p, ok := s.Most(); !ok || p.Kind != Compliance {
		t.Errorf("most by %s (%v), want compliance: 3.2 of 3.7", p.Kind, ok)
	}
	if !s.Unexplained() {
		t.Errorf("0.8 deg of 4.5 ± 0.2 beside 3.7 ± %.2f are explained", s.U)
	}
	s.U = 0.9
	if s.Unexplained() {
		t.Error("0.8 deg are within the doubt of the parts")
	}
}
