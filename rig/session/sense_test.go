package session

import (
	"errors"
	"math"
	"strings"
	"testing"

	"limbgauge/rig"
	"limbgauge/rig/record"
	"limbgauge/rig/virtual"
)

// mounted is the knee with its sensors as bench.toml says, on a stand on which they sit otherwise.
func mounted(t *testing.T, says, is rig.Sensors) ([]rig.Joint, virtual.Options) {
	j := leg(t)[2]
	says.JointCounts, says.MotorCounts, is.JointCounts, is.MotorCounts = 4096, 4096, 4096, 4096
	truth := j
	truth.Sensors, j.Sensors = is, says
	joints := []rig.Joint{j}
	joints[0].Channel = 0
	return joints, virtual.Options{Joints: joints, Speed: 20, Truths: []virtual.Truth{virtual.Healthy(truth, 1)}}
}

// A sensor that counts the other way than bench.toml says ends the run within its first moves, and the
// error names the key; one that is told right does not.
func TestWrongSenseEndsARun(t *testing.T) {
	for _, c := range []struct {
		name     string
		says, is rig.Sensors
		words    string // "" when nothing is wrong
	}{
		{"as it is", rig.Sensors{JointReversed: true, JointZeroDeg: 37, MotorZeroDeg: -8}, rig.Sensors{JointReversed: true, JointZeroDeg: 37, MotorZeroDeg: -8}, ""},
		{"said to be reversed", rig.Sensors{JointReversed: true}, rig.Sensors{}, "write joint_reversed = false below"},
		{"not said to be", rig.Sensors{}, rig.Sensors{JointReversed: true}, "write joint_reversed = true below"},
		{"the motor side", rig.Sensors{}, rig.Sensors{MotorReversed: true}, "write motor_reversed = true below"},
		{"both", rig.Sensors{}, rig.Sensors{JointReversed: true, MotorReversed: true}, "write joint_reversed = true and motor_reversed = true below"},
	} {
		t.Run(c.name, func(t *testing.T) {
			joints, opt := mounted(t, c.says, c.is)
			routine, err := rig.BuiltinRoutine("quick", joints[0])
			if err != nil {
				t.Fatal(err)
			}
			res, err := Run(t.Context(), Config{Line: stand(t, opt), Joints: joints, SampleHz: 250, Consent: Agreed(), Plans: []Plan{{0, routine}}, Bench: t.TempDir()})
			var against *SenseError
			if c.words == "" {
				if err != nil || res.End.How != record.Complete {
					t.Fatalf("%+v, %v", res.End, err)
				}
				return
			}
			if !errors.As(err, &against) || !strings.Contains(err.Error(), c.words) {
				t.Fatalf("got %v, want a SenseError with %q", err, c.words)
			}
			r := open(t, res)
			if r.Info.End.How != record.Stopped || r.Info.End.Reason != err.Error() {
				t.Errorf("ended %+v", r.Info.End)
			}
			b := batchesOf(t, r)[0]
			if last := b.Segment[b.Len()-1]; int(last) >= len(routine.Moves)/2 {
				t.Errorf("the routine went on to move %d", last)
			}
		})
	}
}

// A single wild reading, a sensor that stands still and one far from its zero have no wrong sense.
func TestSenseIsNotMistaken(t *testing.T) {
	for name, angle := range map[string]func(i int, command float64) float64{
		"wild":    func(i int, command float64) float64 { return command + 60*math.Mod(float64(i/50), 3) }, // jumps each 200 ms
		"still":   func(int, float64) float64 { return 7 },
		"far off": func(_ int, command float64) float64 { return command - 120 },
		"late":    func(i int, command float64) float64 { return command - 4 },
	} {
		var s sense
		for i := range 4000 {
			at, command := float64(i)*0.004, 40*math.Sin(float64(i)*0.004)
			s.take(int64(at*1e6), int32(command*1000), int32(angle(i, command)*1000))
			if s.wrong() {
				t.Errorf("%s: taken for the wrong sense after %.1f s", name, at)
				break
			}
		}
	}
}

// A gait swings faster than a loaded servo follows: however late, up to a quarter of a second, that is no
// wrong sense.
func TestLagIsNoWrongSense(t *testing.T) {
	for hz := 0.1; hz < 6; hz *= 1.07 {
		for _, lag := range []float64{0.02, 0.1, 0.2, 0.24} {
			for phase := 0.0; phase < 1; phase += 0.1 {
				wave := func(s float64) int32 { return int32(20_000 * math.Sin(2*math.Pi*(hz*s+phase))) }
				var late, other sense
				for i := range 8000 {
					at := float64(i) * 0.004
					late.take(int64(at*1e6), wave(at), wave(at-lag))
					other.take(int64(at*1e6), wave(at), -wave(at-lag))
				}
				if late.wrong() || hz < 0.5 && !other.wrong() {
					t.Fatalf("%.2f Hz, %g s late, phase %.1f: late is wrong %t, the other way %t", hz, lag, phase, late.wrong(), other.wrong())
				}
			}
		}
	}
}
