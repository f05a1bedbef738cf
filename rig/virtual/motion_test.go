package virtual

import (
	"fmt"
	"math"
	"testing"

	"limbgauge/rig"
)

// frequency counts the swings of a value about 0 over some seconds, Hz, by its zero crossings.
func frequency(w *World, seconds float64, value func() float64) float64 {
	var first, last float64
	n, before := 0, value()
	for at := float64(w.TimeUS()) * 1e-6; at < seconds; at = float64(w.TimeUS()) * 1e-6 {
		w.Advance(w.TimeUS() + StepUS)
		now := value()
		if before < 0 && now >= 0 {
			cross := at + dt*before/(before-now)
			if n++; n == 1 {
				first = cross
			}
			last = cross
		}
		before = now
	}
	return float64(n-1) / (last - first)
}

// The load rings on a held drive at f_a = √(k/J_l)/2π, and against a free one at f_r.
func TestRingsAtItsFrequency(t *testing.T) {
	const k, mesh = 20.0, 0.005 // N·m/rad, deg/N·m
	series := 1 / (1/k + mesh*rad)
	for _, test := range []struct {
		name        string
		jm, want    float64
		from        string
		driveIsHeld bool
	}{
		{"held drive", 1e3, 25.1646 * math.Sqrt(series/k), "√(k_t/J_l)/2π with 20 N·m/rad and 8e-4 kg·m²: 25.1646 Hz", true},
		{"free drive", 2e-4 - hornInertia, 56.2698 * math.Sqrt(series/k), "√(k_t(J_m+J_l)/(J_m·J_l))/2π with J_m 2e-4: 56.2698 Hz", false},
	} {
		truth := direct(k)
		truth.Servo.InertiaKgM2, truth.Servo.MeshDegPerNm = test.jm, mesh
		truth.Load.MassKg, truth.Load.InertiaKgM2 = 0, 8e-4
		w := NewWorld([]Truth{truth})
		p := w.plants[0]
		p.theta = 2 * rad
		mean := func() float64 { return p.theta - p.h }
		if test.driveIsHeld {
			mean = func() float64 { return p.theta }
		}
		near(t, test.name, frequency(w, 2, mean), test.want, 0.003*test.want, test.from)
	}
}

// A limp leg is a pendulum of its load, horn and rotor.
func TestPendulum(t *testing.T) {
	truth := direct(2000)
	truth.Servo.InertiaKgM2, truth.Servo.MeshDegPerNm = 1e-3, 0.01
	w := NewWorld([]Truth{truth})
	p := w.plants[0]
	const amplitude = 20 * rad
	p.theta, p.h, p.phi = amplitude, amplitude, amplitude
	inertia := 0.0036 + 1e-3 + hornInertia
	// The period of a swing this wide, by the series of the elliptic integral.
	wide := 1 + amplitude*amplitude/16 + 11*math.Pow(amplitude, 4)/3072
	want := math.Sqrt(0.25*rig.Gravity*0.11/inertia) / (2 * math.Pi) / wide
	near(t, "frequency", frequency(w, 20, func() float64 { return p.theta }), want, 1e-3*want, "√(m·g·l/J)/2π")
}

// Friction takes 4·T_f/k of the amplitude in each full swing, whatever the amplitude.
func TestCoulombDecay(t *testing.T) {
	const k, friction, inertia = 20.0, 0.02, 8e-4
	truth := direct(k)
	truth.Servo.InertiaKgM2, truth.Servo.MeshDegPerNm = 1e9, 0.001
	truth.Load.MassKg, truth.Load.InertiaKgM2, truth.Bearing.CoulombNm = 0, inertia, friction
	w := NewWorld([]Truth{truth})
	p := w.plants[0]
	p.theta = 4 * rad
	var peaks []float64
	for before := p.w; len(peaks) < 8; before = p.w {
		w.Advance(w.TimeUS() + StepUS)
		if before > 0 && p.w <= 0 {
			peaks = append(peaks, p.theta)
		}
	}
	for i := 1; i < len(peaks); i++ {
		near(t, fmt.Sprintf("loss in swing %d", i), (peaks[i-1]-peaks[i])/rad, 4*friction/k/rad, 0.02, "4·T_f/k")
	}
	w.Advance(w.TimeUS() + 5e6)
	rest := p.theta
	w.Advance(w.TimeUS() + 60e6)
	near(t, "drift in a minute of rest", (p.theta-rest)/rad, 0, 1e-6, "a joint at rest stays at rest")
	near(t, "rest, at most", math.Max(0, math.Abs(rest)-friction/k)/rad, 0, 0.02, "stuck within T_f/k")
}

// Without pulses energy never grows, whatever is loose, slack or tight; without losses it stays.
func TestEnergy(t *testing.T) {
	truths := map[string]Truth{"healthy": Healthy(knee(), 0), "lossless": bare()}
	for _, c := range []string{"belt_tension_low", "belt_slack", "servo_play", "excess_compliance", "creep", "tight_spot", "high_friction"} {
		cause, err := CauseByName(c)
		if err != nil {
			t.Fatal(err)
		}
		if truths[c], err = WithFault(Healthy(knee(), 0), c, cause.Typical); err != nil {
			t.Fatal(err)
		}
	}
	for name, truth := range truths {
		truth.Part.CreepDegPerNm = 0 // its cells hold energy that EnergyJ does not count
		w := NewWorld([]Truth{truth})
		p := w.plants[0]
		p.theta, p.h, p.phi = 60*rad, 60*rad, 60*rad
		p.slow(-1)
		start := w.EnergyJ(0)
		least := start
		for range 2000 {
			w.Advance(w.TimeUS() + 10_000)
			e := w.EnergyJ(0)
			if e > least+2e-4*start {
				t.Errorf("%s: energy rose from %.6f to %.6f J at %.2f s", name, least, e, float64(w.TimeUS())*1e-6)
				break
			}
			least = math.Min(least, e)
		}
		if name == "lossless" {
			near(t, "energy after 20 s without losses", w.EnergyJ(0)/start, 1, 0.01, "conservation")
		} else if e := w.EnergyJ(0); e > 0.6*start {
			t.Errorf("%s: %.4f of %.4f J are left after 20 s of swinging", name, e, start)
		}
	}
}

// Creep follows its law under a constant torque and Boltzmann's superposition when that ends.
func TestCreepLaws(t *testing.T) {
	power := func(t float64) float64 { return 0.1 * math.Pow(t, 0.25) }
	log := func(t float64) float64 { return 0.1 * math.Log10(1+t) }
	for _, test := range []struct {
		name string
		exp  float64
		law  func(float64) float64
	}{{"power", 0.25, power}, {"log", 0, log}} {
		c := newCreep(Part{CreepDegPerNm: 0.1, CreepExponent: test.exp})
		now := 0.0
		run := func(to, torque float64) float64 {
			for ; now < to; now += slowDT {
				c.advance(torque)
			}
			return c.sum / rad
		}
		for _, at := range []float64{1, 10, 100, 1000, 10_000} {
			near(t, fmt.Sprintf("%s law at %g s", test.name, at), run(at, 1), test.law(at), 0.02*test.law(at), "the law itself, 2 %")
		}
		for _, at := range []float64{10_001, 10_100} {
			want := test.law(at) - test.law(at-10_000)
			near(t, fmt.Sprintf("%s law, unloaded, at %g s", test.name, at), run(at, 0), want, 0.02*test.law(1e4), "Boltzmann")
		}
	}
	near(t, "0.2 + 0.1·t^0.25 at 10 000 s", 0.2+power(1e4), 1.2, 1e-9, "worked example")
}
