package drive

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// shared opens a file of the data that lies beside the repository; the test is skipped where it is
// not there, and fails instead when everything is required.
func shared(t *testing.T, path string) [][]string {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			break
		}
		up := filepath.Dir(dir)
		if up == dir {
			t.Fatal("no go.mod above the test")
		}
		dir = up
	}
	f, err := os.Open(filepath.Join(dir, "..", "shared", "refdata", path))
	if err != nil {
		if os.Getenv("LIMBGAUGE_REQUIRE_ALL") == "1" {
			t.Fatal(err)
		}
		t.Skip(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatalf("%s: %d rows, %v", path, len(rows), err)
	}
	return rows[1:]
}

func num(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

type servoRun struct {
	load, run         int
	time, angle, amps []float64
}

// servoRuns reads the real servo's runs; angle in whole degrees, truncated toward zero, and current
// by the conversions of the author's own script.
func servoRuns(t *testing.T) []*servoRun {
	var runs []*servoRun
	for _, r := range shared(t, "hobby_servo_load/servo_runs.csv") {
		load, run := int(num(t, r[0])), int(num(t, r[1]))
		if len(runs) == 0 || runs[len(runs)-1].load != load || runs[len(runs)-1].run != run {
			runs = append(runs, &servoRun{load: load, run: run})
		}
		s := runs[len(runs)-1]
		s.time = append(s.time, num(t, r[2])/1000)
		s.angle = append(s.angle, math.Trunc((180-(num(t, r[3])-56)/2.95)/1.176))
		s.amps = append(s.amps, 0.025909*num(t, r[4])-13.2434742)
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
	for _, ref := range shared(t, "hobby_servo_load/reference.csv") {
		load, run := int(num(t, ref[1])), int(num(t, ref[0]))
		r := runs[[2]int{load, run}]
		f, err := Steady(r.time, r.angle, r.amps, 0.2)
		if err != nil {
			t.Fatalf("%d g, run %d: %v", load, run, err)
		}
		speed, current := num(t, ref[4]), num(t, ref[5])
		if run == 4 && (load == 125 || load == 150 || load == 175) {
			speed, current = num(t, ref[7]), num(t, ref[8])
			slips++
		}
		where := fmt.Sprintf("%d g, run %d: ", load, run)
		if f.N != int(num(t, ref[3])) {
			t.Errorf("%s%d steady samples, the sheet has %s", where, f.N, ref[3])
		}
		near(t, where+"speed, deg/ms", f.Speed.Value/1000, speed, 1e-4, "published sheet")
		near(t, where+"mean current", f.Current.Value, current, 1e-4, "published sheet")
		near(t, where+"its standard error", f.Current.U, num(t, ref[6]), 1e-6, "published sheet")
		rows++
	}
	if rows != 105 || slips != 3 {
		t.Errorf("%d rows and %d slips were compared, want 105 and 3", rows, slips)
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

func near(t *testing.T, name string, got, want, tol float64, from string) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.8g, want %.8g ± %g (%s)", name, got, want, tol, from)
	}
}
