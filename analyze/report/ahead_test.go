package report

import (
	"math"
	"strings"
	"testing"

	"limbgauge/analyze/health"
)

func loosening(a *Ahead) History {
	h := History{Joint: "knee", Measure: "belt_tension", Path: health.Transmission, Limit: 25, Warned: []string{"0004"}, Ahead: a}
	for i, v := range []float64{40, 38, 36, 34, 32} {
		h.Points = append(h.Points, Point{Run: []string{"0001", "0002", "0003", "0004", "0005"}[i], Measure: health.Of("belt_tension", health.Transmission, v, 1, "")})
	}
	return h
}

// What lies ahead is said in words beside the drawing, rounded so that it never claims more than the
// interval: down at the near end, up at the far one.
func TestAheadInWords(t *testing.T) {
	for _, c := range []struct {
		a    *Ahead
		want string
	}{
		{&Ahead{3.5, 2.6, 4.2}, "the limit is reached in 2 to 5 runs"},
		{&Ahead{3.5, 2.6, math.Inf(1)}, "in 2 runs at the earliest, with no upper end"},
		{nil, "first sure at run 0004"},
	} {
		svg, err := HistorySVG(loosening(c.a), Size{})
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(string(svg), c.want) {
			t.Errorf("%+v: the drawing's words do not say %q", c.a, c.want)
		}
		if c.a == nil && strings.Contains(string(svg), "ahead") {
			t.Error("nothing is known of what lies ahead, but it is drawn")
		}
	}
}
