package play

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Check 2c: lost motion as makers of reducers state it, the angle between ±3 % of the rated torque on
// the middle line of the loop: b + 2·0.03·T·C, with play 0.6 deg, 2 deg/N·m and 1 N·m rated.
func TestLostMotion(t *testing.T) {
	m := truth{play: 0.6, compliance: 2}
	l, err := Fit(m.weights([]float64{0.1, 0.3, 0.6, 1}, 2, 0, rand.New(rand.NewPCG(1, 1))), Options{})
	if err != nil {
		t.Fatal(err)
	}
	const rated = 1.0
	near(t, "lost motion", l.At(0.03*rated)-l.At(-0.03*rated), 0.72, 1e-9)
	near(t, "stiffness in N·m/rad", 180/math.Pi/l.Compliance.Value, 28.648, 1e-3)
}
