package calibrate_test

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"limbgauge/analyze/calibrate"
	"limbgauge/analyze/drive"
	"limbgauge/analyze/internal/ref"
	"limbgauge/rig"
)

// A servo of 180 deg over 500 to 2500 µs with a dead band of 3 µs: 0.09 deg/µs, and 0.27 deg between
// the directions (worked check of the servo's pulse lines, derived). Its middle is 20 µs off.
func TestPulseLines(t *testing.T) {
	var pts []rig.PulsePoint
	for _, us := range []float64{700, 1100, 1500, 1900, 2300} {
		at := 0.09 * (us - 1520)
		pts = append(pts, rig.PulsePoint{PulseUS: us, Direction: 1, AngleDeg: at - 0.135}, rig.PulsePoint{PulseUS: us, Direction: -1, AngleDeg: at + 0.135})
	}
	p, notes, err := calibrate.Pulse(pts, 0, math.NaN())
	if err != nil || len(notes) > 0 {
		t.Fatal(err, notes)
	}
	ref.Near(t, "up", p.Up.DegPerUS, 0.09, 1e-9, "180 deg over 2000 us")
	ref.Near(t, "down", p.Down.DegPerUS, 0.09, 1e-9, "180 deg over 2000 us")
	ref.Near(t, "gap", p.GapDeg, -0.27, 1e-9, "dead band of 3 us")
	ref.Near(t, "middle", p.Angle(1520), 0, 1e-7, "put in")
	j := rig.DefaultJoint(0)
	c := &rig.Calibration{Pulse: &p}
	s := c.Series(&rig.Series{Command: []float64{0, 36}}, j)
	ref.Near(t, "command 0", s.Command[0], -1.8, 1e-7, "20 us of 0.09 deg")
	ref.Near(t, "command 36", s.Command[1], 36-1.8, 1e-7, "20 us of 0.09 deg")
}

// Scatter of the stops is the doubt of the line: four stops each way, residuals ±s put in so that the
// line is not moved (they are orthogonal to 1 and x).
func TestPulseScatter(t *testing.T) {
	var pts []rig.PulsePoint
	for i, us := range []float64{900, 1300, 1700, 2100} {
		e := []float64{0.1, -0.1, -0.1, 0.1}[i]
		pts = append(pts, rig.PulsePoint{PulseUS: us, Direction: 1, AngleDeg: 0.1*(us-1500) + e}, rig.PulsePoint{PulseUS: us, Direction: -1, AngleDeg: 0.1*(us-1500) + e})
	}
	p, _, err := calibrate.Pulse(pts, 0, math.NaN())
	if err != nil {
		t.Fatal(err)
	}
	// Both directions share one scatter: RSS 8·0.01 over 8 - 4 degrees of freedom.
	s := math.Sqrt(8 * 0.01 / 4)
	ref.Near(t, "sd", p.ResidualSD, s, 1e-8, "RSS over 4")
	ref.Near(t, "u at the middle", p.Up.DegU, wide(4)*s/2, 1e-8, "s/√n, widened by t")
	ref.Near(t, "u of the gap", p.GapDegU, wide(4)*s/math.Sqrt2, 1e-8, "two of them")
	ref.Near(t, "u of the slope", p.Up.DegPerUSU, wide(4)*s/math.Sqrt(2*600*600+2*200*200), 1e-10, "s/√Sxx")
}

// A link that falls to the lower side of 0.4 deg of play: a line alone would have a slope 0.5 % too
// small, and hide the play from every run corrected by it.
func TestPlayIsNoScale(t *testing.T) {
	var pts []rig.PulsePoint
	for i, us := range []float64{800, 1000, 1200, 1450, 1600, 1800, 2000, 2200} {
		at := 0.09 * (us - 1500)
		for k, dir := range []int{1, -1} {
			e := 0.004 * math.Sin(float64(5*i+3*k))
			pts = append(pts, rig.PulsePoint{PulseUS: us, Direction: dir, AngleDeg: at - 0.2*math.Copysign(1, at) + e})
		}
	}
	p, notes, err := calibrate.Pulse(pts, 0, 0)
	if err != nil {
		t.Fatal(err)
	}
	if d := math.Abs(p.Up.DegPerUS - 0.09); d > 2*p.Up.DegPerUSU || d > 5e-5 {
		t.Errorf("slope %.5f ± %.5f, want 0.09", p.Up.DegPerUS, 2*p.Up.DegPerUSU)
	}
	if math.Abs(p.SideDeg+0.2) > 2*p.SideDegU || len(notes) == 0 {
		t.Errorf("step %.3f ± %.3f, want -0.2; %v", p.SideDeg, 2*p.SideDegU, notes)
	}
	line, _, err := calibrate.Pulse(pts, 0, math.NaN())
	if err != nil || line.SideDeg != 0 || line.Up.DegPerUS > 0.0897 {
		t.Errorf("without the angle of hanging down: %+v, %v", line.Up, err)
	}
}

func TestPulsesThatDoNotShowIt(t *testing.T) {
	stop := func(us float64, dir int, deg float64) rig.PulsePoint {
		return rig.PulsePoint{PulseUS: us, Direction: dir, AngleDeg: deg}
	}
	for _, test := range []struct {
		name string
		pts  []rig.PulsePoint
		says string
	}{
		{"none", nil, "there are none"},
		{"one way", []rig.PulsePoint{stop(1000, 1, -45), stop(1500, 1, 0), stop(2000, 1, 45)}, "0 stops were reached by falling"},
		{"one pulse", []rig.PulsePoint{stop(1500, 1, 0), stop(1500, 1, 0), stop(1500, 1, 0), stop(1500, -1, 0), stop(1500, -1, 0), stop(1500, -1, 0)}, "all have one pulse"},
		{"held", []rig.PulsePoint{stop(1000, 1, 3), stop(1500, 1, 3), stop(2000, 1, 3), stop(1000, -1, 3), stop(1500, -1, 3), stop(2000, -1, 3)}, "does the joint move at all"},
		{"reversed", []rig.PulsePoint{stop(1000, 1, 45), stop(1500, 1, 0), stop(2000, 1, -45), stop(1000, -1, 45), stop(1500, -1, 0), stop(2000, -1, -45)}, "sense of the sensor or of the servo"},
	} {
		if _, _, err := calibrate.Pulse(test.pts, 0, 0); !errors.Is(err, calibrate.ErrPoints) || !strings.Contains(err.Error(), test.says) {
			t.Errorf("%s: %v, want %q", test.name, err, test.says)
		}
	}
}

// weights are currents of a motor under two weights and none, on both sides, reached from above and
// below: friction takes and gives 5 mA, and cancels in the mean.
func weights(law drive.Law) []rig.TorquePoint {
	m := drive.Motor{StallNm: 1.2, NoLoadDegPerS: 350, IdleA: 0.12, StallA: 2.0}
	var out []rig.TorquePoint
	for _, kg := range []float64{0, 0.15, 0.4, 0.6} {
		for _, deg := range []float64{-90, 90} {
			tq := calibrate.WeightTorque(kg, 0.1, deg, 1)
			for _, e := range []float64{0.005, -0.005} {
				out = append(out, rig.TorquePoint{TorqueNm: tq, MassKg: kg, LeverM: 0.1, AngleDeg: deg, CurrentA: m.SupplyCurrent(law, tq, 0) + e + 0.002*math.Sin(7*tq)})
			}
		}
	}
	return out
}

func TestTorqueLaws(t *testing.T) {
	ref.Near(t, "weight", calibrate.WeightTorque(0.25, 0.11, 90, 1), 0.269683, 1e-6, "0.25 kg at 0.11 m level (derived)")
	for _, test := range []struct {
		law   drive.Law
		scale float64
	}{{drive.LawMotor, (2 - 0.12) / 1.2}, {drive.LawDuty, (2 - 0.12) / 1.44}} {
		c, _, err := calibrate.Torque(weights(test.law), 0)
		if err != nil {
			t.Fatal(err)
		}
		if c.Law != rig.CurrentLaw(test.law) {
			t.Errorf("law %q (%s), want %q", c.Law, c.Undecided, test.law)
			continue
		}
		if d := math.Abs(c.Scale - test.scale); d > 2*c.ScaleU || d > 0.02*test.scale {
			t.Errorf("%s: scale %.4f ± %.4f, want %.4f", test.law, c.Scale, 2*c.ScaleU, test.scale)
		}
		if d := math.Abs(c.IdleA - 0.12); d > 2*c.IdleAU {
			t.Errorf("%s: idle %.4f ± %.4f, want 0.12", test.law, c.IdleA, 2*c.IdleAU)
		}
	}
}

// Errors common to all points add to the scale's uncertainty: those of weights (twice over with the
// square law) and of the current's own scale.
func TestTorqueDoubtInCommon(t *testing.T) {
	for law, power := range map[drive.Law]float64{drive.LawMotor: 1, drive.LawDuty: 2} {
		a, _, errA := calibrate.Torque(weights(law), 0)
		b, _, errB := calibrate.Torque(weights(law), 0.02)
		if errA != nil || errB != nil {
			t.Fatal(errA, errB)
		}
		ref.Near(t, "u", b.ScaleU, math.Hypot(a.ScaleU, 0.02*a.Scale), 1e-8, "quadrature")
		if least := power * calibrate.WeightU * a.Scale; a.ScaleU < least {
			t.Errorf("%s: u %.4f is below what the weights leave, %.4f", law, a.ScaleU, least)
		}
	}
}

func TestWeightsThatDoNotShowIt(t *testing.T) {
	if _, _, err := calibrate.Torque([]rig.TorquePoint{{TorqueNm: 0.2, CurrentA: 0.4}, {TorqueNm: 0.2, CurrentA: 0.41}}, 0); !errors.Is(err, calibrate.ErrPoints) {
		t.Errorf("one torque: %v", err)
	}
	two := []rig.TorquePoint{{TorqueNm: 0.1, CurrentA: 0.2}, {TorqueNm: -0.1, CurrentA: 0.2}, {TorqueNm: 0.3, CurrentA: 0.6}, {TorqueNm: -0.3, CurrentA: 0.6}}
	c, notes, err := calibrate.Torque(two, 0)
	if err != nil || c.Law != rig.CurrentUnknown || c.Scale != 0 || !strings.Contains(c.Undecided, "levels") || len(notes) == 0 {
		t.Errorf("two levels fit both laws, but: %+v %v %v", c, notes, err)
	}
	one := []rig.TorquePoint{{TorqueNm: 0.1, CurrentA: 0.2}, {TorqueNm: 0.2, CurrentA: 0.31}, {TorqueNm: 0.3, CurrentA: 0.40}, {TorqueNm: 0.4, CurrentA: 0.51}}
	if _, notes, err = calibrate.Torque(one, 0); err != nil || !strings.Contains(strings.Join(notes, " "), "both sides") {
		t.Errorf("one side: %v %v", notes, err)
	}
}

// Points of a run: three targets, reached from below and from above in two cycles; the angle lags by
// 0.2 deg and the sensor's zero is 1 deg off; the current is 0.3 A up and 0.2 A down.
func TestPointsOfARun(t *testing.T) {
	s := &rig.Series{Joint: "knee"}
	at, clock := -40.0, 0.0
	sample := func(lag, amps float64) {
		s.Time, s.Command = append(s.Time, clock), append(s.Command, at)
		s.Angle, s.Current = append(s.Angle, at-lag-1), append(s.Current, amps)
		s.Move = append(s.Move, rig.MoveStair)
		clock += 0.004
	}
	visit := func(target float64) {
		dir := math.Copysign(1, target-at)
		for math.Abs(target-at) > 1e-9 {
			at += dir * math.Min(0.25, math.Abs(target-at))
			sample(0.2*dir, 0.5)
		}
		for range int(600 * time.Millisecond / (4 * time.Millisecond)) {
			sample(0.2*dir, 0.25+0.05*dir)
		}
	}
	for range 2 {
		for _, x := range []float64{-20, 0, 20, 40, 20, 0, -20, -40} {
			visit(x)
		}
	}
	j := rig.DefaultJoint(0)
	base := &rig.Correction{Model: rig.ModelZero, Zero: 1}
	pts, err := calibrate.PulseFrom(s, j, base)
	if err != nil || len(pts) < 6 {
		t.Fatalf("%d points, %v", len(pts), err)
	}
	for _, p := range pts {
		want := (p.PulseUS-1500)*0.09 - 0.2*float64(p.Direction)
		ref.Near(t, "angle", p.AngleDeg, want, 1e-6, "put in")
		ref.Near(t, "reading", p.ReadingDeg, want-1, 1e-6, "put in")
	}
	j.Load = &rig.Load{MassKg: 0.3, LeverM: 0.1, DownDeg: 5}
	tq, err := calibrate.TorqueFrom(s, j, &rig.Calibration{JointAngle: base, Current: &rig.Correction{Model: rig.ModelZero, Zero: -0.01}})
	if err != nil || len(tq) != len(pts) {
		t.Fatalf("%d points, %v", len(tq), err)
	}
	for _, p := range tq {
		ref.Near(t, "torque", p.TorqueNm, 0.3*9.80665*0.1*math.Sin(p.AngleDeg*math.Pi/180), 1e-6, "m·g·l·sin")
		if math.Abs(math.Abs(p.CurrentA-0.24)-0.05) > 1e-6 {
			t.Errorf("current %.4f, want 0.19 or 0.29", p.CurrentA)
		}
	}
	if _, err := calibrate.PulseFrom(&rig.Series{}, j, nil); !errors.Is(err, calibrate.ErrPoints) {
		t.Errorf("an empty run: %v", err)
	}
}
