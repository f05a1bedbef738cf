package sensor

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The sense of a sensor is told from how the angle follows a triangle of command, whose ways are known.
func TestAgainst(t *testing.T) {
	const n, dt, rate, half = 4000, 0.01, 30.0, 40.0
	triangle := func(s float64) float64 {
		s = math.Mod(s*rate, 4*half)
		return math.Abs(s-2*half) - half
	}
	for _, c := range []struct {
		name  string
		angle func(s float64, rnd *rand.Rand) float64
		want  bool
	}{
		{"follows", func(s float64, _ *rand.Rand) float64 { return triangle(s) }, false},
		{"follows late, far from zero", func(s float64, _ *rand.Rand) float64 { return 150 + triangle(math.Max(0, s-0.1)) }, false},
		{"runs against it", func(s float64, _ *rand.Rand) float64 { return -triangle(s) }, true},
		{"against, late, noisy, with gaps", func(s float64, rnd *rand.Rand) float64 {
			if rnd.Float64() < 0.2 {
				return math.NaN()
			}
			return 20 - triangle(math.Max(0, s-0.1)) + 0.1*rnd.NormFloat64()
		}, true},
		{"stands still", func(float64, *rand.Rand) float64 { return 12 }, false},
		{"jumps about", func(s float64, rnd *rand.Rand) float64 { return triangle(s) + 40*math.Round(2*rnd.Float64()-1) }, false},
		{"not there", func(float64, *rand.Rand) float64 { return math.NaN() }, false},
	} {
		rnd := rand.New(rand.NewPCG(3, 4))
		var time, angle, command []float64
		for i := range n {
			s := float64(i) * dt
			time, angle, command = append(time, s), append(angle, c.angle(s, rnd)), append(command, triangle(s))
		}
		travel, got := Against(time, angle, command)
		if got != c.want {
			t.Errorf("%s: against %t, want %t", c.name, got, c.want)
		}
		if c.name == "follows" && !(travel < rate*n*dt && travel > 0.7*rate*n*dt) { // turns of the triangle lose two pieces of ten
			t.Errorf("travel %g deg, want about %g", travel, rate*n*dt)
		}
	}
	if _, got := Against([]float64{0, 1, 2}, []float64{0, -4, -8}, []float64{0, 4, 8}); got {
		t.Error("8 deg of travel are too little for an answer")
	}
	if _, got := Against([]float64{0}, nil, []float64{0}); got {
		t.Error("no angle has no sense")
	}
}

// However fast a command swings and however late the angle follows it, up to a quarter of a second, it is
// not taken for one that counts the other way; one that does is, as long as the command is slow.
func TestLagIsNotASense(t *testing.T) {
	for hz := 0.1; hz < 8; hz *= 1.07 {
		for _, lag := range []float64{0, 0.02, 0.05, 0.1, 0.15, 0.2, 0.24} {
			for _, square := range []bool{false, true} {
				for phase := 0.0; phase < 1; phase += 0.1 {
					wave := func(s float64) float64 {
						y := math.Sin(2 * math.Pi * (hz*s + phase))
						if square {
							return math.Copysign(20, y)
						}
						return 20 * y
					}
					var time, angle, other, command []float64
					for i := range 3000 {
						s := float64(i) * 0.01
						time, angle, other, command = append(time, s), append(angle, wave(s-lag)), append(other, -wave(s-lag)), append(command, wave(s))
					}
					if _, got := Against(time, angle, command); got {
						t.Fatalf("%.2f Hz, %g s late, square %t, phase %.1f: taken for the other way", hz, lag, square, phase)
					}
					if _, got := Against(time, other, command); !got && !square && hz < 0.3 {
						t.Fatalf("%.2f Hz, %g s late, phase %.1f: the other way was not seen", hz, lag, phase)
					}
				}
			}
		}
	}
}
