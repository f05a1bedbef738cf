package virtual

import (
	"testing"
	"time"

	"limbgauge/rig"
)

// knee is the joint of the examples: what bench.toml says of it.
func knee() rig.Joint {
	return rig.Joint{Name: "knee", RangeDeg: [2]float64{-75, 75}, CurrentMaxA: 2.5,
		Load: &rig.Load{MassKg: 0.25, LeverM: 0.11, InertiaKgM2: 0.0036},
		Servo: rig.Servo{Rated: []rig.Rating{{Volts: 5, StallNm: 1.2, NoLoadDegPerS: 350, StallA: 2},
			{Volts: 6, StallNm: 1.4, NoLoadDegPerS: 420, StallA: 2.4}},
			IdleA: 0.12, TravelDeg: 180, PulseUS: [2]int{500, 2500}, DeadbandUS: 3},
		Belt:    &rig.Belt{Teeth: 20, PitchMM: 2, Ratio: 1},
		Sensors: rig.Sensors{JointCounts: 4096, MotorCounts: 4096},
	}
}

// standard is a routine of the usual pieces: stairs both ways, ramps, steps, a hold. 168 s.
func standard() rig.Routine {
	r := rig.Routine{Name: "standard"}
	add := func(k rig.MoveKind, target, rate float64, dwell time.Duration) {
		r.Moves = append(r.Moves, rig.Move{Kind: k, TargetDeg: target, RateDegPerS: rate, Dwell: dwell})
	}
	const ms = time.Millisecond
	add(rig.MoveSettle, 0, 30, 1500*ms)
	add(rig.MoveTurn, -64, 60, 800*ms)
	for range 5 {
		for a := -60.0; a <= 60; a += 15 {
			add(rig.MoveStair, a, 60, 600*ms)
		}
		add(rig.MoveTurn, 64, 60, 400*ms)
		for a := 60.0; a >= -60; a -= 15 {
			add(rig.MoveStair, a, 60, 600*ms)
		}
		add(rig.MoveTurn, -64, 60, 400*ms)
	}
	for _, rate := range []float64{15, 30, 60} {
		for range 2 {
			add(rig.MoveRamp, 64, rate, 200*ms)
			add(rig.MoveRamp, -64, rate, 200*ms)
		}
	}
	add(rig.MoveSettle, 0, 60, 1000*ms)
	for range 3 {
		add(rig.MoveStep, 18, 0, 1200*ms)
		add(rig.MoveStep, -18, 0, 1200*ms)
	}
	add(rig.MoveSettle, 0, 60, 1000*ms)
	add(rig.MoveHold, 65, 60, 20*time.Second)
	add(rig.MoveSettle, 0, 60, 1000*ms)
	return r
}

func play(t testing.TB, truth Truth, r rig.Routine) *rig.Series {
	t.Helper()
	j := truth.Bench(knee())
	out, err := Play(NewWorld([]Truth{truth}), []rig.Joint{j}, []rig.Routine{r}, 250)
	if err != nil {
		t.Fatal(err)
	}
	return rig.SeriesOf(j.Name, out[0])
}
