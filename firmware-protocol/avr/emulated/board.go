package emulated

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"sync"
	"testing"
	"time"
)

// Board is an emulated board at work. Its methods may be called from several goroutines.
type Board struct {
	// Port is the path of its serial port. Opening it resets the board, as it does many real ones.
	Port string

	cmd   *exec.Cmd
	mu    sync.Mutex // one command at a time
	in    io.WriteCloser
	out   *bufio.Scanner
	close sync.Once
	err   error
}

// Start powers a board up. args are those of the harness; run it with -h to see them.
func (b Binaries) Start(args ...string) (*Board, error) {
	cmd := exec.Command(b.board, append(args, b.Firmware)...)
	cmd.Stderr = os.Stderr
	in, err := cmd.StdinPipe()
	if err != nil {
		return nil, err
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := cmd.Start(); err != nil {
		return nil, fmt.Errorf("start the emulated board: %w", err)
	}
	board := &Board{cmd: cmd, in: in, out: bufio.NewScanner(out)}
	board.out.Buffer(nil, 1<<20)
	var first struct{ Port string }
	if err := board.answer(&first); err != nil {
		return nil, errors.Join(fmt.Errorf("start the emulated board: %w", err), board.Close())
	}
	board.Port = first.Port
	return board, nil
}

// answer reads one line of the board.
func (b *Board) answer(into any) error {
	if !b.out.Scan() {
		return errors.Join(errors.New("the emulated board ended"), b.out.Err())
	}
	var wrong struct{ Error string }
	if err := json.Unmarshal(b.out.Bytes(), &wrong); err != nil {
		return fmt.Errorf("the emulated board said %q: %w", b.out.Text(), err)
	}
	if wrong.Error != "" {
		return errors.New(wrong.Error)
	}
	return json.Unmarshal(b.out.Bytes(), into)
}

func (b *Board) ask(command string, into any) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if _, err := fmt.Fprintln(b.in, command); err != nil {
		return fmt.Errorf("tell the emulated board %q: %w", command, err)
	}
	if err := b.answer(into); err != nil {
		return fmt.Errorf("tell the emulated board %q: %w", command, err)
	}
	return nil
}

// Do gives a command ("set 2:push_nm=3", "bus dead", "reset") and returns the board's time at which it was done.
func (b *Board) Do(command string) (time.Duration, error) {
	var at struct {
		SimUS float64 `json:"sim_us"`
	}
	err := b.ask(command, &at)
	return time.Duration(at.SimUS * 1e3), err
}

// Figures asks for all figures since power-up.
func (b *Board) Figures() (Figures, error) {
	var f Figures
	return f, b.ask("figures", &f)
}

// Close switches the board off. A second call returns the same.
func (b *Board) Close() error {
	b.close.Do(func() {
		_ = b.in.Close() // the board ends with its input
		done := make(chan error, 1)
		go func() { done <- b.cmd.Wait() }()
		select {
		case b.err = <-done:
		case <-time.After(5 * time.Second):
			_ = b.cmd.Process.Kill()
			b.err = errors.Join(errors.New("the emulated board did not end by itself"), <-done)
		}
	})
	return b.err
}

// Figures is what the board counted. Times named us are microseconds of its own clock since power-up.
type Figures struct {
	SimUS     float64 `json:"sim_us"`
	WallS     float64 `json:"wall_s"`
	Resets    int     `json:"resets"`
	SlowTurns int     `json:"slow_turns"` // times this machine could not keep the speed asked for
	WorstLagS float64 `json:"worst_lag_s"`

	RxBytes       int     `json:"rx_bytes"`
	RxOverruns    int     `json:"rx_overruns"` // bytes lost in the receiver
	TxBytes       int     `json:"tx_bytes"`
	FramesSent    int     `json:"frames_sent"`
	SamplesSent   int     `json:"samples_sent"`
	Beats         int     `json:"beats"`
	BeatsRepeated int     `json:"beats_repeated"` // of them, by the harness: see its -x
	LastBeatUS    float64 `json:"last_beat_us"`
	ByteCycles    int     `json:"byte_cycles"`

	BusAddressed int     `json:"bus_addressed"`
	BusRefused   int     `json:"bus_refused"`
	BusBusy      float64 `json:"bus_busy"` // share of time
	// One turn of the sensors on the bus, from its first start to its last stop, since the command "watch".
	BusTurns   int     `json:"bus_turns"`
	BusTurnUS  float64 `json:"bus_turn_us"`
	BusWorstUS float64 `json:"bus_worst_us"`

	Servos []Servo `json:"servos"`
	Joints []Joint `json:"joints"`

	FlashBytes int `json:"flash_bytes"`
	RAMBytes   int `json:"ram_bytes"`
	StackBytes int `json:"stack_bytes"` // the deepest it was
	StackRoom  int `json:"stack_room"`

	Marks []Mark `json:"marks"`
}

// Servo is what came over one servo's lead. Min and max count since the command "watch".
type Servo struct {
	Pulses      int     `json:"pulses"`
	Cut         int     `json:"cut"` // ended before their time
	LastRiseUS  float64 `json:"last_rise_us"`
	LastWidthUS float64 `json:"last_width_us"`
	Watched     int     `json:"watched"`
	MinWidthUS  float64 `json:"min_width_us"`
	MaxWidthUS  float64 `json:"max_width_us"`
	MinFrameUS  float64 `json:"min_frame_us"`
	MaxFrameUS  float64 `json:"max_frame_us"`
}

// Joint is where a joint really is.
type Joint struct {
	JointDeg float64 `json:"joint_deg"`
	MotorDeg float64 `json:"motor_deg"`
	Amps     float64 `json:"amps"`
}

// The marks that the firmware sets, as in board/board_avr.h.
const (
	MarkLoop    = 1 // a turn of its loop begins
	MarkHost    = 2
	MarkStart   = 3 // a turn of the sensors is planned, or what it gave is looked at
	MarkReading = 4 // what they gave is worked on, one joint
	MarkTime    = 5
)

// Mark is one part of the firmware's work since the command "watch", in processor cycles: from a mark to the
// next, interrupts in between included, and from a mark to the same again.
type Mark struct {
	Mark      int     `json:"mark"`
	N         int     `json:"n"`
	Mean      float64 `json:"mean"`
	Worst     int     `json:"worst"`
	MeanTurn  float64 `json:"mean_turn"`
	WorstTurn int     `json:"worst_turn"`
}

func (f Figures) mark(number int) Mark {
	for _, m := range f.Marks {
		if m.Mark == number {
			return m
		}
	}
	return Mark{}
}

// CyclesPerSample returns how many processor cycles one joint's sample takes: planning the sensors' turns
// and the work on their readings, interrupts that fell into it included.
func (f Figures) CyclesPerSample() float64 {
	start, reading := f.mark(MarkStart), f.mark(MarkReading)
	return (start.Mean*float64(start.N) + reading.Mean*float64(reading.N)) / float64(max(reading.N, 1))
}

// WorstLoopUS returns the longest turn of the firmware's loop, us.
func (f Figures) WorstLoopUS() float64 { return float64(f.mark(MarkLoop).WorstTurn) / 16 }

// Summary says the figures in one line.
func (f Figures) Summary() string {
	return fmt.Sprintf("%.0f cycles per sample, loop %.0f us and at worst %.0f us, stack at most %d of %d B, flash %d B, RAM %d B, "+
		"%d B received and %d lost, %d samples, bus busy %.0f %%, %.0f us per turn and at worst %.0f us; %.1f s in %.1f s of real time (not kept up with %d times)",
		f.CyclesPerSample(), f.mark(MarkLoop).MeanTurn/16, f.WorstLoopUS(), f.StackBytes, f.StackRoom, f.FlashBytes, f.RAMBytes,
		f.RxBytes, f.RxOverruns, f.SamplesSent, 100*f.BusBusy, f.BusTurnUS, f.BusWorstUS, f.SimUS/1e6, f.WallS, f.SlowTurns)
}

// Need builds a board for a test, in its temporary folder. Where tools are missing the test is skipped, or fails when
// LIMBGAUGE_REQUIRE_ALL says that nothing may be.
func Need(t *testing.T, defines ...string) Binaries {
	t.Helper()
	if lacks := Missing(); lacks != "" {
		if os.Getenv("LIMBGAUGE_REQUIRE_ALL") == "1" {
			t.Fatalf("the emulated board needs %s", lacks)
		}
		t.Skipf("the emulated board needs %s", lacks)
	}
	b, err := Build(t.TempDir(), defines...)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Run starts a board for a test, which ends with it.
func (b Binaries) Run(t *testing.T, args ...string) *Board {
	t.Helper()
	board, err := b.Start(args...)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := board.Close(); err != nil {
			t.Error(err)
		}
	})
	return board
}
