package rig_test

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"limbgauge/rig"
)

func TestGaitStaysInRangeAndKeepsTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		j := anyJoint(t)
		knots := rig.DefaultGait(j)
		cycle := rig.FastestGait(j, knots) + time.Duration(rapid.IntRange(50, 3000).Draw(t, "ms"))*time.Millisecond
		n := rapid.IntRange(1, 50).Draw(t, "cycles")
		r, err := rig.GaitRoutine(j, knots, cycle, n)
		if err != nil {
			t.Fatal(err)
		}
		if m := r.Moves[0]; m.Kind != rig.MoveSettle || m.RateDegPerS > 30 {
			t.Fatalf("begins with %+v", m)
		}
		gait := rig.Routine{Moves: r.Moves[1 : len(r.Moves)-1]}
		want := time.Duration(n) * cycle
		if d := gait.Duration(r.Moves[0].TargetDeg); (d - want).Abs() > time.Duration(n)*time.Millisecond {
			t.Fatalf("%d cycles take %v, want %v", n, d, want)
		}
		for i, m := range gait.Moves {
			if m.RateDegPerS <= 0 || m.Dwell < 0 {
				t.Fatalf("move %d: %+v", i+1, m)
			}
		}
		// Cycles are counted from the segment under way: those that are wholly done.
		per := len(knots) - 1
		for done := range n + 1 {
			if got := rig.GaitCycles(2+done*per, per, n); got != done {
				t.Fatalf("%d cycles at segment %d, want %d", got, 2+done*per, done)
			}
			if got := rig.GaitCycles(1+done*per, per, n); got != max(0, done-1) {
				t.Fatalf("%d cycles at segment %d, want %d", got, 1+done*per, done-1)
			}
		}
	})
}

// A servo of 420 deg/s may be asked for 70 % of it, 294 deg/s.
func TestFastestGait(t *testing.T) {
	j := rig.DefaultJoint(0)
	j.RangeDeg = [2]float64{-50, 50}
	j.Servo.Rated = []rig.Rating{{Volts: 6, StallNm: 1, NoLoadDegPerS: 420, StallA: 2}}
	knots := []rig.Knot{{At: 0, Deg: 0}, {At: 0.25, Deg: 29.4}, {At: 1, Deg: 0}}
	if got := rig.FastestGait(j, knots); got != 400*time.Millisecond {
		t.Errorf("%v, want 400 ms: 29.4 deg at 294 deg/s is 0.1 s, a quarter of the cycle", got)
	}
	if _, err := rig.GaitRoutine(j, knots, 399*time.Millisecond, 1); err == nil {
		t.Error("a cycle quicker than the servo was accepted")
	}
	for _, bad := range [][]rig.Knot{nil, {{At: 0}, {At: 1}}, {{At: 0}, {At: 0.5, Deg: 1}, {At: 1, Deg: 3}}, {{At: 0}, {At: 0, Deg: 1}, {At: 1}}, {{At: 0.1}, {At: 0.5}, {At: 1}}} {
		if _, err := rig.GaitRoutine(j, bad, time.Second, 1); err == nil {
			t.Errorf("%v was accepted", bad)
		}
	}
	if _, err := rig.GaitRoutine(j, knots, time.Second, 40000); err == nil {
		t.Error("more moves than the stand numbers were accepted")
	}
	knots[1].Deg = 80
	if _, err := rig.GaitRoutine(j, knots, 10*time.Second, 1); err != nil {
		t.Errorf("a knot outside the range is cut off at its end: %v", err)
	}
	if d := math.Abs(rig.DefaultGait(j)[4].Deg - 25); d > 1e-9 {
		t.Errorf("the default gait reaches %v off the quarter of the range", d)
	}
}
