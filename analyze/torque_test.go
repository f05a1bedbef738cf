package analyze_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"limbgauge/analyze/health"
	"limbgauge/rig"
)

// bench is a joint in closed form: a point mass on a lever, friction, and a servo whose supply
// current follows one of the two laws exactly. It stands and travels without dynamics, so that every
// figure of torque is known.
type bench struct {
	law                rig.CurrentLaw
	load, up, down     float64 // N·m: load level with the axis, friction to greater and to smaller angles
	viscous            float64 // N·m·s/rad
	tight, at, width   float64 // N·m, deg, deg: a Gaussian tight spot
	cable              float64 // N·m, constant torque to greater angles
	noiseA             float64
	speeds             []float64
	cycles             int
	brakeDead          bool // a driver that circulates the braking current: nothing of it in the supply
	stallNm, noLoad    float64
	stallA, idle, volt float64
}

func standard(law rig.CurrentLaw) bench {
	return bench{law: law, load: 0.27, up: 0.05, down: 0.05, width: 5, speeds: []float64{15}, cycles: 4,
		stallNm: 1.4, noLoad: 420, stallA: 2.4, idle: 0.12, volt: 6, noiseA: 0.01}
}

// amps is the supply current behind a motor torque with the sign of motion (negative: the load
// drives) at a speed: I_0 + (I_s - I_0)·|τ| or |τ(τ + n)| in shares of stall and no-load speed.
func (b bench) amps(torque, degPerS float64) float64 {
	t, n := torque/b.stallNm, degPerS/b.noLoad
	if b.brakeDead && t < 0 {
		return b.idle
	}
	x := math.Abs(t)
	if b.law == rig.CurrentDuty {
		x = math.Abs(t * (t + n))
	}
	return b.idle + (b.stallA-b.idle)*x
}

func (b bench) run(seed uint64) (*rig.Series, rig.Joint) {
	rng := rand.New(rand.NewPCG(seed, 5))
	j := rig.Joint{Name: "knee", RangeDeg: [2]float64{-75, 75}, Load: &rig.Load{MassKg: b.load / 9.80665 / 0.11, LeverM: 0.11},
		Servo: rig.Servo{Rated: []rig.Rating{{Volts: 6, StallNm: b.stallNm, NoLoadDegPerS: b.noLoad, StallA: b.stallA}},
			IdleA: b.idle, TravelDeg: 180, PulseUS: [2]int{500, 2500}, DeadbandUS: 3},
		Sensors: rig.Sensors{JointCounts: 4096}, Limits: rig.Limits{"torque_use": 0.5, "friction": 0.06}}
	s := &rig.Series{Joint: "knee"}
	now, at := 0.0, -62.0
	const q = 360.0 / 4096
	add := func(deg, rate float64, dir float64) {
		pull := -b.load*math.Sin(deg*math.Pi/180) + b.cable // on the joint, to greater angles
		u := (deg - b.at) / b.width
		f := b.up
		if dir < 0 {
			f = b.down
		}
		f += b.viscous*rate*math.Pi/180 + b.tight*math.Exp(-u*u/2)
		drive := f - dir*pull
		if rate == 0 { // at rest the servo carries the load, friction half of what it can
			drive = math.Abs(pull) + 0.5*f*dir*-math.Copysign(1, pull)
		}
		s.Time, s.Command = append(s.Time, now), append(s.Command, deg)
		s.Angle = append(s.Angle, q*math.Round((deg+1.0*pull+0.02*rng.NormFloat64())/q))
		s.Current = append(s.Current, b.amps(drive, rate)+b.noiseA*rng.NormFloat64())
		s.Supply = append(s.Supply, b.volt+0.004*rng.NormFloat64())
		now += 0.004
	}
	goTo := func(target, rate, dwell float64) {
		dir := math.Copysign(1, target-at)
		for math.Abs(target-at) > rate*0.004 {
			at += dir * rate * 0.004
			add(at, rate, dir)
		}
		at = target
		for range int(dwell / 0.004) {
			add(at, 0, dir)
		}
	}
	for range 3 {
		for _, dir := range []float64{1, -1} {
			for k := range 9 {
				goTo(dir*(-52+13*float64(k)), 60, 0.6)
			}
			goTo(dir*62, 60, 0.4)
		}
	}
	goTo(-62, 15, 0.5)
	for range b.cycles {
		for _, v := range b.speeds {
			goTo(62, v, 0.5)
			goTo(-62, v, 0.5)
		}
	}
	return s, j
}

func (b bench) health(t *testing.T, seed uint64) health.Joint {
	t.Helper()
	s, j := b.run(seed)
	return run(t, s, j)
}

// Friction and tight spot come out as put in, whichever law the current follows and whatever a driver
// does with the current of braking; the torque lines and both laws are closed forms.
func TestFrictionUnderEitherLaw(t *testing.T) {
	for _, law := range []rig.CurrentLaw{rig.CurrentMotor, rig.CurrentDuty} {
		for _, tight := range []float64{0, 0.12} {
			for seed := range uint64(3) {
				b := standard(law)
				b.tight, b.at = tight, -20
				h := b.health(t, seed)
				inside(t, h, "friction", health.Total, 0.05)
				m, _ := h.Find("friction", health.Total)
				if m.Status != health.Measured || m.Uncertainty > 0.02 {
					t.Errorf("%s law, tight spot %g: friction %s ± %.3f", law, tight, m.Status, m.Uncertainty)
				}
				spot, _ := h.Find("tight_spot", health.Total)
				if (spot.Status == health.Measured) != (tight > 0) {
					t.Errorf("%s law: tight spot of %g N·m: %s %.3f, %s", law, tight, spot.Status, spot.Value, spot.Reason)
				}
				inside(t, h, "tight_spot", health.Total, tight)
				if tight > 0 {
					inside(t, h, "tight_spot_angle", health.Total, -20)
				}
			}
		}
		b := standard(law)
		b.brakeDead = true
		inside(t, b.health(t, 9), "friction", health.Total, 0.05)
	}
}

// Large friction under a small load hardly bends the square law: the rated scale then has its say.
func TestFrictionLargeBesideTheLoad(t *testing.T) {
	for _, law := range []rig.CurrentLaw{rig.CurrentMotor, rig.CurrentDuty} {
		b := standard(law)
		b.load, b.up, b.down = 0.17, 0.2, 0.2
		h := b.health(t, 1)
		inside(t, h, "friction", health.Total, 0.2)
		if m, _ := h.Find("friction", health.Transmission); m.Verdict != health.Fail {
			t.Errorf("%s law: friction of the joint %s %.3f ± %.3f, %s: 0.2 N·m in all is more than 0.06 in the joint and 5 %% of stall in the servo",
				law, m.Status, m.Value, m.Uncertainty, m.Verdict)
		}
	}
}
