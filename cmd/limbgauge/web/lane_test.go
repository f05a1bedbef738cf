package web

import (
	"encoding/xml"
	"errors"
	"io"
	"reflect"
	"strings"
	"testing"
	"time"

	"limbgauge/analyze/book"
)

// A problem that opened in run 2 of 6, was answered before run 4, came back there, was answered by a
// revision before run 5 and cured by it.
func TestLaneFollowsTheLife(t *testing.T) {
	day := func(n int) time.Time { return time.Date(2026, 9, n, 12, 0, 0, 0, time.UTC) }
	var runs []book.Run
	for i, rev := range []string{"A", "A", "A", "A", `B<b>"`, `B<b>"`} {
		runs = append(runs, book.Run{ID: "000" + string(rune('1'+i)), Started: day(2 * (i + 1)), Revision: rev, Setups: `["knee","x"]`})
	}
	runs[5].Setups = `["hip","x"]`
	p := book.Problem{Joint: "knee", Shows: []string{"0002", "0004"}, ClosedBy: "run 0005", Changes: []book.Change{
		{When: day(4), State: book.Open, By: "run 0002"},
		{When: day(7), State: book.Answered, By: "service 1"},
		{When: day(8), State: book.Returned, By: "run 0004"},
		{When: day(9), State: book.Answered, By: "revision B"},
		{When: day(10), State: book.Cured, By: "run 0005"},
	}}
	want := []stay{{book.Open, 1, 2.5}, {book.Answered, 2.5, 3}, {book.Returned, 3, 3.5}, {book.Answered, 3.5, 4}}
	if got := stays(p, runs); !reflect.DeepEqual(got, want) {
		t.Errorf("stays are %v, want %v", got, want)
	}
	svg := string(lane(p, runs))
	for mark, n := range map[string]int{"n-shows": 2, "n-cured": 1, "n-run": 2, `class="n-revision"`: 1, "<b>": 0} {
		if got := strings.Count(svg, mark); got != n {
			t.Errorf("%d times %s, want %d", got, mark, n)
		}
	}
	for d := xml.NewDecoder(strings.NewReader(svg)); ; {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatalf("not well formed: %v\n%s", err, svg)
		}
	}
	if lane(p, nil) != "" {
		t.Error("drawn without a run")
	}
	// What happened before the runs that are shown begins at the left edge.
	if got := stays(p, runs[2:]); !reflect.DeepEqual(got[0], stay{book.Open, -0.5, 0.5}) {
		t.Errorf("opened before the first run shown: %v", got[0])
	}
}
