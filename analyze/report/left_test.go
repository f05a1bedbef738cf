package report

import (
	"regexp"
	"strings"
	"testing"

	"limbgauge/analyze/health"
)

// A run that does not count with the others is drawn hollow and said to be so; the line and the small drawing
// pass it by.
func TestRunThatDoesNotCount(t *testing.T) {
	of := func(run string, v float64, out bool) Point {
		return Point{Run: run, Measure: health.Of("play", health.Total, v, 0.1, ""), Out: out}
	}
	h := History{Joint: "knee", Measure: "play", Path: health.Total, Limit: nan, Points: []Point{of("0001", 1, false), of("0002", 3, true), of("0003", 1, false)}}
	svg, err := HistorySVG(h, Size{})
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{">does not count</text>", "run 0002: 3.00 ± 0.10 deg, which does not count"} {
		if !strings.Contains(string(svg), want) {
			t.Errorf("no %q", want)
		}
	}
	without := h
	without.Points = []Point{h.Points[0], {Run: "0002", Measure: health.Unseen("play", health.Total, "", "why")}, h.Points[2]}
	if spark, other := string(Spark(h)), string(Spark(without)); strings.Count(spark, "h0") != 2 || strings.Count(other, "h0") != 2 {
		t.Errorf("the small drawing has a dot too many: %s", spark)
	}
	h.Points[1].Out = false
	if svg, err = HistorySVG(h, Size{}); err != nil || strings.Contains(string(svg), "does not count") {
		t.Errorf("runs that count are said not to: %v", err)
	}
}

// A run that does not count sets no scale: those that count are drawn as they are without it.
func TestRunThatDoesNotCountSetsNoScale(t *testing.T) {
	of := func(v float64, out bool) Point {
		return Point{Run: "0001", Measure: health.Of("play", health.Total, v, 0.1, ""), Out: out}
	}
	axis := regexp.MustCompile(`>[0-9.]+</text>`)
	drawn := func(last Point) string {
		svg, err := HistorySVG(History{Joint: "knee", Measure: "play", Path: health.Total, Limit: nan, Points: []Point{of(1, false), of(1.5, false), last}}, Size{})
		if err != nil {
			t.Fatal(err)
		}
		return strings.Join(axis.FindAllString(string(svg), -1), "")
	}
	for _, v := range []float64{40, -40, 1.2} {
		if got, want := drawn(of(v, true)), drawn(of(1.2, false)); got != want {
			t.Errorf("%g beside 1 and 1.5: axis %s, want %s", v, got, want)
		}
	}
}

// A service with the assembly after it, a revision and its assemblies a run apart all have their label.
func TestBoundariesCloseTogetherAreNamed(t *testing.T) {
	h := History{Joint: "knee", Measure: "play", Path: health.Total, Limit: nan}
	for i := range 12 {
		h.Points = append(h.Points, Point{Run: "000" + string(rune('a'+i)), Measure: health.Of("play", health.Total, 1, 0.1, "")})
	}
	names := []string{"belt re-tensioned, assembly a2", "belt re-tensioned, assembly a3", "revision B", "assembly b2", "assembly b3"}
	for i, name := range names {
		h.Marks = append(h.Marks, Mark{Before: 7 + i, Label: name})
	}
	svg, err := HistorySVG(h, Size{Width: 640, Height: 330})
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		if !strings.Contains(string(svg), ">"+name+"</text>") {
			t.Errorf("no label %q", name)
		}
	}
}
