package report

import (
	"fmt"
	"testing"
)

// Of 160 runs the newest 150 are kept, 11 to 160; a change before run 13 stands before the third of them, one before run 11
// begins with the first that is drawn and marks nothing, one after the last stays after the last.
func TestLatest(t *testing.T) {
	h := History{Marks: []Mark{{Before: 2, Label: "old"}, {Before: 10, Label: "edge"}, {Before: 12, Label: "in"}, {Before: 160, Label: "end"}}}
	for run := range 160 {
		h.Points = append(h.Points, Point{Run: fmt.Sprint(run + 1)})
	}
	got, said := Latest(h)
	if len(got.Points) != 150 || got.Points[0].Run != "11" || got.Points[149].Run != "160" {
		t.Errorf("%d points, the first run %s", len(got.Points), got.Points[0].Run)
	}
	if len(got.Marks) != 2 || got.Marks[0] != (Mark{Before: 2, Label: "in"}) || got.Marks[1] != (Mark{Before: 150, Label: "end"}) {
		t.Errorf("marks %v", got.Marks)
	}
	if said != "The newest 150 of 160 runs are drawn." {
		t.Error(said)
	}
	if h.Marks[0].Before != 2 || len(h.Points) != 160 {
		t.Errorf("the history itself was changed: %v", h.Marks)
	}
	h.Points = h.Points[:150]
	if got, said := Latest(h); len(got.Points) != 150 || len(got.Marks) != 4 || said != "" {
		t.Errorf("of 150 runs %d are drawn: %q", len(got.Points), said)
	}
}

// A run that later ones follow is named where the courses show them too.
func TestCoursesOfAnEarlierRunAreNotSoFar(t *testing.T) {
	hs := []History{{Points: []Point{{Run: "0013"}, {Run: "0014"}, {Run: "0015"}}}}
	for run, want := range map[string]string{"0014": "Over all runs; this is 0014", "0015": "Over the runs so far", "0020": "Over the runs so far"} {
		if got := coursesTitle(hs, run); got != want {
			t.Errorf("run %s: %q, want %q", run, got, want)
		}
	}
}
