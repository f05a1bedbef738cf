//go:build linux

package main

import (
	"bytes"
	"context"
	"strings"
	"testing"
	"time"

	"limbgauge/analyze/book"
	"limbgauge/analyze/book/booktest"
)

// completionTime is how long a completion may take, of a bench of so many runs: what a hand at the
// keyboard does not notice (Card, Moran and Newell 1983: one cycle of perception takes about 100 ms).
const (
	completionTime = 100 * time.Millisecond
	completionRuns = 1000
)

// Names complete within what a hand notices, and a completion leaves the bench as it was.
func TestCompletionIsQuick(t *testing.T) {
	t.Setenv(booktest.DirVariable, "") // the bench kept there is larger
	dir := booktest.Make(t, completionRuns)
	bk, _, err := book.OpenBook(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	if err := bk.Close(); err != nil {
		t.Fatal(err)
	}
	for _, line := range [][]string{{"analyze", ""}, {"compare", "A", ""}, {"problem", "show", ""}, {"sweep", ""}} {
		best := time.Hour // of a few: the machine may be busy
		lines := 0
		for range 5 {
			var out, errs bytes.Buffer
			begin := time.Now()
			if code := run(context.Background(), append([]string{"__complete", "--bench", dir}, line...), strings.NewReader(""), &out, &errs); code != 0 {
				t.Fatalf("%v: exit code %d: %s", line, code, errs.String())
			}
			best, lines = min(best, time.Since(begin)), strings.Count(out.String(), "\n")
		}
		if line[0] == "analyze" && lines != completionRuns+1 {
			t.Errorf("%v: %d lines, want one for each run and the directive", line, lines)
		}
		if best > completionTime {
			t.Errorf("%v takes %v", line, best)
		}
		t.Logf("%v: %v", line, best)
	}
}
