package linktest

import (
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	wire "limbgauge/firmware-protocol"
	"limbgauge/firmware-protocol/avr/emulated"
	"limbgauge/rig/link/port"
)

// captureHz keeps the captures small.
const captureHz = 50

// captureOf is where the capture of one part of the suite lies.
func captureOf(t *testing.T) string {
	part := t.Name()[strings.LastIndexByte(t.Name(), '/')+1:]
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

// TestEmulatedBoard puts the compiled firmware to the test that every stand must pass, in real time.
func TestEmulatedBoard(t *testing.T) {
	b := &board{emulated.Need(t).Run(t)}
	b.suite(t)
	b.received(t)
}

// TestEmulatedBoardFlooded fills its line while all joints move.
func TestEmulatedBoardFlooded(t *testing.T) {
	b := &board{emulated.Need(t).Run(t, "-x", halfSpeed)}
	b.floods(t)
	b.received(t)
}

// received wants no byte lost in the receiver.
func (b *board) received(t *testing.T) {
	f := b.figures(t)
	t.Log(f.Summary())
	if f.RxOverruns != 0 {
		t.Errorf("%d bytes lost in the receiver, want none", f.RxOverruns)
	}
}

// Pulses of joints that hold are all alike, at the greatest rate and with questions on the line.
func TestEmulatedBoardAtWork(t *testing.T) {
	for _, make := range [][]string{{"JOINTS=1", "MOTOR_SENSORS=1"}, {"JOINTS=3"}} {
		t.Run(strings.Join(make, " "), func(t *testing.T) {
			b := &board{emulated.Need(t, make...).Run(t, "-x", halfSpeed)}
			b.work(t)
		})
	}
}

// board is the emulated board, dialled through a serial port.
type board struct{ *emulated.Board }

func (b *board) dial(t *testing.T) io.ReadWriteCloser {
	line, err := port.Open(b.Port, 500000)
	if err != nil {
		t.Fatal(err)
	}
	time.Sleep(50 * time.Millisecond) // opening reset it; what came while it starts would be lost
	if os.Getenv("LIMBGAUGE_CAPTURE") != "" {
		return &Tap{RW: line, Path: captureOf(t), Comment: "emulated board, " + t.Name()}
	}
	return line
}

func (b *board) do(t *testing.T, command string) {
	if _, err := b.Do(command); err != nil {
		t.Fatal(err)
	}
}

func (b *board) figures(t *testing.T) emulated.Figures {
	f, err := b.Figures()
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func (b *board) suite(t *testing.T) {
	restart := func(t *testing.T) { b.do(t, "reset") }
	Suite(t, Options{Joints: joints(), Hz: captureHz, LateMS: 20, Restart: restart, Dial: b.dial})
}

// bench opens a line of its own to the board.
func (b *board) bench(t *testing.T, hz int) *bench {
	opt := Options{Joints: joints(), Hz: hz, LateMS: 20}
	return &bench{client: newClient(t, b.dial(t)), opt: opt, ch: uint8(opt.Joints[0].Channel)}
}

// floods sends as much as the line carries, and wants every sample nevertheless.
func (b *board) floods(t *testing.T) {
	many := func(bodies ...[]byte) (chunk []byte) {
		for len(chunk) < 200 {
			for _, body := range bodies {
				chunk = wire.AppendFrame(chunk, body)
			}
		}
		return chunk
	}
	noise := make([]byte, 200)
	x := uint32(7)
	for i := range noise {
		x = x*1664525 + 1013904223 // the constants of Numerical Recipes, section 7.1
		noise[i] = byte(x >> 24)
	}
	for _, flood := range []struct {
		name  string
		chunk []byte
	}{
		{"heartbeats", many([]byte{byte(wire.TypeHeartbeat), 1})},
		{"unknown messages", many([]byte{0x3F, 1})},
		{"questions of the status", many([]byte{byte(wire.TypeStatusAsk), 1})},
		{"questions of the time", many([]byte{byte(wire.TypeClockAsk), 1})},
		{"moves", many([]byte{byte(wire.TypeMove), 1, 2, 2, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0})},
		{"noise", noise},
		{"zeros", make([]byte, 200)},
	} {
		t.Run(flood.name, func(t *testing.T) { b.flood(t, flood.chunk) })
	}
}

func (b *board) flood(t *testing.T, chunk []byte) {
	bench := b.allArmed(t)
	beat := wire.AppendFrame([]byte{0}, []byte{byte(wire.TypeHeartbeat), 1})
	// Four moves each begin at nearly the same time while it lasts.
	for segment := range uint16(4) {
		for j := range bench.opt.Joints {
			bench.ch = uint8(j)
			bench.want(0, bench.move(segment+1, int32(segment%2)*5000, 30_000, 100))
		}
	}
	rnd := rand.New(rand.NewPCG(1, 2))
	before := b.figures(t)
	for until := before.SimUS + 800_000; b.figures(t).SimUS < until; {
		for range 80 {
			bench.raw(chunk[:25+rnd.IntN(50)]) // heartbeats at odd places and many: of a flood of questions it hears one byte in thirty
			bench.raw(beat)
		}
	}
	after := b.figures(t)
	// What still waits would drown the question.
	for b.figures(t).SimUS < after.SimUS+100_000 {
		time.Sleep(10 * time.Millisecond)
	}
	seconds := (after.SimUS - before.SimUS) / 1e6
	got, rate := float64(after.SamplesSent-before.SamplesSent)/seconds, float64(after.RxBytes-before.RxBytes)/seconds
	t.Logf("%.0f bytes/s in, %.0f samples/s out", rate, got)
	if rate < 0.8*50_000 {
		t.Errorf("only %.0f bytes/s reached the board: no flood", rate)
	}
	want := float64(bench.opt.Hz * len(bench.opt.Joints))
	if got < 0.97*want || got > 1.03*want {
		t.Errorf("%.0f samples/s, want %.0f", got, want)
	}
	sampled(t, bench)
}

// work arms every servo at the greatest sample rate, lets the joints hold, and looks at pulses and processor.
func (b *board) work(t *testing.T) {
	bench := b.allArmed(t)
	n := len(bench.opt.Joints)
	time.Sleep(100 * time.Millisecond)
	b.do(t, "watch")
	for until := b.figures(t).SimUS + 1_000_000; b.figures(t).SimUS < until; time.Sleep(2 * time.Millisecond) {
		bench.send(&wire.StatusAsk{Tag: 1})
	}
	f := b.figures(t)
	t.Logf("%d joints at %d Hz: %s", n, bench.opt.Hz, f.Summary())
	for ch, s := range f.Servos[:n] {
		t.Logf("servo %d: %d pulses of %.4f to %.4f us, frames of %.4f to %.4f us", ch, s.Watched, s.MinWidthUS, s.MaxWidthUS, s.MinFrameUS, s.MaxFrameUS)
		if s.Watched < 45 || s.MaxWidthUS-s.MinWidthUS > 0 || s.MaxFrameUS-s.MinFrameUS > 0 {
			t.Errorf("servo %d: want at least 45 pulses, all alike", ch)
		}
	}
	bounds(t, f, bench.opt.Hz)
	sampled(t, bench)
	bench.want(0, func(tag uint8) wire.Message { return &wire.Disarm{Tag: tag} })
}
