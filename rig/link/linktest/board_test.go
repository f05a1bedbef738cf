package linktest

import (
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"limbgauge/firmware-protocol/avr/emulated"
	"limbgauge/rig/link/port"
)

// captureHz keeps the captures small.
const captureHz = 50

// captureOf is where the capture of one part of the suite lies.
func captureOf(t *testing.T) string {
	_, part, _ := strings.Cut(t.Name(), "/")
	return filepath.Join("testdata", "capture", part+".txt")
}

// The suite that every stand must pass, on what the emulated board said in it once.
func TestReplayedCapture(t *testing.T) {
	Suite(t, Options{Joints: joints(), Hz: captureHz, LateMS: 20, Restart: func(*testing.T) {}, Dial: func(t *testing.T) io.ReadWriteCloser {
		line, err := Play(captureOf(t))
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() {
			if err := line.Close(); err != nil {
				t.Error(err)
			}
		})
		return line
	}})
}

// The suite that every stand must pass, on the compiled firmware, in real time.
func TestEmulatedBoard(t *testing.T) {
	board := emulated.Need(t).Run(t)
	restart := func(t *testing.T) {
		if _, err := board.Do("reset"); err != nil {
			t.Fatal(err)
		}
	}
	Suite(t, Options{Joints: joints(), Hz: captureHz, LateMS: 20, Restart: restart, Dial: func(t *testing.T) io.ReadWriteCloser {
		line, err := port.Open(board.Port, 500000)
		if err != nil {
			t.Fatal(err)
		}
		time.Sleep(50 * time.Millisecond) // opening reset it; what came while it starts would be lost
		if os.Getenv("LIMBGAUGE_CAPTURE") != "" {
			return &Tap{RW: line, Path: captureOf(t), Comment: "emulated board, " + t.Name()}
		}
		return line
	}})
	f, err := board.Figures()
	if err != nil {
		t.Fatal(err)
	}
	t.Log(f.Summary())
	if servo := f.Servos[joints()[0].Channel]; servo.Pulses == 0 || f.RxOverruns != 0 {
		t.Errorf("%d pulses of the joint that was moved, %d bytes lost in the receiver; want some and none", servo.Pulses, f.RxOverruns)
	}
}
