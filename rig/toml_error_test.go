package rig

import "testing"

func TestEditDistance(t *testing.T) {
	for _, test := range []struct {
		a, b string
		want int
		from string
	}{
		{"", "abc", 3, "definition"},
		{"kitten", "sitting", 3, "Levenshtein's usual example"},
		{"ca", "abc", 3, "optimal string alignment: a swap may not be edited again"},
		{"teeht", "teeth", 1, "definition: one swap"},
	} {
		if got := editDistance(test.a, test.b); got != test.want {
			t.Errorf("%q to %q: %d, want %d (%s)", test.a, test.b, got, test.want, test.from)
		}
	}
}
