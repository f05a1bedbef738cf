package linktest

import (
	"io"
	"net"
	"testing"

	"limbgauge/rig"
)

func joints() []rig.Joint {
	servo := rig.Servo{TravelDeg: 180, PulseUS: [2]int{500, 2500}}
	return []rig.Joint{
		{Name: "knee", Channel: 2, RangeDeg: [2]float64{-75, 75}, CurrentMaxA: 2.5, Servo: servo},
		{Name: "hip", Channel: 1, RangeDeg: [2]float64{-40, 60}, CurrentMaxA: 2.5, Servo: servo},
	}
}

func TestIdealStand(t *testing.T) {
	var s *Stand
	Suite(t, Options{Joints: joints(), Restart: func(*testing.T) { s.Restart() }, Dial: func(t *testing.T) io.ReadWriteCloser {
		host, far := net.Pipe()
		s = NewStand(Config{})
		done := make(chan struct{})
		go func() { defer close(done); s.Serve(far) }()
		t.Cleanup(func() { _ = far.Close(); <-done })
		return host
	}})
}
