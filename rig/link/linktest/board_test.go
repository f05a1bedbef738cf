package linktest

import (
	"io"
	"testing"
	"time"

	"limbgauge/firmware-protocol/avr/emulated"
	"limbgauge/rig/link/port"
)

// The suite that every stand must pass, on the compiled firmware, in real time.
func TestEmulatedBoard(t *testing.T) {
	board := emulated.Need(t).Run(t)
	restart := func(t *testing.T) {
		if _, err := board.Do("reset"); err != nil {
			t.Fatal(err)
		}
	}
	Suite(t, Options{Joints: joints(), LateMS: 20, Restart: restart, Dial: func(t *testing.T) io.ReadWriteCloser {
		line, err := port.Open(board.Port, 500000)
		if err != nil {
			t.Fatal(err)
		}
		time.Sleep(50 * time.Millisecond) // opening reset it; what came while it starts would be lost
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
