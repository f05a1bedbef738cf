package report

import (
	"html/template"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"limbgauge/analyze/health"
)

// places returns the x of what a pattern finds in a drawing.
func places(t *testing.T, svg template.HTML, pattern string) (xs []float64) {
	t.Helper()
	for _, m := range regexp.MustCompile(pattern).FindAllStringSubmatch(string(svg), -1) {
		x, err := strconv.ParseFloat(m[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		xs = append(xs, x)
	}
	return xs
}

const (
	dotAt   = `class="g-dot" cx="([\d.]+)"`
	limitAt = `class="g-limit" d="M([\d.]+)`
	sameAt  = `class="g-same" x="([\d.]+)"`
)

// Whatever the unit, the middle is no difference, the band is the margin, better lies to the right.
func TestLeanKeepsOneScale(t *testing.T) {
	middle := gaugeWidth / 2
	for _, unit := range []float64{1e-3, 1, 500} {
		none := places(t, Lean(0, unit/2, unit), dotAt)
		if len(none) != 1 || none[0] != middle {
			t.Errorf("no difference is drawn at %v, the middle is %g", none, middle)
		}
		worse, better := places(t, Lean(-unit, 0, unit), dotAt), places(t, Lean(unit, 0, unit), dotAt)
		edge := places(t, Lean(0, unit, unit), sameAt)
		if len(worse) != 1 || len(better) != 1 || len(edge) != 1 {
			t.Fatalf("marks at %v, %v, band at %v", worse, better, edge)
		}
		if worse[0] != edge[0] || math.Abs(worse[0]+better[0]-2*middle) > 0.11 || !(better[0] > middle) {
			t.Errorf("a margin worse is at %g, better at %g; the band begins at %g", worse[0], better[0], edge[0])
		}
	}
	if far := Lean(100, 1, 1); len(places(t, far, dotAt)) != 0 || !strings.Contains(string(far), "g-tip") {
		t.Errorf("what lies beyond the scale is drawn as %s", far)
	}
	for _, empty := range []template.HTML{Lean(math.NaN(), 1, 1), Lean(1, math.NaN(), 1), Lean(1, 1, math.NaN()), Lean(1, 1, 0)} {
		if empty != "" {
			t.Errorf("drawn though nothing is known: %s", empty)
		}
	}
}

// Two sights of one measure share a scale: their limits stand at one place, and the greater lies to the right.
func TestGaugesShareAScale(t *testing.T) {
	of := func(v, limit float64) health.Measure {
		m := health.Of("play", health.Servo, v, 0.01, "")
		m.Limit = limit
		return m
	}
	drawn := Gauges(of(0.1, 0.5), of(1.7, 0.5))
	limits := append(places(t, drawn[0], limitAt), places(t, drawn[1], limitAt)...)
	dots := append(places(t, drawn[0], dotAt), places(t, drawn[1], dotAt)...)
	if len(limits) != 2 || limits[0] != limits[1] || len(dots) != 2 || !(dots[0] < limits[0] && limits[0] < dots[1]) {
		t.Errorf("limits at %v, values at %v", limits, dots)
	}
	bare := Gauges(of(0.1, math.NaN()), of(0.2, math.NaN()))
	at := append(places(t, bare[0], dotAt), places(t, bare[1], dotAt)...)
	if len(at) != 2 || math.Abs((at[1]-gaugeEdge)-2*(at[0]-gaugeEdge)) > 0.2 || strings.Contains(string(bare[0]), "g-limit") {
		t.Errorf("without a limit 0.1 and 0.2 are drawn at %v", at)
	}
	unseen := health.Measure{Name: "play", Status: health.NotObservable, Value: math.NaN(), Limit: math.NaN()}
	if got := Gauges(unseen, unseen); got[0] != "" || got[1] != "" {
		t.Errorf("drawn though nothing was seen: %q", got)
	}
}

// A dot for each run that saw the measure, joined only within a stretch; a bound is a stem.
func TestSpark(t *testing.T) {
	h := History{Measure: "play", Path: health.Servo, Limit: 0.5, Marks: []Mark{{Before: 3, Label: "revision B"}}}
	for _, v := range []float64{0.1, 0.2, 0.3, 0.1, 0.2} {
		h.Points = append(h.Points, Point{Run: "0001", Measure: health.Of("play", health.Servo, v, 0.01, "")})
	}
	h.Points = append(h.Points, Point{Run: "0006", Measure: health.Measure{Name: "play", Status: health.NotObservable, Value: math.NaN()}})
	bound := health.Of("play", health.Servo, 0.4, 0.01, "")
	bound.Status = health.BoundHigh
	h.Points = append(h.Points, Point{Run: "0007", Measure: bound})
	svg := string(Spark(h))
	path := func(class string) string {
		_, rest, _ := strings.Cut(svg, `class="`+class+`" d="`)
		d, _, _ := strings.Cut(rest, `"`)
		return d
	}
	if d := path("sp-dots"); strings.Count(d, "h0") != 5 {
		t.Errorf("5 runs saw it, drawn %q", d)
	}
	if d := path("sp-line"); strings.Count(d, "M") != 2 || strings.Count(d, "L") != 3 {
		t.Errorf("two stretches of 3 and 2 runs, drawn %q", d)
	}
	if d := path("sp-stems"); strings.Count(d, "v6") != 1 {
		t.Errorf("one bound from above, drawn %q", d)
	}
	if Spark(History{Measure: "play", Points: h.Points[5:6], Limit: 0.5}) != "" {
		t.Error("drawn though no run saw it")
	}
}
