package analyze

import (
	"fmt"
	"math/rand/v2"
	"os"
	"testing"

	"limbgauge/analyze/health"
	"limbgauge/rig"
	"limbgauge/rig/virtual"
)

// good says whether a run may be part of a baseline.
func good(j health.Joint) bool {
	for _, m := range j.Measures {
		if m.Verdict == health.Fail {
			return false
		}
	}
	for _, f := range j.Findings {
		if f.Severity == health.SeverityWarning || f.Severity == health.SeverityFault {
			return false
		}
	}
	return true
}

// another is the same joint on another day: new noise, and supply, warmth (friction) and tension a
// little elsewhere. The sizes are invented.
func another(t virtual.Truth, day int, rnd *rand.Rand) virtual.Truth {
	vary := func(share float64) float64 { return 1 + share*(2*rnd.Float64()-1) }
	t.Seed = rnd.Uint64()
	t.Supply.OpenV *= vary(0.01)
	t.Bearing.CoulombNm *= vary(0.15)
	t.Servo.GearFrictionNm *= vary(0.15)
	if t.Belt != nil {
		b := *t.Belt
		b.AgeS *= float64(1 + 7*day)
		t.Belt = &b
	}
	return t
}

// Sequences of healthy runs of one joint after the other, no limit stated: how often the joint's own
// baseline raises an alarm. And the same joints with a fault: whether it is seen then.
//
// A single measure fails in at most about 1 % of healthy runs (TestUsualMarginKeepsItsRate), and
// mostly far less, since its own doubt covers most of what differs between runs. Stated for a whole
// run with all its measures: at most 2 %.
func TestBaselineFalseAlarms(t *testing.T) {
	sequences := 5
	if os.Getenv("LIMBGAUGE_REQUIRE_ALL") != "" {
		sequences = 30
	}
	b, err := rig.ParseBench("example", []byte(rig.ExampleBench()))
	if err != nil {
		t.Fatal(err)
	}
	judged, failed, alarms, seen := 0, 0, 0, 0
	for k := range sequences {
		rnd := rand.New(rand.NewPCG(uint64(k), 77))
		j := b.Joints[k%len(b.Joints)]
		j.Limits = nil
		if k%2 == 1 {
			j.Sensors.MotorCounts = 0
		}
		truth := virtual.Healthy(j, uint64(100+k))
		var usual []PastRun
		run := func(day int, truth virtual.Truth) health.Joint {
			got, err := RunAfter(played(t, j, another(truth, day, rnd), "assembly"), j, Past{Routine: "assembly", Usual: usual})
			if err != nil {
				t.Fatal(err)
			}
			return got
		}
		for day := range 6 {
			got := run(day, truth)
			if len(usual) >= 3 {
				judged++
				fails := false
				for _, m := range got.Measures {
					if m.Verdict == health.Fail {
						fails = true
						t.Logf("sequence %d, run %d: %s (%s) %.4g ± %.2g, limit %g", k, day+1, m.Name, m.Path, m.Value, m.Uncertainty, m.Limit)
					}
				}
				if fails {
					failed++
				}
				if got.Findings[0].Cause != health.None {
					alarms++
					t.Logf("sequence %d, run %d: %+v", k, day+1, got.Findings)
				}
			}
			if good(got) && len(usual) < 5 {
				usual = append(usual, PastRun{Run: fmt.Sprintf("%04d", day+1), Measures: got.Measures})
			}
		}
		worn, err := virtual.WithFault(truth, "servo_play", 2)
		if err != nil {
			t.Fatal(err)
		}
		if got := run(6, worn); got.Findings[0].Cause != health.None {
			seen++
		} else {
			t.Logf("sequence %d: play of 2 deg not seen: %+v", k, got.Findings)
		}
	}
	t.Logf("%d healthy runs judged by their baseline: %d with a failed measure, %d with a finding; a servo's play of 2 deg seen in %d of %d joints", judged, failed, alarms, seen, sequences)
	if float64(alarms) > 0.02*float64(judged) || float64(failed) > 0.02*float64(judged)+1 {
		t.Errorf("too many false alarms")
	}
	if seen < sequences {
		t.Errorf("a fault was not seen")
	}
}
