package budget

import (
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"

	"limbgauge/analyze/health"
	"limbgauge/analyze/internal/ref"
	"limbgauge/rig"
)

func example(t *testing.T) (*rig.Bench, Setup) {
	t.Helper()
	b, err := rig.ParseBench("example", []byte(rig.ExampleBench()))
	if err != nil {
		t.Fatal(err)
	}
	s, err := Of(b, nil)
	if err != nil {
		t.Fatal(err)
	}
	return b, s
}

func answer(t *testing.T, s Setup, seen map[string]Seen) Answer {
	t.Helper()
	a, err := Budget(s, seen)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// One servo on one lever again, now with its doubt: the mass goes with T/l, so 5 % of the rating and
// 1 % of the lever make 2·√(5² + 1²) %.
func TestDoubtOfOneLever(t *testing.T) {
	s := bare(Leg{L: [3]float64{0, 0.10, 0.10}}, Three{0, 0, -math.Pi / 2}, 12.5*kgCm, 2)
	a := answer(t, s, nil)
	ref.Near(t, "greatest body", float64(a.GreatestBodyKg), 2.5, 1e-9, "trade example")
	ref.Near(t, "its uncertainty", float64(a.BodyU), 2.5*2*math.Hypot(0.05, 0.01), 2e-3, "law of propagation, JCGM 100:2008, 5.1")
	if a.Verdict != "" {
		t.Errorf("verdict %q without a body", a.Verdict)
	}
	s.BodyKg = 1.5
	if a := answer(t, s, nil); a.Verdict != Unproven || !strings.Contains(a.Sentence, "mass of the legs is not stated") {
		t.Errorf("legs without mass: %s: %s", a.Verdict, a.Sentence)
	}
	s.Leg.Links[0].Kg = 1e-9
	for body, want := range map[float64]Verdict{1.5: Holds, 2.4: Unproven, 4: Fails} {
		s.BodyKg = body
		if a := answer(t, s, nil); a.Verdict != want {
			t.Errorf("a body of %g kg: %s, want %s: %s", body, a.Verdict, want, a.Sentence)
		}
	}
	s.BodyKg, s.Mu, s.Slope = 1.5, 0.1, 10*rad
	if a := answer(t, s, nil); a.Verdict != Slips {
		t.Errorf("on 10 deg with a friction of 0.1: %s", a.Sentence)
	}
}

// A belt of ratio 2 and efficiency 0.9 lets the joint give 1.8 times the motor's torque; friction
// comes off it.
func TestBeltAndFriction(t *testing.T) {
	s := bare(Leg{L: [3]float64{0, 0.10, 0.10}}, Three{0, 0, -math.Pi / 2}, 12.5*kgCm, 1)
	s.Joints[1].Ratio, s.Joints[1].Efficiency = 2, 0.9
	ref.Near(t, "with a belt", float64(answer(t, s, nil).GreatestBodyKg), 1.25*1.8, 1e-9, "T·ratio·η/(l·g)")
	s.Joints[1].FrictionNm = 0.1
	ref.Near(t, "with friction", float64(answer(t, s, nil).GreatestBodyKg), 1.25*1.8-0.1/(0.1*gravity), 1e-9, "(T·ratio·η - T_f)/(l·g)")
}

// A pull of 47.12 N on 20 teeth of 2 mm under 0.3 N·m: r = 40/(2π) mm.
func TestBeltTension(t *testing.T) {
	l := Leg{L: [3]float64{0, 0.10, 0.10}}
	s := bare(l, Three{0, 0, -math.Pi / 2}, 10, 1)
	s.Joints[1].PulleyM = rig.Belt{Teeth: 20, PitchMM: 2, Ratio: 1}.JointRadiusM()
	s.ScaleKg = 0.3 / (0.1 * gravity)
	r := answer(t, s, nil).Joints[1]
	ref.Near(t, "pull", float64(r.Pull), 0.3*2*math.Pi/0.040, 1e-9, "T/r")
	ref.Near(t, "least tension", float64(r.Tension), 0.6*0.3*2*math.Pi/0.040, 1e-9, "0.6 of the pull, belt makers' notes")
}

// Three feet are statics: moments about each line through two feet give the third.
func TestShares(t *testing.T) {
	feet := []Point{{0, 0}, {1, 0}, {0, 1}}
	s, out := Shares(feet, Point{0.2, 0.3})
	for i, want := range []float64{0.5, 0.2, 0.3} {
		ref.Near(t, "share", s[i], want, 1e-12, "moments about the lines between feet")
	}
	if out != 0 {
		t.Errorf("tips by %g", out)
	}
	s, out = Shares(feet, Point{0.5, -0.25})
	ref.Near(t, "tips by", out, 0.25, 1e-12, "distance to the nearest edge")
	ref.Near(t, "on the edge", s[0], 0.5, 1e-12, "lever law")
	s, _ = Shares([]Point{{-1, 0}, {3, 0}}, Point{0, 0})
	ref.Near(t, "lever", s[0], 0.75, 1e-12, "lever law")
	s, _ = Shares([]Point{{1, 1}, {1, -1}, {-1, -1}, {-1, 1}}, Point{0.5, 0})
	ref.Near(t, "four springs", s[0], 0.375, 1e-12, "1/4 + x/(4·1²)·½, by symmetry")
}

func TestSupportOfTheExample(t *testing.T) {
	_, s := example(t)
	for _, row := range []struct {
		legs int
		sets int
	}{{3, 2}, {5, 6}, {6, 1}} {
		s.Stance = row.legs
		if got := len(s.Settled().sets()); got != row.sets {
			t.Errorf("%d legs: %d sets, want %d", row.legs, got, row.sets)
		}
	}
	// The tripod takes the middle leg of one side and the outer ones of the other.
	s.Stance = 3
	a, b, _ := s.alternating()
	if len(a) != 3 || a[0] != 0 || a[1] != 2 || a[2] != 4 || len(b) != 3 {
		t.Errorf("tripods %v, %v; hips %v", a, b, s.Hips)
	}
	s.Com = Point{0.3, 0}
	if got := answer(t, s, nil); got.Verdict != Tips || !strings.HasPrefix(got.Sentence, "Tips over") {
		t.Errorf("a centre of mass 300 mm ahead: %s", got.Sentence)
	}
	s.Com = Point{}
	flat := answer(t, s, nil)
	s.Slope = 8 * rad
	if steep := answer(t, s, nil); !(steep.GreatestBodyKg < flat.GreatestBodyKg) || !(steep.Share > flat.Share) {
		t.Errorf("on a slope %v kg and share %v, on the level %v and %v", steep.GreatestBodyKg, steep.Share, flat.GreatestBodyKg, flat.Share)
	}
}

// The work of the motors is what kinetic and potential energy gain, with the kinetic energy of slender
// rods: ½m·v² + ½I·(pitch² + (yaw·cos pitch)²).
func TestSwingKeepsEnergy(t *testing.T) {
	_, s := example(t)
	s = s.Settled()
	s.StepS = 0.6 / (1 - s.Duty) // a swing of 0.6 s
	for _, body := range []bool{false, true} {
		s.Leg.KneeOnBody = body
		energy := func(u float64) float64 {
			const h = 1e-5
			lo, _ := s.swingPose(u - h)
			q, _ := s.swingPose(u)
			hi, _ := s.swingPose(u + h)
			var v Three
			for i := range v {
				v[i] = (hi[i] - lo[i]) / (2 * h * 0.6)
			}
			e := gravity * s.Leg.Height(q)
			for i, l := range s.Leg.Links {
				a, b := s.Leg.place(lo, i, l.CentreM), s.Leg.place(hi, i, l.CentreM)
				for x := range 3 {
					w := (b[x] - a[x]) / (2 * h * 0.6)
					e += l.Kg * w * w / 2
				}
				pitch, rate := [3]float64{0, q[1], q[1] + q[2]}[i], [3]float64{0, v[1], v[1] + v[2]}[i]
				yaw := v[0] * math.Cos(pitch)
				e += l.Kg * s.Leg.L[i] * s.Leg.L[i] / 12 * (rate*rate + yaw*yaw) / 2
			}
			return e
		}
		for _, u := range []float64{0.1, 0.3, 0.45, 0.7, 0.9} {
			const h = 1e-3
			torque, _, rate, ok := s.swingTorque(u, 0.6)
			power := 0.0
			for i := range torque {
				power += torque[i] * rate[i]
			}
			gain := (energy(u+h) - energy(u-h)) / (2 * h * 0.6)
			if !ok || math.Abs(power-gain) > 2e-4 {
				t.Errorf("at %g of the swing, knee on body %v: power %.6f W, energy gains %.6f W", u, body, power, gain)
			}
		}
	}
	quick := s.Swing()
	a := answer(t, s, nil)
	if r := a.Joints[1]; math.Abs(float64(r.SwingSpeed)-quick.Rate[1]/(420*rad)) > 1e-9 {
		t.Errorf("the hip's speed is %v of 420 deg/s, it turns %g rad/s", r.SwingSpeed, quick.Rate[1])
	}
	s.StepS /= 4
	if a := answer(t, s, nil); !strings.Contains(strings.Join(a.Warnings, " "), "no quicker") {
		t.Errorf("a swing of 0.15 s: %q", a.Warnings)
	}
	s.StepS *= 4000
	slow := s.Swing()
	for i := range slow.Torque {
		ref.Near(t, "torque of a slow swing", slow.Torque[i], slow.Static[i], 1e-6, "statics")
	}
	for _, sv := range s.Savings() {
		if !(sv.HipNm > 0) {
			t.Errorf("mass moved off the %s saves %g N·m", sv.Link, sv.HipNm)
		}
	}
	s.Duty = 1
	if s.Swing().OK {
		t.Error("a leg that always stands swings")
	}
}

func TestComparedWithTheBench(t *testing.T) {
	b, _ := example(t)
	of := func(name string, path health.Path, v, u float64) health.Measure {
		return health.Of(name, path, v, u, "")
	}
	seen := map[string]Seen{"knee": {Run: "0007", Volts: 5, Measures: []health.Measure{
		of("load_torque_peak", health.NoPath, 0.2, 0.006), of("torque_use", health.NoPath, 0.5, 0.02), of("friction", health.Total, 0.05, 0.01),
		health.Bound("belt_tension", health.Transmission, health.BoundHigh, 12, 1, "", ""),
	}}}
	s, err := Of(b, seen)
	if err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "stall torque at 5 V", s.Joints[2].StallNm, 1.2, 1e-12, "rated line at 5 V")
	if s.Joints[2].FrictionNm != 0.05 || s.U.FrictionNm[2] != 0.005 || s.Joints[1].FrictionNm != 0 {
		t.Errorf("friction %+v, %+v", s.Joints, s.U)
	}
	_, plain := example(t)
	a := answer(t, s, seen)
	if before := answer(t, plain, nil); !(a.Joints[2].Body < before.Joints[2].Body) || len(before.Compared) != 0 {
		t.Errorf("a lower voltage and friction leave %v kg, before %v", a.Joints[2].Body, before.Joints[2].Body)
	}
	want := map[string]string{"greatest torque": "unproven", "torque use on the bench": "fail", "belt tension": "fail", "friction": ""}
	for _, c := range a.Compared {
		if v, ok := want[c.What]; !ok || c.Joint != "knee" || c.Verdict != v || c.Words == "" {
			t.Errorf("%+v, want verdict %q", c, v)
		}
		delete(want, c.What)
	}
	if len(want) > 0 {
		t.Errorf("not compared: %v", want)
	}
}

func TestWhatIsMissingIsSaid(t *testing.T) {
	b, s := example(t)
	for _, row := range []struct {
		change func(*rig.Bench)
		says   string
	}{
		{func(b *rig.Bench) { b.Leg.Geometry = nil }, "[leg.geometry]"},
		{func(b *rig.Bench) { b.Robot = nil }, "[robot]"},
	} {
		c := *b
		row.change(&c)
		_, err := Of(&c, nil)
		var missing *MissingError
		if !errors.As(err, &missing) || !strings.Contains(missing.Lines, row.says) {
			t.Errorf("%v, want the lines of %s", err, row.says)
		}
	}
	// The lines themselves must be a bench that answers.
	text := geometryLines + linkLines + robotLines
	for _, n := range Places() {
		text += "[[joint]]\nname = \"" + n + "\"\nrange_deg = [-60, 60]\n"
	}
	c, err := rig.ParseBench("lines", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	u, err := Of(c, nil)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Budget(u, nil); !errors.Is(err, errNoStall) {
		t.Errorf("without any rated line: %v", err)
	}
	u.Joints[1].StallNm = 3
	a := answer(t, u, nil)
	if a.Verdict != Unproven || !strings.Contains(a.Sentence, "of the knee no rated torque is stated") {
		t.Errorf("a knee without rating: %s: %s", a.Verdict, a.Sentence)
	}
	if data, err := json.Marshal(a); err != nil || !strings.Contains(string(data), `"share":null`) {
		t.Errorf("%s, %v", data, err)
	}
	if len(a.Warnings) == 0 || !strings.Contains(a.Warnings[0], "No rated line") {
		t.Errorf("warnings %q", a.Warnings)
	}
	for _, change := range []func(*Setup){
		func(s *Setup) { s.Stance = 7 }, func(s *Setup) { s.Duty = 1.5 }, func(s *Setup) { s.Slope = 2 }, func(s *Setup) { s.Fraction = 3 }, func(s *Setup) { s.ScaleKg = 0.5 },
	} {
		x := s
		change(&x)
		if _, err := Budget(x, nil); err == nil {
			t.Errorf("%+v was accepted", x)
		}
	}
}

// A leg that can not hold itself says so; nothing is negative by surprise.
func TestTooWeak(t *testing.T) {
	_, s := example(t)
	for k := range s.Joints {
		s.Joints[k].StallNm = 0.02
	}
	a := answer(t, s, nil)
	if a.Verdict != Fails || !strings.Contains(a.Sentence, "even its own legs") {
		t.Errorf("%s: %s", a.Verdict, a.Sentence)
	}
	if !strings.Contains(Map(s, a), "!") {
		t.Error("the map marks nothing as too much")
	}
}

// The gait begins and ends at one angle, lifts the foot in the swing and carries the body straight ahead
// in the stance: half way through it the foot is where it is with the leg to the side.
func TestGait(t *testing.T) {
	_, s := example(t)
	reach, height := mid(s.Space.ReachM), mid(s.Space.HeightM)
	side, _ := s.Leg.Pose(reach, height)
	for k := range 3 {
		knots, ok := s.Gait(k)
		if !ok || knots[0].At != 0 || knots[len(knots)-1].At != 1 || knots[0].Deg != knots[len(knots)-1].Deg {
			t.Fatalf("joint %d: %v", k, knots)
		}
		// The swing's middle falls between two of its knots; the yaw passes through the side there.
		if k == 0 && !(knots[2].Deg < 0 && knots[3].Deg > 0) {
			t.Errorf("the yaw does not swing forward: %v", knots)
		}
		if k == 0 {
			ref.Near(t, "yaw at the end of the stance", knots[0].Deg, -math.Atan2(s.StepM/2, reach)/rad, 1e-9, "atan of half a step over the reach")
		}
	}
	hip, _ := s.Gait(1)
	lifted, _ := s.Leg.Pose(reach, height-s.LiftM)
	most := math.Inf(-1)
	for _, x := range hip {
		most = math.Max(most, x.Deg)
	}
	if rest, top := (side[1]-s.Zero[1])/rad, (lifted[1]-s.Zero[1])/rad; most < rest || most > top+1 || most < top-8 {
		t.Errorf("the hip lifts to %.1f deg, stands at %.1f and would lift to %.1f half way", most, rest, top)
	}
	s.Duty = 1
	if _, ok := s.Gait(0); ok {
		t.Error("a leg that never swings has a gait")
	}
}
