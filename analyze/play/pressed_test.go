package play

import (
	"errors"
	"testing"
)

// Friction of 0.25 N·m under loads up to 0.3: while it lowers, the load outweighs the friction at one
// level a side only, which does not press a flank often enough to part play from friction.
func TestFlanksHardlyPressed(t *testing.T) {
	m := truth{play: 0.4, compliance: 2, friction: 0.25}
	var points []Point
	for c := range 2 {
		for _, dir := range []int{1, -1} {
			for _, load := range []float64{-0.3, -0.2, -0.1, 0.1, 0.2, 0.3} {
				points = append(points, Point{Load: load, Dir: dir, Group: c, Defl: m.at(load-float64(dir)*m.friction, 0)})
			}
		}
	}
	l, err := Fit(points, Options{Friction: true})
	if !errors.Is(err, ErrFriction) {
		t.Errorf("%v, want a refusal; friction %.3f, play %.3f", err, l.Friction.Value, l.Play.Value)
	}
}
