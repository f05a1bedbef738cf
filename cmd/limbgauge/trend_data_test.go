package main

import (
	"strings"
	"testing"
	"time"

	"limbgauge/analyze/alike"
	"limbgauge/analyze/book"
	"limbgauge/analyze/health"
)

// What begins a stretch of a joint's runs. A run without a tag is of the assembly named last; one that was
// broken off begins nothing.
func TestWhatBeginsAStretch(t *testing.T) {
	for _, c := range []struct{ runs, want string }{ // revision/tag, with ! for one that was broken off
		{"A/a1 A/a1 A/ A/a1", ""},
		{"A/a1 A/a2", "2 assembly a2"},
		{"A/a1 A/! A/a1", ""},
		{"A/a1 A/a2! A/a2", "3 assembly a2"},
		{"A/a1 A/a2! A/", "3 assembly a2"},
		{"A/ A/ A/a1 A/", "3 assembly a1"},
		{"A/a1 B/ B/ B/b1", "2 revision B, 4 assembly b1"},
		{"A/a1 B/! A/a1", ""},
		{"A/a1 B/! A/", ""},
		{"A/a1! A/a1 A/", ""},
	} {
		var past []book.JointPast
		for i, r := range strings.Fields(c.runs) {
			revision, tag, _ := strings.Cut(strings.TrimSuffix(r, "!"), "/")
			past = append(past, book.JointPast{Conditions: alike.Conditions{Routine: "assembly"},
				Run:      book.Run{ID: string(rune('1' + i)), Started: time.Date(2026, 3, 1+i, 0, 0, 0, 0, time.UTC), Revision: revision, Assembly: tag, Whole: !strings.HasSuffix(r, "!")},
				Measures: []health.Measure{health.Of("play", health.Servo, 0.1, 0.01, "")}})
		}
		_, breaks := pointsOf(past)
		var got []string
		for _, b := range breaks {
			got = append(got, string(rune('0'+b.At.Day()))+" "+b.What)
		}
		if got := strings.Join(got, ", "); got != c.want {
			t.Errorf("%s: %q, want %q", c.runs, got, c.want)
		}
	}
}
