package analyze_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"limbgauge/analyze/health"
	"limbgauge/rig"
)

// shaking is a run of the routine shake on a joint whose servo follows within some ms and whose transmission
// is a mass on a spring: resonance hz, damping zeta.
func shaking(t *testing.T, rate, hz, zeta float64) (*rig.Series, rig.Joint) {
	t.Helper()
	_, j := sound()
	r, err := rig.BuiltinRoutine("shake", j)
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(3, 3))
	read := func(a float64) float64 { return math.Round((a+.03*rng.NormFloat64())*4096/360) * 360 / 4096 }
	s := &rig.Series{Joint: j.Name}
	at, motor, y, v := r.Moves[0].TargetDeg, r.Moves[0].TargetDeg, r.Moves[0].TargetDeg, 0.0
	const fine, slew = 2e-5, 1600.0 // s; deg/s, less than what only a broken sensor shows
	wn := 2 * math.Pi * hz
	now, next := 0.0, 0.0
	for _, m := range r.Moves {
		reached := now
		for ; at != m.TargetDeg || now < reached+m.Dwell.Seconds()-1e-9; now += fine {
			if step := m.RateDegPerS * fine; at != m.TargetDeg {
				if m.RateDegPerS == 0 || math.Abs(m.TargetDeg-at) <= step {
					at = m.TargetDeg
				} else {
					at += math.Copysign(step, m.TargetDeg-at)
				}
				reached = now
			}
			motor += math.Max(-slew*fine, math.Min(slew*fine, at-motor))
			v += (wn*wn*(motor-y) - 2*zeta*wn*v) * fine // semi-implicit Euler, 8000 to a period
			y += v * fine
			if now >= next-1e-9 {
				s.Time, s.Command, s.Motor, s.Angle = append(s.Time, now), append(s.Command, at), append(s.Motor, read(motor)), append(s.Angle, read(y))
				s.Move = append(s.Move, m.Kind)
				next += 1 / rate
			}
		}
	}
	return s, j
}

func TestFrequencyResponse(t *testing.T) {
	for _, rate := range []float64{100, 250, 1000} {
		const hz, zeta = 6.0, .2
		s, j := shaking(t, rate, hz, zeta)
		for name, v := range map[string]*rig.Series{
			"whole":    s,
			"no marks": with(s, func(o *rig.Series) { o.Move = nil }),
			"one in twenty lost": pick(s, func() func(int) bool {
				rng := rand.New(rand.NewPCG(4, 4))
				return func(int) bool { return rng.Float64() > .05 }
			}()),
		} {
			h := run(t, v, j)
			b := 1 - 2*zeta*zeta
			for _, c := range []struct {
				name string
				path health.Path
				want float64
			}{
				{"bandwidth", health.Total, hz * math.Sqrt(b+math.Sqrt(b*b+1))}, // |H|² = 1/2 of a second order system
				{"resonance", health.Transmission, hz * math.Sqrt(b)},
			} {
				m, _ := h.Find(c.name, c.path)
				if m.Status != health.Measured || math.Abs(m.Value-c.want) > m.Uncertainty || m.Uncertainty > .1*c.want {
					t.Errorf("%s, %g samples/s: %s %s %.3f ± %.3f, true %.3f %s", name, rate, c.name, m.Status, m.Value, m.Uncertainty, c.want, m.Reason)
				}
			}
			found := false
			for _, cv := range h.Curves {
				for _, l := range cv.Lines {
					for _, v := range l.Y {
						if math.IsInf(v, 0) || cv.ID == "step" && math.Abs(v) > 3 {
							t.Fatalf("%s: curve %s, line %s goes to %g", name, cv.ID, l.Name, v)
						}
					}
				}
				found = found || cv.ID == "response-total" && strings.Contains(cv.Alt, "3 dB at")
			}
			if !found {
				t.Errorf("%s: no curve of the response", name)
			}
			if m, _ := h.Find("natural_frequency", health.NoPath); m.Status != health.Measured || math.Abs(m.Value-hz) > m.Uncertainty {
				t.Errorf("%s, %g samples/s: the steps ring at %s %.3f ± %.3f Hz, true %g", name, rate, m.Status, m.Value, m.Uncertainty, hz)
			}
		}
	}
}

// Where nothing shakes the joint, or what shakes is not read, there is no response and a reason.
func TestFrequencyResponseUnseen(t *testing.T) {
	plain, j := sound()
	shaken, _ := shaking(t, 100, 6, .2)
	for name, c := range map[string]struct {
		s    *rig.Series
		says string
	}{
		"no shake":       {plain, "the routine shake does"},
		"angle not read": {with(shaken, func(o *rig.Series) { fill(o.Angle[400:6000], math.NaN()) }), "missing"},
		"angle goes its way": {with(shaken, func(o *rig.Series) {
			rng := rand.New(rand.NewPCG(5, 5))
			for i := range o.Angle {
				o.Angle[i] = 10 * rng.Float64()
			}
		}), "too few frequencies"},
	} {
		m, ok := run(t, c.s, j).Find("bandwidth", health.Total)
		if !ok || m.Status != health.NotObservable || !strings.Contains(m.Reason, c.says) {
			t.Errorf("%s: %s %g %q, want %q", name, m.Status, m.Value, m.Reason, c.says)
		}
	}
}
