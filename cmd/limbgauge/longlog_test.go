//go:build linux

package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"limbgauge/analyze/health"
	"limbgauge/rig"
	"limbgauge/rig/record"
	"limbgauge/rig/virtual"
)

// The long log: three joints at 1 kHz that play the assembly routine over and over on
// the virtual stand. LIMBGAUGE_BENCH_MINUTES sets its length, 60 for the hour that figures are quoted
// for; LIMBGAUGE_BENCH_DIR keeps the run between calls, as making an hour takes minutes.
const (
	longHz       = 1000.0
	longMinutes  = 3.0
	benchMinutes = "LIMBGAUGE_BENCH_MINUTES"
	benchDir     = "LIMBGAUGE_BENCH_DIR"
	requireAll   = "LIMBGAUGE_REQUIRE_ALL"
	oraclePython = "/usr/bin/python3" // the one that has the system's NumPy and SciPy
	oracleScript = "../../testdata/oracle/longlog/longlog.py"
)

// longRun returns the folder of a sealed run of the length asked for.
func longRun(b testing.TB) string {
	b.Helper()
	minutes := longMinutes
	if v := os.Getenv(benchMinutes); v != "" {
		var err error
		if minutes, err = strconv.ParseFloat(v, 64); err != nil || !(minutes > 0) {
			b.Fatalf("%s=%q is no number of minutes", benchMinutes, v)
		}
	}
	dir := b.TempDir()
	if v := os.Getenv(benchDir); v != "" {
		dir = filepath.Join(v, fmt.Sprintf("%g-minutes", minutes))
		if _, err := os.Stat(filepath.Join(dir, "done")); err == nil {
			return record.RunDir(dir, "0001")
		}
		if err := os.RemoveAll(dir); err != nil {
			b.Fatal(err)
		}
		if err := os.MkdirAll(dir, 0o755); err != nil {
			b.Fatal(err)
		}
	}
	run, err := makeLongRun(dir, time.Duration(minutes*float64(time.Minute)))
	if err != nil {
		b.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "done"), nil, 0o644); err != nil {
		b.Fatal(err)
	}
	return run
}

// makeLongRun plays the assembly routine with all joints at once until the time is over.
func makeLongRun(dir string, long time.Duration) (string, error) {
	joints := longLeg()
	info := record.Info{Leg: "fore-left", Revision: "A", Routine: "assembly", Stand: record.Stand{Port: "virtual", SampleHz: longHz}}
	var truths []virtual.Truth
	var routines []rig.Routine
	for i, j := range joints {
		t := virtual.Healthy(j, uint64(i+1))
		joints[i] = t.Bench(j)
		one, err := rig.BuiltinRoutine("assembly", joints[i])
		if err != nil {
			return "", err
		}
		r := rig.Routine{Name: "assembly"}
		for ; r.Duration(0) < long; r.Moves = append(r.Moves, one.Moves...) {
		}
		for r.Duration(0) > long { // to the nearest move
			r.Moves = r.Moves[:len(r.Moves)-1]
		}
		truths, routines = append(truths, t), append(routines, r)
		info.Joints = append(info.Joints, record.JointInfo{Setup: joints[i], Moves: r.Moves})
	}
	batches, err := virtual.Play(virtual.NewWorld(truths), joints, routines, longHz)
	if err != nil {
		return "", err
	}
	rec, err := record.Create(dir, info)
	if err != nil {
		return "", err
	}
	for _, batch := range batches {
		if err := rec.Append(batch); err != nil {
			return "", err
		}
	}
	if err := rec.Close(record.End{How: record.Complete}, nil); err != nil {
		return "", err
	}
	_, err = record.Seal(rec.Dir())
	return rec.Dir(), err
}

// longLeg describes a hip without belt, a knee and a foot with one; each has a motor-side angle, so
// that every measure is made of every path.
func longLeg() []rig.Joint {
	var out []rig.Joint
	for i, name := range []string{"hip", "knee", "foot"} {
		j := rig.DefaultJoint(i)
		j.Name, j.RangeDeg = name, [2]float64{-75, 75}
		j.Load = &rig.Load{MassKg: 0.25, LeverM: 0.11, InertiaKgM2: 0.0036}
		j.Servo.Rated = []rig.Rating{{Volts: 5, StallNm: 1.2, NoLoadDegPerS: 350, StallA: 2}, {Volts: 6, StallNm: 1.4, NoLoadDegPerS: 420, StallA: 2.4}}
		j.Servo.IdleA, j.Servo.DeadbandUS = 0.12, 3
		j.Sensors = rig.Sensors{JointCounts: 4096, MotorCounts: 4096}
		if i > 0 {
			j.Belt = &rig.Belt{Teeth: 20, PitchMM: 2, Ratio: 1}
		}
		out = append(out, j)
	}
	return out
}

// oracle is what the script says of the same run.
type oracle struct {
	ReadS      float64                            `json:"read_s"`
	ReadCPU    float64                            `json:"read_cpu_s"`
	ComputeS   float64                            `json:"compute_s"`
	ComputeCPU float64                            `json:"compute_cpu_s"`
	PeakMB     float64                            `json:"peak_mb"`
	Joints     map[string]map[string]oracleFigure `json:"joints"`
}

// oracleFigure is a figure with its expanded uncertainty.
type oracleFigure [2]float64

// askOracle runs the script on a sealed run. The test is skipped where its tools are not, unless
// everything is required.
func askOracle(t testing.TB, run string) oracle {
	t.Helper()
	if out, err := exec.Command(oraclePython, "-c", "import numpy, scipy, zstandard").CombinedOutput(); err != nil {
		if os.Getenv(requireAll) == "1" {
			t.Fatalf("the script's tools are not here: %v: %s", err, out)
		}
		t.Skipf("the script's tools are not here: %v", err)
	}
	cmd := exec.Command(oraclePython, oracleScript, run)
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	var o oracle
	if err := json.Unmarshal(out, &o); err != nil {
		t.Fatal(err)
	}
	return o
}

// judgeRun does what "limbgauge analyze" does to a sealed run, from opening it to the health of every
// joint.
func judgeRun(t testing.TB, run string) (health.Health, int) {
	t.Helper()
	r, err := record.Open(run)
	if err != nil {
		t.Fatal(err)
	}
	a := &app{out: io.Discard, err: io.Discard, bench: filepath.Dir(filepath.Dir(run)), now: time.Now}
	h, err := a.judge(t.Context(), r, "")
	if err != nil {
		t.Fatal(err)
	}
	return h, r.Info.Samples()
}

// Our figures are those of a script that shares nothing with us but the run and the definitions.
func TestLongLogAgreesWithNumPy(t *testing.T) {
	if testing.Short() {
		t.Skip("plays three minutes of three joints at 1 kHz")
	}
	run := longRun(t)
	agree(t, run, askOracle(t, run))
}

// agreement is how far a figure may lie from the script's: a share of it, or an amount.
var agreement = map[string]struct{ share, amount float64 }{
	// The same definition: only rounding differs.
	"reversal_error": {1e-9, 1e-9}, "mean_reversal": {1e-9, 1e-9}, "repeatability": {1e-9, 1e-9},
	"systematic_deviation": {1e-9, 1e-9}, "accuracy": {1e-9, 1e-9}, "pose_repeatability": {1e-9, 1e-9},
	"load_torque_peak": {1e-6, 0}, "supply_sag": {1e-6, 0}, "stall_time": {0, 1e-9}, "lost_samples": {0, 1e-9},
	"creep": {0, 1e-6},
	// The same model, but each searches its own way, or reads a swing over other windows.
	"friction": {5e-2, 0}, "torque_use": {5e-3, 0},
	"dead_time": {1e-3, 0}, "rise_time": {1e-3, 0}, "overshoot": {2e-2, 0}, "settle_time": {0, 5e-3}, "peak_speed": {1e-2, 0},
	// The script's loop is the plain one of dead zone, slope, friction and even form; ours has creep's lag and
	// the form's second harmonic as well, and leaves out where flanks change.
	"compliance": {3e-2, 0}, "play": {0, 1e-2},
	"natural_frequency": {6e-2, 0}, "damping_ratio": {0, 0.02},
}

func agree(t *testing.T, run string, o oracle) {
	h, _ := judgeRun(t, run)
	compared := map[string]bool{}
	for _, j := range h.Joints {
		for _, m := range j.Measures {
			want, ok := o.Joints[j.Joint][m.Name+" "+string(m.Path)]
			tol, known := agreement[m.Name]
			if !ok || !known || m.Status != health.Measured && m.Status != health.BoundLow {
				continue
			}
			compared[m.Name] = true
			if off := math.Abs(m.Value - want[0]); !(off <= tol.share*math.Abs(want[0])+tol.amount) {
				t.Errorf("%s: %s (%s) is %.10g %s, NumPy says %.10g", j.Joint, m.Name, m.Path, m.Value, m.Unit, want[0])
			}
		}
		if got := o.Joints[j.Joint]["offset_step transmission"]; got[0] != 0 {
			t.Errorf("%s: NumPy sees a step of %.3f deg where none was put in", j.Joint, got[0])
		}
	}
	for name := range agreement {
		if !compared[name] {
			t.Errorf("%s was not compared", name)
		}
	}
}

// BenchmarkLongLog times the whole analysis of a sealed run beside the script that computes the same
// measures from the same file. Both work for one process each; the machine's load weighs on wall time,
// so the time of the processors is told as well.
func BenchmarkLongLog(b *testing.B) {
	run := longRun(b)
	n := 0
	b.ReportAllocs()
	before := cpuSeconds(b)
	for b.Loop() {
		_, n = judgeRun(b, run)
	}
	ours, cpu := b.Elapsed().Seconds()/float64(b.N), (cpuSeconds(b)-before)/float64(b.N)
	read, readCPU := readSeconds(b, run)
	b.ReportMetric(float64(n)/ours, "samples/s")
	b.ReportMetric(cpu, "cpu-s/op")
	b.ReportMetric(read, "read-s/op")
	b.ReportMetric(commandPeakMB(b, run), "peak-MB")
	o := askOracle(b, run)
	b.ReportMetric(o.ReadS, "numpy-read-s")
	b.ReportMetric(o.ComputeS, "numpy-compute-s")
	b.ReportMetric(o.ReadCPU+o.ComputeCPU, "numpy-cpu-s")
	b.ReportMetric(o.PeakMB, "numpy-peak-MB")
	b.ReportMetric((o.ReadS+o.ComputeS)/ours, "x-faster")
	b.ReportMetric(o.ComputeS/(ours-read), "x-compute")
	b.ReportMetric((o.ReadCPU+o.ComputeCPU)/cpu, "x-cpu")
	b.ReportMetric(o.ComputeCPU/(cpu-readCPU), "x-compute-cpu")
}

// readSeconds times reading alone.
func readSeconds(b *testing.B, run string) (wall, cpu float64) {
	before, start := cpuSeconds(b), time.Now()
	r, err := record.Open(run)
	if err != nil {
		b.Fatal(err)
	}
	for _, name := range r.Joints() {
		if _, err := r.Series(name); err != nil {
			b.Fatal(err)
		}
	}
	return time.Since(start).Seconds(), cpuSeconds(b) - before
}

// commandPeakMB runs the command in a process of its own and returns the most memory it held.
func commandPeakMB(b *testing.B, run string) float64 {
	bench := b.TempDir()
	if err := os.CopyFS(record.RunDir(bench, filepath.Base(run)), os.DirFS(run)); err != nil {
		b.Fatal(err)
	}
	exe, err := os.Executable()
	if err != nil {
		b.Fatal(err)
	}
	cmd := exec.Command(exe, "analyze", filepath.Base(run), "--bench", bench, "--json")
	cmd.Args[0], cmd.Stderr = "limbgauge", os.Stderr // the test is the command when it is called so
	if err := cmd.Start(); err != nil {
		b.Fatal(err)
	}
	// A child's Rusage begins with its parent's peak, so its own mark is read while it runs.
	peak := 0.0
	done := make(chan error, 1)
	go func() { done <- cmd.Wait() }()
	for {
		select {
		case err := <-done:
			if err != nil {
				b.Fatal(err)
			}
			return peak
		case <-time.After(2 * time.Millisecond):
			peak = max(peak, highWaterMB(cmd.Process.Pid))
		}
	}
}

// highWaterMB returns the most memory a process held so far, 0 when it is gone.
func highWaterMB(pid int) float64 {
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		return 0
	}
	_, rest, _ := strings.Cut(string(status), "VmHWM:")
	var kb float64
	if _, err := fmt.Sscan(rest, &kb); err != nil {
		return 0
	}
	return kb / 1024
}

func cpuSeconds(b *testing.B) float64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	s := func(t syscall.Timeval) float64 { return float64(t.Sec) + float64(t.Usec)/1e6 }
	return s(u.Utime) + s(u.Stime)
}
