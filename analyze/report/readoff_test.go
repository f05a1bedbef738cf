package report

import (
	"fmt"
	"regexp"
	"strings"
	"testing"

	"limbgauge/analyze/health"
)

// Runs stand at even distances, their values where their marks are, and say what they are; a run that did not see the
// measure has no place, and a bar in a name does not make two runs of one.
func TestHistoryIsReadOff(t *testing.T) {
	h := History{Joint: "knee", Measure: "play", Path: health.Servo, Limit: 1}
	for i, v := range []float64{0.2, 0.4, 0.8} {
		m := health.Of("play", health.Servo, v, 0, "made")
		h.Points = append(h.Points, Point{Run: fmt.Sprintf("r|%d", i+1), Measure: m})
	}
	h.Points = append(h.Points, Point{Run: "4", Measure: health.Unseen("play", health.Servo, "made", "no load")})
	svg, err := HistorySVG(h, Size{})
	if err != nil {
		t.Fatal(err)
	}
	got := regexp.MustCompile(`data-stops="([^"]*)"`).FindSubmatch(svg)
	if got == nil {
		t.Fatalf("nothing to read off in %.300s", svg)
	}
	stops := strings.Split(string(got[1]), "|")
	if len(stops) != 4 {
		t.Fatalf("%d stops: %q", len(stops), stops)
	}
	// The diamond of a value begins at its upper corner, as the legend's does.
	var marks [][2]float64
	x, y := 0.0, 0.0
	paths := regexp.MustCompile(`<path class="f-value"[^>]* d="([^"]*)"`).FindAllSubmatch(svg, -1)
	for _, m := range regexp.MustCompile(`m(-?[\d.]+) ?(-?[\d.]+)`).FindAllStringSubmatch(string(paths[len(paths)-1][1]), -1) {
		var dx, dy float64
		if _, err := fmt.Sscan(m[1]+" "+m[2], &dx, &dy); err != nil {
			t.Fatal(err)
		}
		x, y = x+dx, y+dy
		marks = append(marks, [2]float64{x, y + markSize + 0.8})
	}
	if len(marks) != 3 {
		t.Fatalf("%d marks: %v", len(marks), marks)
	}
	for i, want := range []string{"run r/1: 0.200 deg", "run r/2: 0.400 deg", "run r/3: 0.800 deg"} {
		var sx, sy float64
		if _, err := fmt.Sscan(stops[i], &sx, &sy); err != nil {
			t.Fatal(err)
		}
		if !strings.HasSuffix(stops[i], want) || abs(sx-marks[i][0]) > 0.2 || abs(sy-marks[i][1]) > 0.2 {
			t.Errorf("%q, want %q at %.1f", stops[i], want, marks[i])
		}
	}
	if !strings.HasSuffix(stops[3], " - run 4: not seen") {
		t.Errorf("%q", stops[3])
	}
}

func abs(v float64) float64 { return max(v, -v) }
