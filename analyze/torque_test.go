package analyze_test

import (
	"math"
	"math/rand/v2"
	"strings"
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

// Where friction differs between the directions the run says by how much; a load that is raised one
// way only hides it.
func TestFrictionAsymmetry(t *testing.T) {
	for _, law := range []rig.CurrentLaw{rig.CurrentMotor, rig.CurrentDuty} {
		for seed := range uint64(3) {
			b := standard(law)
			b.up, b.down = 0.08, 0.04
			h := b.health(t, seed)
			inside(t, h, "friction_asymmetry", health.Total, 0.04)
			m, _ := h.Find("friction_asymmetry", health.Total)
			if m.Status != health.Measured || m.Value-m.Uncertainty <= 0 || m.Uncertainty > 0.02 {
				t.Errorf("%s law: asymmetry %s %.4f ± %.4f, want 0.04 proven", law, m.Status, m.Value, m.Uncertainty)
			}
			// What pulls one way all the time, 0.01 N·m of a cable, is half of such a difference.
			b = standard(law)
			b.cable = -0.02
			inside(t, b.health(t, seed), "friction_asymmetry", health.Total, 0.04)
			inside(t, standard(law).health(t, seed), "friction_asymmetry", health.Total, 0)
		}
		s, j := standard(law).run(1)
		one := pick(s, func(i int) bool { return s.Angle[i] > 5 })
		h := run(t, one, j)
		if m, _ := h.Find("friction_asymmetry", health.Total); m.Status != health.NotObservable {
			t.Errorf("%s law, raised one way only: asymmetry %s %.4f", law, m.Status, m.Value)
		}
	}
}

// A load that is not the one bench.toml states is said, and makes the figures that rest on it as
// unsure as the two are apart; a sound one is not suspected.
func TestStatedLoadAgainstTheCurrent(t *testing.T) {
	for _, law := range []rig.CurrentLaw{rig.CurrentMotor, rig.CurrentDuty} {
		for _, c := range []struct {
			wrong float64 // the true mass over the stated one
			said  bool
		}{{1, false}, {1.02, false}, {1.6, true}, {0.6, true}} {
			b := standard(law)
			b.load *= 2 // more than friction, so that both laws show the load's scale
			s, j := b.run(3)
			load := *j.Load
			load.MassKg /= c.wrong
			j.Load = &load
			h := run(t, s, j)
			said := false
			for _, n := range h.Notes {
				said = said || strings.Contains(n, "times the load")
			}
			if said != c.said {
				t.Errorf("%s law, mass off by %g: said %v; notes %q", law, c.wrong, said, h.Notes)
			}
			inside(t, h, "friction", health.Total, 0.05)
			inside(t, h, "load_torque_amplitude", health.NoPath, 0.54)
			// The greatest load is at the outermost rest, 62 deg.
			inside(t, h, "load_torque_peak", health.NoPath, 0.54*math.Sin(62*math.Pi/180))
			inside(t, h, "torque_use", health.NoPath, (0.54*math.Sin(62*math.Pi/180)+0.05)/1.4)
			if m, _ := h.Find("torque_use", health.NoPath); c.said && m.Reason == "" {
				t.Errorf("%s law, mass off by %g: torque use %.2f ± %.2f without a word", law, c.wrong, m.Value, m.Uncertainty)
			}
		}
	}
}

// Without a stated load the current tells it: as one figure under a stated law, as the span of both
// laws else, which is what stands between a quarter and a half of stall (methods of the two laws:
// standing at half of the stall torque draws half or a quarter of the stall current).
func TestTorqueFromCurrentAlone(t *testing.T) {
	for _, law := range []rig.CurrentLaw{rig.CurrentMotor, rig.CurrentDuty} {
		for _, stated := range []bool{true, false} {
			b := standard(law)
			b.load = 0.5
			s, j := b.run(2)
			j.Load = nil
			if stated {
				j.Servo.CurrentLaw = law
			}
			h := run(t, s, j)
			want := 0.5 * math.Sin(52*math.Pi/180) // the outermost stop reached from both sides
			inside(t, h, "load_torque_peak", health.NoPath, want)
			inside(t, h, "torque_use", health.NoPath, want/1.4)
			m, _ := h.Find("torque_use", health.NoPath)
			wide := 0.25
			if stated {
				wide = 0.07
			}
			if m.Status != health.Measured || m.Uncertainty > wide || m.Reason == "" {
				t.Errorf("%s law, stated %v: use %s %.3f ± %.3f (%s)", law, stated, m.Status, m.Value, m.Uncertainty, m.Reason)
			}
			// A current that never leaves idle says nothing.
			fill(s.Current, b.idle)
			for _, name := range []string{"torque_use", "load_torque_peak"} {
				if m, _ := run(t, s, j).Find(name, health.NoPath); m.Status != health.NotObservable {
					t.Errorf("%s from a current at idle: %s %.3f", name, m.Status, m.Value)
				}
			}
		}
	}
}

// Torque use is held against the torque at the voltage and temperature seen: at 4.8 V of a servo
// rated for 6 V four fifths are there, at 70 °C of copper rated at 20 °C 1/1.19646 of them (copper at
// 234.5 °C below zero, IEC 60034-1).
func TestTorqueUseAtWhatIsSeen(t *testing.T) {
	b := standard(rig.CurrentMotor)
	b.load, b.noiseA = 0.5, 0.003
	want := (0.5*math.Sin(62*math.Pi/180) + 0.05) / 1.4
	for _, c := range []struct {
		name        string
		volts, warm float64
		want        float64
	}{{"rated", 6, math.NaN(), want}, {"low voltage", 4.8, math.NaN(), want / 0.8}, {"warm", 6, 70, want * 1.19646}, {"cold", 6, 20, want}} {
		b.volt = c.volts
		s, j := b.run(4)
		if c.warm > 0 {
			s.Temp = make([]float64, s.Len())
			fill(s.Temp, c.warm)
		}
		h := run(t, s, j)
		inside(t, h, "torque_use", health.NoPath, c.want)
		if m, _ := h.Find("torque_use", health.NoPath); math.Abs(m.Value-c.want) > 0.02*c.want || m.Uncertainty > 0.15*c.want || m.Uncertainty < 0.08*c.want {
			t.Errorf("%s: use %.3f ± %.3f, want %.3f with a rating known to 5 %%", c.name, m.Value, m.Uncertainty, c.want)
		}
	}
}

// The heating of a constant winding current is 1 - exp(-t/τ) of its square over that of the current
// that may last: 0.8 A of 0.6 A for the length of the run. Under the square law the supply current is
// no winding current, and under an unknown law both stand.
func TestHeatShare(t *testing.T) {
	b := standard(rig.CurrentMotor)
	s, j := b.run(1)
	span := s.Time[s.Len()-1] - s.Time[0]
	grown := 1 - math.Exp(-span/120)
	fill(s.Current, 0.8)
	fill(s.Supply, 6)
	j.Load = nil
	check := func(name string, law rig.CurrentLaw, want, tol float64) {
		t.Helper()
		j.Servo.CurrentLaw = law
		m, _ := run(t, s, j).Find("heat_share", health.NoPath)
		if m.Status != health.Measured || math.Abs(m.Value-want) > tol || math.Abs(m.Value-want) > m.Uncertainty || m.Verdict != health.NoVerdict {
			t.Errorf("%s: heat share %s %.3f ± %.3f, want %.3f", name, m.Status, m.Value, m.Uncertainty, want)
		}
	}
	check("motor law", rig.CurrentMotor, grown*(0.8*0.8)/(0.6*0.6), 0.01)
	winding := 0.12 + 2.28*math.Sqrt(0.68/2.28) // standing; moving stretches draw less
	check("square law", rig.CurrentDuty, grown*winding*winding/0.36, 0.12*grown*winding*winding/0.36)
	j.Servo.CurrentLaw = ""
	m, _ := run(t, s, j).Find("heat_share", health.NoPath)
	if lo, hi := grown*0.64/0.36, grown*winding*winding/0.36; m.Value-m.Uncertainty > lo || m.Value+m.Uncertainty < 0.9*hi {
		t.Errorf("law unknown: %.2f ± %.2f, want %.2f to %.2f inside", m.Value, m.Uncertainty, lo, hi)
	}
	for _, hide := range []func(){func() { s.Current = nil }, func() { s, j = b.run(1); j.Servo.Rated = nil }} {
		hide()
		if m, _ := run(t, s, j).Find("heat_share", health.NoPath); m.Status != health.NotObservable || m.Reason == "" {
			t.Errorf("without current or rating: heat share %s %.2f", m.Status, m.Value)
		}
	}
}

func TestTempRise(t *testing.T) {
	s, j := standard(rig.CurrentMotor).run(1)
	if m, _ := run(t, s, j).Find("temp_rise", health.NoPath); m.Status != health.NotObservable {
		t.Errorf("no temperature is logged: %s", m.Status)
	}
	rng := rand.New(rand.NewPCG(1, 1))
	for _, noise := range []float64{0, 0.3} {
		s.Temp = s.Temp[:0]
		for _, at := range s.Time { // 15 K with a time constant of 30 s
			s.Temp = append(s.Temp, 22+15*(1-math.Exp(-(at-s.Time[0])/30))+noise*rng.NormFloat64())
		}
		inside(t, run(t, s, j), "temp_rise", health.NoPath, 15*(1-math.Exp(-(s.Time[s.Len()-1]-s.Time[0])/30)))
	}
	fill(s.Temp, 25)
	inside(t, run(t, s, j), "temp_rise", health.NoPath, 0)
}

// The width of a Gaussian spot at half its height is 2·√(2 ln 2) standard deviations.
func TestTightSpotWidth(t *testing.T) {
	for _, law := range []rig.CurrentLaw{rig.CurrentMotor, rig.CurrentDuty} {
		b := standard(law)
		b.tight, b.at, b.width = 0.15, 18, 5
		h := b.health(t, 2)
		inside(t, h, "tight_spot_width", health.Total, 2*math.Sqrt(2*math.Ln2)*5)
		if m, _ := h.Find("tight_spot_width", health.Total); m.Status != health.Measured || m.Uncertainty > 6 {
			t.Errorf("width %s %.1f ± %.1f", m.Status, m.Value, m.Uncertainty)
		}
	}
}

// A servo that stands off its command at its whole stall current for 5 s is in stall; whether it also
// is for the 3 s at nine tenths of it depends on what one calls stall, and the interval says so.
// Without current nothing is said.
func TestStallTimeHoldsItsThresholds(t *testing.T) {
	_, j := standard(rig.CurrentMotor).run(1)
	j.Load = nil
	s := &rig.Series{Joint: "knee"}
	rng := rand.New(rand.NewPCG(3, 3))
	for i := range 5000 {
		at := float64(i) * 0.004
		command, angle, amps := 0.0, 0.0, 0.2
		switch {
		case at > 2 && at <= 7:
			command, amps = 40, 2.4
		case at > 10 && at <= 13:
			command, amps = 40, 0.9*2.4
		}
		s.Time, s.Command = append(s.Time, at), append(s.Command, command)
		s.Angle = append(s.Angle, angle+0.02*rng.NormFloat64())
		s.Current, s.Supply = append(s.Current, amps+0.01*rng.NormFloat64()), append(s.Supply, 6+0.004*rng.NormFloat64())
	}
	for _, want := range []float64{5, 8} {
		inside(t, run(t, s, j), "stall_time", health.NoPath, want)
	}
	if m, _ := run(t, s, j).Find("stall_time", health.NoPath); m.Uncertainty > 3.5 {
		t.Errorf("stall %.2f ± %.2f s, known to the 3 s in question", m.Value, m.Uncertainty)
	}
	s.Current = nil
	if m, _ := run(t, s, j).Find("stall_time", health.NoPath); m.Status != health.NotObservable {
		t.Errorf("without current: %s", m.Status)
	}
}
