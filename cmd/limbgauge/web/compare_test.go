package web

import (
	"testing"

	"limbgauge/analyze/book"
)

// The page opens with two revisions that a joint was run with, the newest first.
func TestPairOfRevisions(t *testing.T) {
	rev := func(name, parent string) book.Revision { return book.Revision{Name: name, Parent: parent} }
	loose := []book.Revision{rev("A", ""), rev("B", "")}
	long := []book.Revision{rev("A", ""), rev("B", ""), rev("C", "A"), rev("D", "C")}
	knee, hip := []string{"knee"}, []string{"hip"}
	for _, c := range []struct {
		name   string
		revs   []book.Revision
		joints map[string][]string
		a, b   string
		want   string
	}{
		{"without a parent", loose, map[string][]string{"A": knee, "B": knee}, "", "", "A B"},
		{"against the one it came from", long[:3], map[string][]string{"A": knee, "B": knee, "C": knee}, "", "", "A C"},
		{"the newest without runs", long, map[string][]string{"A": knee, "B": knee, "C": knee}, "", "", "A C"},
		{"the parent without runs", long[:3], map[string][]string{"B": knee, "C": knee}, "", "", "B C"},
		{"no joint in common", loose, map[string][]string{"A": knee, "B": hip}, "", "", "A B"},
		{"only one", loose[:1], map[string][]string{"A": knee}, "", "", " "},
		{"asked for", long, map[string][]string{"A": knee, "B": knee}, "D", "B", "D B"},
		{"asked for in part", long, map[string][]string{"A": knee, "B": knee}, "", "B", "A B"},
		{"asked for in part, the newest", loose, map[string][]string{"A": knee, "B": knee}, "B", "", "B A"},
		{"one with itself", loose, map[string][]string{"A": knee}, "A", "A", "A A"},
	} {
		if a, b := pairOf(c.revs, c.joints, c.a, c.b); a+" "+b != c.want {
			t.Errorf("%s: %s %s, want %s", c.name, a, b, c.want)
		}
	}
}
