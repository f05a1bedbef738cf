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

// Without a tag a run is of the assembly that its joints were last said to be of, with the same revision.
func TestLastAssembly(t *testing.T) {
	run := func(revision, tag string, joints string) book.Run {
		return book.Run{Leg: "left", Revision: revision, Assembly: tag, Setups: joints}
	}
	const knee, hip, both = `["knee","x"]`, `["hip","x"]`, `["hip","x","knee","x"]`
	for _, c := range []struct {
		name   string
		runs   []book.Run
		joints []string
		want   string
	}{
		{"none", nil, []string{"knee"}, ""},
		{"the last", []book.Run{run("B", "B-1", knee), run("B", "B-2", knee), run("B", "", knee)}, []string{"knee"}, "B-2"},
		{"of another joint", []book.Run{run("B", "B-1", knee), run("B", "B-2", hip)}, []string{"knee"}, "B-1"},
		{"of another revision", []book.Run{run("A", "A-1", knee)}, []string{"knee"}, ""},
		{"both alike", []book.Run{run("B", "B-1", both)}, []string{"knee", "hip"}, "B-1"},
		{"both, and they differ", []book.Run{run("B", "B-1", both), run("B", "B-2", hip)}, []string{"knee", "hip"}, ""},
		{"of another leg", []book.Run{{Leg: "right", Revision: "B", Assembly: "B-1", Setups: knee}}, []string{"knee"}, ""},
	} {
		if got := lastAssembly(c.runs, "left", "B", c.joints); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}
