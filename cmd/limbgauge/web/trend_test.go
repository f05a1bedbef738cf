package web

import (
	"testing"

	"limbgauge/analyze/report"
)

// Of 10 runs the newest 4 are kept, 7 to 10; a change before run 9 stands before the third of them, one before run 7
// begins with the first that is drawn and marks nothing, one after the last stays after the last.
func TestLatest(t *testing.T) {
	h := report.History{Marks: []report.Mark{{Before: 2, Label: "old"}, {Before: 6, Label: "edge"}, {Before: 8, Label: "in"}, {Before: 10, Label: "end"}}}
	for _, run := range []string{"1", "2", "3", "4", "5", "6", "7", "8", "9", "10"} {
		h.Points = append(h.Points, report.Point{Run: run})
	}
	got := latest(h, 4)
	if len(got.Points) != 4 || got.Points[0].Run != "7" || got.Points[3].Run != "10" {
		t.Errorf("points %v", got.Points)
	}
	if len(got.Marks) != 2 || got.Marks[0] != (report.Mark{Before: 2, Label: "in"}) || got.Marks[1] != (report.Mark{Before: 4, Label: "end"}) {
		t.Errorf("marks %v", got.Marks)
	}
	if h.Marks[0].Before != 2 || len(h.Points) != 10 {
		t.Errorf("the history itself was changed: %v", h.Marks)
	}
}
