package drive

import (
	"fmt"
	"math"
	"testing"

	"limbgauge/analyze/internal/ref"
	"limbgauge/analyze/stats"
)

type servoRun struct {
	load, run         int
	time, angle, amps []float64
}

// servoRuns reads the real servo's runs; angle in whole degrees, truncated toward zero, and current
// by the conversions of the author's own script.
func servoRuns(t *testing.T) []*servoRun {
	var runs []*servoRun
	for _, r := range ref.Rows(t, ref.Shared(t, "hobby_servo_load/servo_runs.csv")) {
		load, run := int(ref.Num(t, r[0])), int(ref.Num(t, r[1]))
		if len(runs) == 0 || runs[len(runs)-1].load != load || runs[len(runs)-1].run != run {
			runs = append(runs, &servoRun{load: load, run: run})
		}
		s := runs[len(runs)-1]
		s.time = append(s.time, ref.Num(t, r[2])/1000)
		s.angle = append(s.angle, math.Trunc((180-(ref.Num(t, r[3])-56)/2.95)/1.176))
		s.amps = append(s.amps, 0.025909*ref.Num(t, r[4])-13.2434742)
	}
	return runs
}

// Speed and current of all runs against the sheet published with the data (Pfrommer 2015). Three
// rows of that sheet repeat the row above (a copying slip); there the recomputed values hold.
func TestServoRunsAgainstPublishedSheet(t *testing.T) {
	runs := map[[2]int]*servoRun{}
	for _, r := range servoRuns(t) {
		runs[[2]int{r.load, r.run}] = r
	}
	rows, slips := 0, 0
	for _, row := range ref.Rows(t, ref.Shared(t, "hobby_servo_load/reference.csv")) {
		load, run := int(ref.Num(t, row[1])), int(ref.Num(t, row[0]))
		r := runs[[2]int{load, run}]
		f, err := Steady(r.time, r.angle, r.amps, 0.2)
		if err != nil {
			t.Fatalf("%d g, run %d: %v", load, run, err)
		}
		speed, current := ref.Num(t, row[4]), ref.Num(t, row[5])
		if run == 4 && (load == 125 || load == 150 || load == 175) {
			speed, current = ref.Num(t, row[7]), ref.Num(t, row[8])
			slips++
		}
		where := fmt.Sprintf("%d g, run %d: ", load, run)
		if f.N != int(ref.Num(t, row[3])) {
			t.Errorf("%s%d steady samples, the sheet has %s", where, f.N, row[3])
		}
		ref.Near(t, where+"speed, deg/ms", f.Speed.Value/1000, speed, 1e-4, "published sheet")
		ref.Near(t, where+"mean current", f.Current.Value, current, 1e-4, "published sheet")
		ref.Near(t, where+"its standard error", f.Current.U, ref.Num(t, row[6]), 1e-6, "published sheet")
		rows++
	}
	if rows != 105 || slips != 3 {
		t.Errorf("%d rows and %d slips were compared, want 105 and 3", rows, slips)
	}
}

// lifts returns load torque, N·m, speed and mean current of the runs of that number, at steady speed.
func lifts(t *testing.T, number int) (torque, speed, amps []float64) {
	for _, r := range servoRuns(t) {
		if f, err := Steady(r.time, r.angle, r.amps, 0.2); r.run == number && err == nil {
			kgcm := float64(r.load) / 100
			torque, speed, amps = append(torque, kgcm*KgCm), append(speed, f.Speed.Value), append(amps, f.Current.Value)
		}
	}
	return torque, speed, amps
}

// Lifting, the real servo's current grows with the load; lowering slowly it does not, since gears and
// driver carry the load then (the paper's finding: no relation when lowering). So a run of lowering
// tells no friction from load, and the two directions are never simply halved.
func TestServoFrictionDiffersByDirection(t *testing.T) {
	torque, _, up := lifts(t, 0)
	_, _, down := lifts(t, 5)
	n := len(down)
	lifting, err := stats.FitLine(torque, up)
	if err != nil {
		t.Fatal(err)
	}
	lowering, err := stats.FitLine(torque[:n], down)
	if err != nil {
		t.Fatal(err)
	}
	// The README's straight line through run 0: 0.147827 A per kg·cm.
	ref.Near(t, "A/N·m when lifting", lifting.Slope.Value, .147827/KgCm, .002/KgCm, "line through the published points")
	if !lifting.Slope.Excludes(0) || math.Abs(lowering.Slope.Value) > .1*lifting.Slope.Value {
		t.Errorf("lifting %.2f ± %.2f A/N·m, lowering %.2f ± %.2f", lifting.Slope.Value, lifting.Slope.Expanded(), lowering.Slope.Value, lowering.Slope.Expanded())
	}
	for i := range down {
		if up[i] <= down[i] {
			t.Errorf("%.2f N·m: %.2f A up, %.2f A down", torque[i], up[i], down[i])
		}
	}
}

// At full voltage torque share and speed share add up to one, so that both laws ask the same supply
// current: the full-speed lifts cannot tell the law, and with the rated lines they do not contradict
// either. The lines are those of servoRating; the sum is 1 for an ideal motor.
func TestServoLiftsFitEitherLaw(t *testing.T) {
	torque, speed, amps := lifts(t, 0)
	for i := range torque {
		tau, n := torque[i]/servoRating.StallNm, speed[i]/servoRating.NoLoadDegPerS
		ref.Near(t, "share of torque and of speed", tau+n, 1, .15, "torque-speed line")
		motor, duty := SupplyFraction(LawMotor, tau, n), SupplyFraction(LawDuty, tau, n)
		ref.Near(t, "both laws", duty, motor, .15*motor, "τ(τ + n) = τ where τ + n = 1")
		idle := .28 // no load, run 0
		if got := (amps[i] - idle) / (servoRating.StallA - idle); got > duty+.05 || got < .5*motor-.05 {
			t.Errorf("%.2f N·m: share %.2f of the current, laws %.2f and %.2f", torque[i], got, motor, duty)
		}
	}
}

// servoRating is what the published sheet says of the servo at 7.15 V: its quadratics through the
// lifting runs, extended to zero speed (12.56 kg·cm) and read there (2.81 A) and at no load.
var servoRating = Rating{Volts: 7.15, StallNm: 12.56 * KgCm, NoLoadDegPerS: 379.7, StallA: 2.81}

// One of the 106 runs stalled: 750 g, run 2. It was recorded for 122 ms only. The angle commanded
// was not logged, so the end of the travel stands for it.
func TestServoStall(t *testing.T) {
	runs := servoRuns(t)
	found := 0
	for _, r := range runs {
		command := make([]float64, len(r.time))
		for i := range command {
			if r.run%2 == 0 {
				command[i] = 153
			}
		}
		// 4 µs of dead band at this servo's scale is half a degree; the angle is in whole degrees.
		stalls, err := FindStalls(StallInput{Time: r.time, Command: command, Angle: r.angle, Current: r.amps},
			DefaultStallRule([]Rating{servoRating}, 1))
		if err != nil {
			t.Fatal(err)
		}
		if want := r.load == 750 && r.run == 2; (len(stalls) == 1) != want {
			t.Errorf("%d g, run %d: stalls %+v", r.load, r.run, stalls)
		}
		for _, s := range stalls {
			found++
			if !s.CutShort || s.CurrentA < 1.9 || s.CurrentA > 2.3 {
				t.Errorf("stall %+v, want one cut short by the end of the record at about 2 A", s)
			}
		}
	}
	if found != 1 || len(runs) != 106 {
		t.Errorf("%d stalls in %d runs, want 1 in 106", found, len(runs))
	}
}
