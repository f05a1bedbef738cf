package web

import (
	"slices"
	"strings"
	"testing"
	"time"

	"limbgauge/analyze/alike"
	"limbgauge/analyze/health"
	"limbgauge/analyze/trend"
)

// A run of another routine is drawn in its place as one that does not count, and named among those left out.
func TestOtherRoutinesAreNamed(t *testing.T) {
	s := trend.Series{Name: "play", Path: health.Servo}
	for i, routine := range []string{"assembly", "check", "assembly", "quick"} {
		s.Points = append(s.Points, trend.Point{Run: "000" + string(rune('1'+i)), Started: time.Date(2026, 3, 1+i, 0, 0, 0, 0, time.UTC),
			At: &alike.Conditions{Routine: routine}, Measure: health.Of("play", health.Servo, 0.1, 0.01, "")})
	}
	v, err := courseOf("knee", trend.Joint([]trend.Series{s}, nil, trend.Options{})[0])
	if err != nil {
		t.Fatal(err)
	}
	if want := []string{"run 0002: its routine is check, not assembly", "run 0004: its routine is quick, not assembly"}; !slices.Equal(v.Left, want) {
		t.Errorf("left out: %q, want %q", v.Left, want)
	}
	at := -1
	for _, run := range []string{"0001", "0002", "0003", "0004"} {
		i := strings.Index(string(v.Drawing), "run "+run+":")
		if i <= at {
			t.Errorf("run %s is not in its place", run)
		}
		at = i
	}
}
