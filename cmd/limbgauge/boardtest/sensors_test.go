//go:build unix

package boardtest

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"limbgauge/firmware-protocol/avr/emulated"
)

// TestBoardSensors: how the sensors of the knee sit, how often its servo gets a pulse, and what the sensors say of their
// magnets, through bench.toml, the real command and the compiled firmware.
func TestBoardSensors(t *testing.T) {
	b := parts{emulated.Need(t, "JOINTS=1", "MOTOR_SENSORS=1"), filepath.Join(t.TempDir(), "limbgauge")}
	if out, err := exec.Command("go", "build", "-o", b.command, "..").CombinedOutput(); err != nil {
		t.Fatalf("build the command: %v\n%s", err, out)
	}
	mounted := []string{"-s", "0:zero_deg=37", "-s", "0:back=1"}
	t.Run("as they sit", func(t *testing.T) {
		bench := newBoardBench(t, b, append(mounted, "-x", fast)...)
		bench.knee("motor_counts = 4096", "motor_counts = 4096\njoint_zero_deg = 37.0\njoint_reversed = true")
		bench.knee("deadband_us = 3.0", "deadband_us = 3.0\nframe_hz = 250")
		out, code := bench.sweep("--routine", "quick", "--gate").end()
		if code != exitDone || !strings.Contains(out, "run 0001: complete") || !strings.Contains(out, "no fault found") {
			t.Errorf("exit code %d\n%s", code, out)
		}
		if s := bench.figures().Servos[kneeChannel]; s.MinFrameUS != 4000 || s.MaxFrameUS < 4000 {
			t.Errorf("frames of %.3f us, want 4000", s.MinFrameUS)
		}
	})
	t.Run("otherwise", func(t *testing.T) {
		bench := newBoardBench(t, b, append(mounted, "-x", "4")...)
		bench.knee("motor_counts = 4096", "motor_counts = 4096\njoint_zero_deg = 37.0")
		out, code := bench.sweep("--routine", "quick").end()
		if code != exitStopped || !strings.Contains(out, "write joint_reversed = true below") {
			t.Errorf("exit code %d\n%s", code, out)
		}
		bench.limp(bench.figures().SimUS)
		bench.kept("stopped")
	})
	t.Run("looked at", func(t *testing.T) {
		bench := newBoardBench(t, b, append(mounted, "-s", "0:magnet=2", "-s", "0:motor_magnet=4", "-x", real)...)
		if err := os.Mkdir(filepath.Join(bench.dir, "none"), 0o755); err != nil {
			t.Fatal(err)
		}
		out, code := bench.limbgauge("-b", "none", "link", "--port", bench.Port, "--seconds", "1")
		for _, want := range []string{"channel 0: the magnet is too weak for the angle sensor", "channel 0: the motor-side sensor finds no magnet", "protocol 1.1"} {
			if !strings.Contains(strings.Join(strings.Fields(out), " "), want) {
				t.Errorf("exit code %d; it does not say %q\n%s", code, want, out)
			}
		}
		if _, err := bench.Do("set 0:magnet=1"); err != nil {
			t.Fatal(err)
		}
		if _, err := bench.Do("set 0:motor_magnet=3"); err != nil {
			t.Fatal(err)
		}
		out, code = bench.limbgauge("-b", "none", "link", "--port", bench.Port, "--seconds", "1", "--json")
		if code != exitDone || !strings.Contains(out, `"joint_magnet": "good"`) || !strings.Contains(out, `"motor_magnet": "strong"`) || strings.Contains(out, "too weak") {
			t.Errorf("exit code %d\n%s", code, out)
		}
	})
}

// knee changes a line of bench.toml in the part of the knee, which is the last.
func (b *boardBench) knee(old, text string) {
	b.t.Helper()
	path := filepath.Join(b.dir, "bench.toml")
	bench, err := os.ReadFile(path)
	if err != nil {
		b.t.Fatal(err)
	}
	at := strings.LastIndex(string(bench), old)
	if at < 0 {
		b.t.Fatalf("bench.toml has no %q", old)
	}
	if err := os.WriteFile(path, []byte(string(bench[:at])+text+string(bench[at+len(old):])), 0o644); err != nil {
		b.t.Fatal(err)
	}
}
