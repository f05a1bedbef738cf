package analyze_test

import (
	"math"
	"testing"

	"limbgauge/analyze/health"
)

// No figure is surer than what it rests on: a torque than the load, of which mass and lever are known
// to 1 % each at best (2 % expanded), a range of deviations over many angles than the form of a
// magnetic sensor set up by hand, 0.1 deg peak at best [common practice].
func TestFiguresAreNoSurerThanTheirFoundations(t *testing.T) {
	const load, form = 0.02, 0.1
	floors := map[string]func(value float64) float64{
		"span_slack_torque":    func(v float64) float64 { return load * v },
		"belt_tension":         func(v float64) float64 { return load * v },
		"load_torque_peak":     func(v float64) float64 { return load * v },
		"torque_use":           func(v float64) float64 { return load * v },
		"systematic_deviation": func(float64) float64 { return form },
		"accuracy":             func(float64) float64 { return form },
	}
	met := map[string]int{}
	for _, c := range caselogs(t) {
		if c.truth.Cause != "none" && c.truth.Cause != "belt_tension_low" {
			continue // two causes suffice to see every figure
		}
		for _, m := range run(t, c.series, c.joint).Measures {
			floor, ok := floors[m.Name]
			if !ok || m.Status != health.Measured || math.IsNaN(m.Uncertainty) {
				continue
			}
			met[m.Name]++
			if least := floor(math.Abs(m.Value)); m.Uncertainty < least {
				t.Errorf("%s: %s (%s) %g ± %g, known to %g at best", c.name, m.Name, m.Path, m.Value, m.Uncertainty, least)
			}
		}
	}
	for name := range floors {
		if met[name] == 0 {
			t.Errorf("%s was measured nowhere, so its floor was not tested", name)
		}
	}
}
