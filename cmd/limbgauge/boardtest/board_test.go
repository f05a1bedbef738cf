//go:build unix

// Package boardtest works the real command on the compiled firmware. It has a folder of its own because it takes
// minutes, and needs a compiler and an emulator that not everybody has.
package boardtest

import (
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"limbgauge/analyze/health"
	"limbgauge/firmware-protocol/avr/emulated"
)

// kneeChannel is that of the joint these tests sweep: the knee of "limbgauge init" on a board for one joint.
const kneeChannel = 0

// These speeds are times real time. The whole routine outruns the wall's clock, and so the board is given heartbeats
// more often than the host sends them (see the harness's -x); where the heartbeat itself is tried, time is real.
const (
	fast = "8"
	real = "1"
)

// patience is how long a command may take.
const patience = 2 * time.Minute

// The exit codes of "limbgauge help exit-codes" that matter here.
const (
	exitDone    = 0
	exitStopped = 5
	exitFault   = 6
)

// heartbeatUS is when the last pulse may begin after the last heartbeat: SPEC.md's 250 ms, a ms until the firmware has read
// the heartbeat and one until it looks at the rule again.
const heartbeatUS = 252_000

// boardBench is an emulated board and a folder with a fresh bench.toml in which the command works on it.
type boardBench struct {
	*emulated.Board
	t            *testing.T
	command, dir string
}

// parts are the command and the board, built once.
type parts struct {
	emulated.Binaries
	command string
}

func newBoardBench(t *testing.T, b parts, args ...string) *boardBench {
	bench := &boardBench{Board: b.Run(t, args...), t: t, command: b.command, dir: t.TempDir()}
	if out, code := bench.limbgauge("init"); code != 0 {
		t.Fatalf("init: exit code %d\n%s", code, out)
	}
	path := filepath.Join(bench.dir, "bench.toml")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	swap := strings.NewReplacer("channel = 0", "channel = 2", "channel = 2", "channel = 0")
	if err := os.WriteFile(path, []byte(swap.Replace(string(text))), 0o644); err != nil {
		t.Fatal(err)
	}
	return bench
}

// begin starts the command as a process of its own, as a user would.
func (b *boardBench) begin(args ...string) *working {
	b.t.Helper()
	r := &working{t: b.t, cmd: exec.Command(b.command, args...)}
	r.cmd.Dir = b.dir
	r.cmd.Env = append(os.Environ(), "HOME="+b.dir, "TZ=UTC")
	r.cmd.Stdout, r.cmd.Stderr = r, r
	if err := r.cmd.Start(); err != nil {
		b.t.Fatal(err)
	}
	b.t.Cleanup(func() { _ = r.cmd.Process.Kill() }) // does nothing to one that has ended
	return r
}

func (b *boardBench) limbgauge(args ...string) (out string, code int) {
	b.t.Helper()
	return b.begin(args...).end()
}

// sweep begins a sweep of the knee over the board's port.
func (b *boardBench) sweep(args ...string) *working {
	b.t.Helper()
	return b.begin(append([]string{"sweep", "knee", "--port", b.Port, "--yes", "--hands-clear"}, args...)...)
}

// moving waits until the knee's servo has had n pulses.
func (b *boardBench) moving(n int) {
	b.t.Helper()
	for range 600 {
		if b.figures().Servos[kneeChannel].Pulses >= n {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	b.t.Fatalf("the servo had no %d pulses within 30 s", n)
}

func (b *boardBench) figures() emulated.Figures {
	b.t.Helper()
	f, err := b.Figures()
	if err != nil {
		b.t.Fatal(err)
	}
	return f
}

// limp checks that no pulse came after a time of the board's clock, and that there was time for some.
func (b *boardBench) limp(afterUS float64) {
	b.t.Helper()
	f := b.figures()
	for range 100 {
		if f.SimUS > afterUS+200_000 {
			break
		}
		time.Sleep(20 * time.Millisecond)
		f = b.figures()
	}
	if last := f.Servos[kneeChannel].LastRiseUS; last > afterUS || f.SimUS <= afterUS+200_000 {
		b.t.Errorf("a pulse began at %.3f s, want none after %.3f s (now %.3f s)", last/1e6, afterUS/1e6, f.SimUS/1e6)
	}
}

// kept checks that the run was kept and how it ended.
func (b *boardBench) kept(how string) {
	b.t.Helper()
	out, code := b.limbgauge("runs", "--json")
	if code != 0 || !strings.Contains(out, how) || !strings.Contains(out, "0001") {
		b.t.Errorf("runs: exit code %d, want run 0001 to have ended as %q\n%s", code, how, out)
	}
}

// working is the command at work.
type working struct {
	t   *testing.T
	cmd *exec.Cmd
	mu  sync.Mutex
	out bytes.Buffer
}

// Write implements io.Writer.
func (r *working) Write(p []byte) (int, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.out.Write(p)
}

// end waits for the command and returns what it said, and its exit code; -1 when it was killed.
func (r *working) end() (string, int) {
	r.t.Helper()
	// A command that hangs says where.
	stuck := time.AfterFunc(patience, func() { _ = r.cmd.Process.Signal(syscall.SIGQUIT) })
	defer stuck.Stop()
	err := r.cmd.Wait()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		r.t.Fatal(err)
	}
	return r.out.String(), r.cmd.ProcessState.ExitCode()
}

// TestBoard works the real command on the compiled firmware: SPEC.md's safety rules and the verdicts of a whole routine.
func TestBoard(t *testing.T) {
	b := parts{emulated.Need(t, "JOINTS=1", "MOTOR_SENSORS=1"), filepath.Join(t.TempDir(), "limbgauge")}
	if out, err := exec.Command("go", "build", "-o", b.command, "..").CombinedOutput(); err != nil {
		t.Fatalf("build the command: %v\n%s", err, out)
	}
	t.Run("a healthy joint", func(t *testing.T) {
		wholeRoutine(t, newBoardBench(t, b, "-x", fast), exitDone, "no fault found",
			truth{"play", 0.04}, truth{"compliance", 2.0}, truth{"friction", 0.008})
	})
	t.Run("a slack joint", func(t *testing.T) {
		bench := newBoardBench(t, b, "-x", fast, "-s", "0:tension_n=0", "-s", "0:slack_deg=0.8")
		wholeRoutine(t, bench, exitFault, "fault, belt slack",
			truth{"play", 0.84}, truth{"friction", 0.008})
	})
	t.Run("trips", func(t *testing.T) { boardTrips(t, b) })
	t.Run("a dead host", func(t *testing.T) { deadHost(t, b) })
	t.Run("a host that stands still", func(t *testing.T) { stoppedHost(t, b) })
	t.Run("a restart", func(t *testing.T) { restartInRun(t, b, "reset", 0) })
	// The watchdog is set to its 60 ms; a frame of 20 ms may begin before.
	t.Run("a firmware that hangs", func(t *testing.T) { restartInRun(t, b, "hang", 80) })
}

// truth is what the harness's plant has between motor side and joint, as its settings say.
type truth struct {
	measure string
	value   float64
}

// wholeRoutine sweeps the knee through the assembly routine, and wants a verdict and the figures that were put in.
func wholeRoutine(t *testing.T, b *boardBench, want int, verdict string, truths ...truth) {
	out, code := b.sweep("--routine", "assembly", "--gate").end()
	f := b.figures()
	t.Log(f.Summary())
	if code != want || !strings.Contains(out, verdict) || !strings.Contains(out, "run 0001: complete") {
		t.Fatalf("exit code %d, want %d and %q\n%s", code, want, verdict, out)
	}
	if f.RxOverruns != 0 {
		t.Errorf("%d bytes lost in the board's receiver", f.RxOverruns)
	}
	b.kept("complete")
	var h health.Health
	if out, code = b.limbgauge("analyze", "0001", "--json"); json.Unmarshal([]byte(out), &h) != nil || code != 0 || len(h.Joints) != 1 {
		t.Fatalf("analyze: exit code %d\n%s", code, out)
	}
	for _, is := range truths {
		i := slices.IndexFunc(h.Joints[0].Measures, func(m health.Measure) bool { return m.Name == is.measure && m.Path == health.Transmission })
		if i < 0 {
			t.Fatalf("no measure %s of the transmission\n%s", is.measure, out)
		}
		m := h.Joints[0].Measures[i]
		t.Logf("%s of the transmission: %.3f ± %.3f %s, put in %.3f", m.Name, m.Value, m.Uncertainty, m.Unit, is.value)
		// Twice the 95 % interval: one run must not fail now and then. An interval as wide as the value says nothing.
		if !(math.Abs(m.Value-is.value) <= 2*m.Uncertainty && m.Uncertainty < math.Max(is.value, 0.05)) {
			t.Errorf("%s of the transmission: %.3f ± %.3f, put in %.3f (%s)", m.Name, m.Value, m.Uncertainty, is.value, m.Reason)
		}
	}
}

// boardTrips breaks something while the joint moves. Each row is a trip, its reason, and the run that is kept.
func boardTrips(t *testing.T, b parts) {
	for _, test := range []struct {
		name, do, says string
		withinMS       float64 // from the fault to the last pulse's beginning, by the board's clock
	}{
		// 300 ms of over-current, and half a period of 20 ms or so that the monitor and the bus take.
		{"over-current", "set 0:extra_a=2.6", "stayed over 2.50 A", 330},
		// The servo can not hold 6 N·m; three readings beyond the end's 3 deg trip.
		{"range", "set 0:push_nm=6", "past the end of its range", 300},
		// 50 readings or 100 ms, whichever is longer: 200 ms at 250 Hz.
		{"bus dead", "bus dead", "a sensor gave no reading", 250},
		{"bus held down", "bus stuck", "a sensor gave no reading", 250},
		{"one sensor dead", "sensor 0 dead", "a sensor gave no reading", 250},
		// 20 ms below 4.5 V, from when the supply's capacitor is down.
		{"supply low", "set supply_v=4.2", "supply 4.", 100},
	} {
		t.Run(test.name, func(t *testing.T) {
			bench := newBoardBench(t, b, "-x", "4")
			sweep := bench.sweep("--routine", "quick")
			bench.moving(200) // 4 s
			at, err := bench.Do(test.do)
			if err != nil {
				t.Fatal(err)
			}
			out, code := sweep.end()
			if code != exitStopped || !strings.Contains(out, test.says) || !strings.Contains(out, "tripped") {
				t.Errorf("exit code %d, want %d and %q\n%s", code, exitStopped, test.says, out)
			}
			bench.limp(float64(at.Microseconds()) + 1000*test.withinMS)
			t.Logf("the last pulse began %.1f ms after the fault", bench.figures().Servos[kneeChannel].LastRiseUS/1e3-float64(at.Microseconds())/1e3)
			bench.kept("tripped")
		})
	}
}

// deadHost kills the command: no word, no bye. The board must let go by itself.
func deadHost(t *testing.T, b parts) {
	bench := newBoardBench(t, b, "-x", real)
	sweep := bench.sweep("--routine", "quick")
	bench.moving(100)
	if err := sweep.cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	sweep.end()
	last := bench.figures().LastBeatUS
	bench.limp(last + heartbeatUS)
	f := bench.figures()
	t.Logf("the last heartbeat came at %.3f ms, the last pulse began %.3f ms later", last/1e3, (f.Servos[kneeChannel].LastRiseUS-last)/1e3)
	if f.LastBeatUS != last || f.BeatsRepeated != 0 {
		t.Errorf("heartbeats after the host died, or of the harness's own: %+v", f)
	}
	bench.limbgauge("runs") // finds the run that was cut and repairs it
	bench.kept("cut")
}

// stoppedHost holds the command up for longer than the heartbeat rule allows, and lets it go on.
func stoppedHost(t *testing.T, b parts) {
	bench := newBoardBench(t, b, "-x", real)
	sweep := bench.sweep("--routine", "quick")
	bench.moving(100)
	if err := sweep.cmd.Process.Signal(syscall.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	time.Sleep(600 * time.Millisecond) // not a measure: the longer the better
	last := bench.figures().LastBeatUS
	if err := sweep.cmd.Process.Signal(syscall.SIGCONT); err != nil {
		t.Fatal(err)
	}
	out, code := sweep.end()
	if code != exitStopped || !strings.Contains(out, "no heartbeat for 25") {
		t.Errorf("exit code %d, want %d and the reason\n%s", code, exitStopped, out)
	}
	bench.limp(last + heartbeatUS)
	bench.kept("tripped")
}

// restartInRun lets the board restart while the joint moves.
func restartInRun(t *testing.T, b parts, do string, withinMS float64) {
	bench := newBoardBench(t, b, "-x", "4")
	sweep := bench.sweep("--routine", "quick")
	bench.moving(200)
	had := bench.figures().Resets
	at, err := bench.Do(do)
	if err != nil {
		t.Fatal(err)
	}
	out, code := sweep.end()
	if code != exitStopped || !strings.Contains(out, "run 0001: tripped: reset") {
		t.Errorf("exit code %d, want %d and the reason\n%s", code, exitStopped, out)
	}
	bench.limp(float64(at.Microseconds()) + 1000*withinMS)
	bench.kept("tripped")
	if f := bench.figures(); f.Resets != had+1 {
		t.Errorf("%d restarts, want one", f.Resets-had)
	}
}
