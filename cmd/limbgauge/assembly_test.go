package main

import (
	"testing"

	"limbgauge/analyze/book"
)

func TestNextAssembly(t *testing.T) {
	tagged := func(tags ...string) (out []book.Run) {
		for _, tag := range tags {
			out = append(out, book.Run{Assembly: tag})
		}
		return out
	}
	for _, c := range []struct {
		runs           []book.Run
		revision, want string
	}{
		{nil, "B", "B-1"},
		{nil, "", "assembly-1"},
		{tagged("A-4", "", "B-1", "B-1", "first"), "B", "B-2"},
		{tagged("B-9", "B-10", "B-x", "B--3"), "B", "B-11"},
		{tagged("B-2-7"), "B-2", "B-2-8"},
		{tagged("B-2-7"), "B", "B-1"},
	} {
		if got := nextAssembly(c.runs, c.revision); got != c.want {
			t.Errorf("after %v of %q: %s, want %s", c.runs, c.revision, got, c.want)
		}
	}
}
