package rig

import (
	"strings"
	"testing"
)

func TestNearest(t *testing.T) {
	joints := []string{"yaw", "hip", "knee"}
	for _, c := range []struct {
		name  string
		known []string
		want  string
	}{
		{"kne", joints, "knee"}, // a letter left out
		{"keen", joints, "knee"},
		{"Knee", joints, "knee"},
		{"hpi", joints, "hip"}, // two swapped
		{"ankle", joints, ""},  // three letters of five
		{"x", joints, ""},
		{"asembly", []string{"assembly", "quick"}, "assembly"},
		{"belt", []string{"friction", "belt_tension"}, "belt_tension"}, // its beginning
		{"Q", []string{"A", "B"}, ""},                                  // any letter is one letter from it
		{"B2", []string{"A", "B"}, "B"},
		{"knee", nil, ""},
	} {
		if got := Nearest(c.name, c.known); got != c.want {
			t.Errorf("%q of %v: %q, want %q", c.name, c.known, got, c.want)
		}
	}
}

func TestNameError(t *testing.T) {
	many := strings.Fields("assembly b c d e f g h i")
	for _, c := range []struct {
		err  NameError
		want string
	}{
		{NameError{What: "joint", Name: "kne", Where: "in bench.toml", Known: []string{"hip", "knee"}}, `there is no joint "kne" in bench.toml; did you mean knee? There are: hip, knee`},
		{NameError{What: "joint", Name: "ankle", Known: []string{"hip", "knee"}}, `there is no joint "ankle"; there are: hip, knee`},
		{NameError{What: "routine", Name: "asembly", Known: many}, `there is no routine "asembly"; did you mean assembly?`},
		{NameError{What: "revision", Name: "C"}, `there is no revision "C"; there is none yet`},
		{NameError{What: "revision", Name: "C", Else: "add it"}, `there is no revision "C"; add it`},
	} {
		if got := c.err.Error(); got != c.want {
			t.Errorf("got  %s\nwant %s", got, c.want)
		}
	}
}
