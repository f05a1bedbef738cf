package virtual

import (
	"io"
	"testing"

	"limbgauge/rig"
	"limbgauge/rig/link/linktest"
)

func leg() []rig.Joint {
	k, h := knee(), knee()
	k.Channel = 2
	h.Name, h.Channel, h.RangeDeg, h.Belt = "hip", 1, [2]float64{-40, 60}, nil
	return []rig.Joint{k, h}
}

// The suite that every stand must pass, in real time.
func TestKeepsTheProtocol(t *testing.T) {
	var line io.ReadWriteCloser
	restart := func(t *testing.T) {
		if err := line.(interface{ Restart() error }).Restart(); err != nil {
			t.Fatal(err)
		}
	}
	linktest.Suite(t, linktest.Options{Joints: leg(), Restart: restart, Dial: func(t *testing.T) io.ReadWriteCloser {
		var err error
		if line, err = Pipe(Options{Joints: leg(), Speed: 1}); err != nil {
			t.Fatal(err)
		}
		return line
	}})
}
