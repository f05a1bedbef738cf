package virtual

import (
	"math"
	"testing"

	"limbgauge/rig"
)

func near(t *testing.T, what string, got, want, tol float64, from string) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.6g, want %.6g ± %.2g (%s)", what, got, want, tol, from)
	}
}

// bare is a joint with nothing that blurs a closed form: no friction, play, damping, creep, heat.
func bare() Truth {
	t := Healthy(knee(), 0)
	t.Servo.GearFrictionNm, t.Servo.PlayDeg, t.Servo.HeatKPerW, t.Servo.IdleA = 0, 0, 0, 0
	t.Bearing, t.Supply.Ohm = Bearing{}, 0
	t.Part.PlayDeg, t.Part.CreepDegPerNm, t.Part.Damping = 0, 0, 0
	t.Belt.KneeShare, t.Belt.Damping, t.Belt.LossPerDecadeN, t.Belt.SkipBaseN, t.Belt.SkipPerN = 0, 0, 0, 0, 0
	t.Load.RangeDeg = [2]float64{}
	return t
}

// direct is bare without the belt, on a part of a stiffness in N·m/rad.
func direct(stiffness float64) Truth {
	t := bare()
	t.Belt = nil
	t.Part.DegPerNm = 1 / stiffness / rad
	return t
}

// Two spans of 50 kN/m at 20 N on a pulley of 20 teeth of 2 mm: the span goes slack at 0.254648 N·m,
// and stiffness halves there.
func TestBeltStatics(t *testing.T) {
	truth := bare()
	truth.Belt.SpanNPerM, truth.Belt.TensionN, truth.Part.DegPerNm = 50_000, 20, 0
	from := "statics of two spans: M_s = 2·T0·r, C = 1/(2·k·r²), twice that above"
	near(t, "slack torque", truth.SlackNm(), 0.254648, 1e-6, from)
	near(t, "compliance", truth.DegPerNm(), 14.1372, 1e-4, from)
	x := newTransmission(&truth)
	x.setTension(20)
	for _, test := range []struct{ deg, want float64 }{{2.82743, 0.20}, {6.2960, 0.35}, {-6.2960, -0.35}, {0, 0}} {
		near(t, "torque", x.torque(test.deg*rad, 0), test.want, 2e-5, from)
	}

	// A 15-tooth pulley of 3 mm driving 30 teeth, spans of 12 kN over 0.1 m: 49.242 N·m/rad.
	geared := bare()
	geared.Belt.Teeth, geared.Belt.PitchMM, geared.Belt.Ratio, geared.Belt.SpanNPerM = 15, 3, 2, 120_000
	near(t, "stiffness at 30 teeth", 1/(geared.Belt.degPerNm()*rad), 49.242, 1e-3, "2·k·r² at the joint's pulley")

	// No tension and a dead zone of 0.8 deg: nothing inside, one span outside.
	x.slackGap = 0.4 * rad
	x.setTension(0)
	near(t, "torque in the dead zone", x.torque(0.39*rad, 0), 0, 0, "a slack belt carries nothing")
	near(t, "torque 1 deg beyond", x.torque(1.4*rad, 0), 1/28.2743, 1e-5, "one span: k·r²")
}

// A joint at rest is where its weight and its springs say, below and above the knee, behind a ratio too.
func TestJointAtRest(t *testing.T) {
	for _, ratio := range []float64{1, 2} {
		for _, massKg := range []float64{0.1, 0.25, 0.6} {
			truth := bare()
			truth.Belt.Ratio, truth.Belt.TensionN, truth.Load.MassKg = ratio, 20/ratio, massKg
			truth.Part.Damping, truth.Belt.Damping = 0.3, 0.3
			w := NewWorld([]Truth{truth})
			w.Pulse(0, 1500+40/0.09*ratio)
			w.Advance(4e6)
			s := w.State(0)
			load := massKg * rig.Gravity * 0.11 * math.Sin(s.AngleDeg*rad)
			near(t, "torque carried", s.TorqueNm, load, 1e-4, "balance with m·g·l·sin")
			c, belt := truth.DegPerNm(), truth.Belt.degPerNm()
			want := c*load + belt*math.Max(0, load-truth.SlackNm())
			near(t, "deflection", s.MotorDeg/ratio-s.AngleDeg, want, 2e-3, "C·M, and the belt's share again beyond the knee")
			// The servo gives way by its dead band's half and by FullDutyDeg for each stall torque.
			volts := truth.Supply.OpenV / truth.Servo.RatedV
			droop := 0.135 + truth.Servo.FullDutyDeg*load/ratio/(truth.Servo.StallNm*volts)
			near(t, "servo's droop", 40*ratio-s.DriveDeg, droop, 2e-3, "dead band and proportional controller")
		}
	}
}

// The lines of a motor, from data sheets of three kinds.
func TestMotorLines(t *testing.T) {
	sheet := func(v, stall, degPerS, stallA, idle float64) motor {
		s := Healthy(knee(), 0).Servo
		s.RatedV, s.StallNm, s.NoLoadDegPerS, s.StallA, s.IdleA, s.DampingS = v, stall, degPerS, stallA, idle, 0
		return newMotor(s)
	}
	const full = 1.0 // rad, far beyond what asks for the whole voltage
	m := sheet(5, 1.2, 350, 2, 0.12)
	friction := Healthy(knee(), 0).Servo.GearFrictionNm
	near(t, "stall torque", m.steer(full, 0, 5)-friction, 1.2, 1e-9, "data sheet")
	near(t, "stall current", m.supplyA, 2, 1e-9, "data sheet")
	near(t, "no-load torque", m.steer(full, 350*rad, 5)-friction, 0, 1e-9, "data sheet")
	near(t, "stall torque at 6 V", m.steer(full, 0, 6)-friction, 1.2*6/5+friction/5, 1e-9, "proportional to the voltage, friction apart")

	g := m
	g.kt, g.ke = 1.2/(2-0.12), 5/(350*rad) // without gear friction
	speed := 350 * rad * (1 - 0.561702/1.2)
	near(t, "torque", g.steer(full, speed, 5), 0.561702, 1e-5, "T = T_s(I-I_0)/(I_s-I_0) at 1.0 A of 0.12..2.0 A")
	near(t, "current", g.supplyA, 1.0, 1e-5, "the same")

	c := motor{kt: 0.12, ke: 0.12, ohm: 1.5, perRad: 100}
	near(t, "torque", c.steer(full, 198.944*2*math.Pi/60, 10), 0.6, 1e-5, "10 V, 1.5 ohm, k 0.12: 0.6 N·m at 198.944 r/min")
	near(t, "current", c.supplyA, 5, 1e-4, "the same")
	near(t, "stall torque", c.steer(full, 0, 10), 0.8, 1e-9, "the same")

	// Duty law: τ² at standstill, τ² + n·τ at the speed share n.
	d := motor{kt: 1, ke: 1, ohm: 1, perRad: 1, duty: true}
	d.steer(0.5, 0, 1)
	near(t, "share of the stall current", d.supplyA, 0.25, 1e-12, "half the torque at standstill")
	d.steer(0.75, 0.25, 1)
	near(t, "share of the stall current", d.supplyA, 0.375, 1e-12, "half the torque at a quarter of the speed")
}

// A motor that presses against the stop draws V/R, the supply sags by its share, and the torque with it:
// 6.0 V and 0.2 ohm at 2.4 A leave 5.52 V, and of 1.4 N·m 1.288.
func TestStallSagsTheSupply(t *testing.T) {
	truth := bare()
	truth.Supply = Supply{OpenV: 6, Ohm: 0.2, CapacitorF: 470e-6}
	truth.Servo.StallA = 6 / 2.3 // so that 2.3 + 0.2 ohm draw 2.4 A
	truth.Load.MassKg, truth.Load.DownDeg, truth.Load.RangeDeg = 0, 90, [2]float64{-20, 20}
	truth.Part.Damping, truth.Belt.Damping = 0.3, 0.3
	w := NewWorld([]Truth{truth})
	w.Pulse(0, 1500+60/0.09)
	w.Advance(3e6)
	s := w.State(0)
	near(t, "supply", s.SupplyV, 5.52, 1e-3, "6 V - 0.2 ohm · 2.4 A")
	near(t, "current", s.SupplyA, 2.4, 1e-3, "6 V over 2.5 ohm")
	near(t, "torque", s.TorqueNm, 1.288, 1e-3, "1.4 N·m · 5.52 V / 6 V")
}

// Rocking a held joint: loads to both sides open the servo's play by its full width.
func TestPlayOpens(t *testing.T) {
	lost := func(downDeg float64) (deg, nm float64) {
		truth := bare()
		truth.Servo.PlayDeg, truth.Load.DownDeg = 2, downDeg
		truth.Part.Damping, truth.Belt.Damping = 0.3, 0.3
		w := NewWorld([]Truth{truth})
		w.Pulse(0, 1500)
		w.Advance(3e6)
		s := w.State(0)
		return s.MotorDeg - s.DriveDeg, s.TorqueNm
	}
	up, a := lost(60)
	down, b := lost(-60)
	mesh := bare().Servo.MeshDegPerNm
	near(t, "lost motion", up-down, 2+mesh*(math.Abs(a)+math.Abs(b)), 1e-3, "play and the give of the gears")
}

// Warm motor: 2.5 W into 20 K/W with 120 s warms by 19.6735 K in a minute and 50 K in the end.
func TestMotorWarms(t *testing.T) {
	truth := bare()
	truth.Servo.HeatKPerW, truth.Servo.HeatS, truth.Servo.AmbientC = 20, 120, 20
	p := newPlant(truth)
	for range int(60 / slowDT) {
		p.motorA = math.Sqrt(2.5 / p.motor.ohm) // constant power, whatever the copper does
		p.slow(0)
	}
	near(t, "rise after 60 s", p.tempC-20, 19.6735, 0.01, "P·R_th·(1 - e^(-t/τ))")
	p.motor.warm(50)
	near(t, "resistance at +50 K", p.motor.ohm/p.motor.ohmCold, 1.19646, 1e-3, "copper, 234.5 °C (IEC 60034-1)")
}

func TestSensorsReadInSteps(t *testing.T) {
	truth := bare()
	truth.Sensors.Joint = Encoder{Counts: 4096, NoiseDeg: 0.2}
	w := NewWorld([]Truth{truth})
	var sum, sq float64
	const n = 20_000
	for range n {
		r := w.Read(0)
		if counts := float64(r.Angle) * 4096 / 360_000; math.Abs(counts-math.Round(counts)) > 0.012 {
			t.Fatalf("%d mdeg is not a step of 4096 a turn, rounded to mdeg", r.Angle)
		}
		sum, sq = sum+float64(r.Angle)/1000, sq+float64(r.Angle)*float64(r.Angle)/1e6
	}
	mean := sum / n
	q := 360.0 / 4096
	near(t, "spread", math.Sqrt(sq/n-mean*mean), math.Sqrt(0.04+q*q/12), 0.004, "noise and a step's √(q²/12)")
	near(t, "mean", mean, 0, 5*0.2/math.Sqrt(n), "five standard errors")

	// A magnet 0.1 mm off centre under a track of 12.5 mm: one wave of 0.45837 deg a turn.
	e := encoder{Encoder: Encoder{Counts: 1 << 22, Wave1Deg: 0.45837}}
	at, ok := e.read(90*rad, 0, newSensing(truth).rnd)
	if near(t, "reading", float64(at)/1000, 90.45837, 2e-3, "e/r in deg"); !ok {
		t.Error("no reading")
	}
}

func TestSameSeedSameSamples(t *testing.T) {
	r := rig.Routine{Name: "short", Moves: standard().Moves[:6]}
	a, b, c := play(t, Healthy(knee(), 3), r), play(t, Healthy(knee(), 3), r), play(t, Healthy(knee(), 4), r)
	same, differ := true, false
	for i := range a.Time {
		same = same && a.Angle[i] == b.Angle[i] && a.Current[i] == b.Current[i] && a.Time[i] == b.Time[i]
		differ = differ || a.Angle[i] != c.Angle[i]
	}
	if !same || !differ {
		t.Errorf("same seed gives the same: %t; another seed gives another: %t", same, differ)
	}
}
