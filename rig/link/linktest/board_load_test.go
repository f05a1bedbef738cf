package linktest

import (
	"fmt"
	"math"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"

	wire "limbgauge/firmware-protocol"
	"limbgauge/firmware-protocol/avr/emulated"
)

// halfSpeed is that of the boards under load: a host that a busy machine holds up is no dead host.
const halfSpeed = "0.5"

// maxLate is the share of samples that may be taken more than a quarter of a period after their time.
const maxLate = 0.01

// TestEmulatedBoardMoving wants every make to keep its greatest rate while all its joints move and begin moves at the same
// time. 4 ms between questions fill the line of three joints: 36 kB/s of samples, and 13 kB/s of statuses.
func TestEmulatedBoardMoving(t *testing.T) {
	for _, load := range []struct {
		defines  string
		hz       int
		question time.Duration // how often the status is asked for
		way      time.Duration // that a move takes
		time     time.Duration // how long; all three by the board's clock
	}{
		{"JOINTS=1", 1000, 4 * time.Millisecond, 50 * time.Millisecond, 600 * time.Millisecond},
		{"JOINTS=2 MOTOR_SENSORS=2", 1000, 20 * time.Millisecond, 100 * time.Millisecond, 700 * time.Millisecond},
		{"JOINTS=3", 1000, 20 * time.Millisecond, 50 * time.Millisecond, 1200 * time.Millisecond},
		{"JOINTS=3", 1000, 4 * time.Millisecond, 400 * time.Millisecond, 5200 * time.Millisecond},
		{"JOINTS=3 SERVO_FRAME_HZ=333", 1000, 20 * time.Millisecond, 100 * time.Millisecond, 700 * time.Millisecond},
		{"JOINTS=3 MOTOR_SENSORS=1", 500, 20 * time.Millisecond, 100 * time.Millisecond, 700 * time.Millisecond},
		{"JOINTS=3 MOTOR_SENSORS=3", 500, 4 * time.Millisecond, 100 * time.Millisecond, 700 * time.Millisecond},
	} {
		t.Run(fmt.Sprintf("%s asked each %s", load.defines, load.question), func(t *testing.T) {
			made := emulated.Need(t, strings.Fields(load.defines)...)
			late := "not tried"
			for try := 1; late != "" && !t.Failed() && try <= 3; try++ {
				t.Run(fmt.Sprint("try ", try), func(t *testing.T) {
					b := &board{made.Run(t, "-x", halfSpeed)}
					bench := b.allArmed(t)
					if bench.opt.Hz != load.hz {
						t.Errorf("its greatest rate is %d Hz, want %d", bench.opt.Hz, load.hz)
					}
					b.do(t, "watch")
					if late = b.moving(t, bench, load.question, load.way, load.time); late != "" {
						t.Log(late)
						return
					}
					f := b.figures(t)
					t.Log(f.Summary())
					onBus(t, load.defines, f.BusWorstUS)
					bounds(t, f, load.hz)
					sampled(t, bench)
				})
			}
			if late != "" && !t.Failed() {
				t.Errorf("this machine did not keep a board in moves three times over: %s", late)
			}
		})
	}
}

// onBus holds the time that config.h reckons a turn of the sensors takes of the bus, and works the greatest rate out of, against
// the longest that was seen.
func onBus(t *testing.T, defines string, us float64) {
	t.Helper()
	args := []string{"-fsyntax-only", "-include", "../../../firmware-protocol/avr/config.h", "-x", "c", "-"}
	for _, d := range strings.Fields(defines) {
		args = append(args, "-D"+d)
	}
	cc := exec.Command("cc", args...)
	cc.Stdin = strings.NewReader(fmt.Sprintf("_Static_assert(BUS_TURN_US > %.0f && BUS_TURN_US < %.0f && BUS_TURN_US < 1000000 / MAX_HZ, \"\");", us-10, us+40))
	if out, err := cc.CombinedOutput(); err != nil {
		t.Errorf("a turn of the sensors took up to %.0f us of the bus, config.h reckons otherwise: %s", us, out)
	}
}

// allArmed dials, and arms all joints at the greatest rate.
func (b *board) allArmed(t *testing.T) *bench {
	t.Helper()
	bench := b.bench(t, 0)
	h := bench.hello()
	bench.opt.Hz, bench.ch, bench.queue = int(h.MaxHz), 0, h.Queue
	first := joints()[0]
	bench.opt.Joints = nil
	for ch := range h.Joints {
		first.Channel = ch
		bench.opt.Joints = append(bench.opt.Joints, first)
	}
	bench.ready()
	token := bench.token()
	bench.want(0, func(tag uint8) wire.Message { return &wire.Arm{Tag: tag, Token: token, Mask: 1<<h.Joints - 1} })
	return bench
}

// mover keeps a joint moving.
type mover struct {
	segment uint16
	at      int32    // mdeg, where its last move goes
	ends    []uint32 // us, of its moves
}

// traffic is what moving has to do with the line.
type traffic struct {
	*bench
	movers []mover
	moves  []*wire.Move // that are to be sent, the first of them under way
	sent   time.Time    // the first; zero: not yet
}

// push is to send a joint on its next move, which takes some us.
func (tr *traffic) push(joint int, target int32, us, dwellMS uint32) {
	m := &tr.movers[joint]
	m.segment++
	way := math.Abs(float64(target - m.at))
	m.at = target
	tr.moves = append(tr.moves, &wire.Move{Tag: tr.nextTag(), Joint: uint8(joint), Kind: 2, Segment: m.segment, Target: target,
		Rate: uint32(way*1e6/float64(us) + 0.5), DwellMS: dwellMS})
}

// flow sends the next move, or again one that had no answer, as a host does.
func (tr *traffic) flow() {
	if len(tr.moves) > 0 && time.Since(tr.sent) > 250*time.Millisecond {
		tr.sent = time.Now()
		tr.send(tr.moves[0])
	}
}

// acked ends a move's sending.
func (tr *traffic) acked(tag uint8) {
	if len(tr.moves) > 0 && tr.moves[0].Tag == tag {
		tr.moves, tr.sent = tr.moves[1:], time.Time{}
	}
}

// lateMoves counts moves that took longer than the way, and the worst by how much, in us: each stood in no queue when the one
// before it ended. The first two of a mover are of other ways.
func lateMoves(movers []mover, wayUS uint32) (n int, worst uint32) {
	for _, m := range movers {
		for k := 3; k < len(m.ends); k++ {
			if took := m.ends[k] - m.ends[k-1]; took > wayUS+40 {
				n, worst = n+1, max(worst, took-wayUS)
			}
		}
	}
	return n, worst
}

// moving moves all joints there and back. The third move of each takes as long as it needs for all fourth ones to begin at
// once, and so all after them. Joints whose moves the host queued too late do not: then it says so, and nothing was shown.
func (b *board) moving(t *testing.T, bench *bench, ask, way, long time.Duration) (late string) {
	t.Helper()
	const far = 15_000 // mdeg
	wayUS := uint32(way.Microseconds())
	tr := &traffic{bench, make([]mover, len(bench.opt.Joints)), nil, time.Time{}}
	for j := range tr.movers {
		tr.push(j, 0, 1, 200)
		tr.push(j, far, wayUS, 100)
	}
	question := time.NewTicker(40 * time.Millisecond) // until the moves are alike: what is asked more often holds them up
	defer question.Stop()
	patience := time.After(2*long + 20*time.Second)
	begun := func(n int) bool {
		return !slices.ContainsFunc(tr.movers, func(m mover) bool { return len(m.ends) < n })
	}
	alike, quick, until := false, false, math.Inf(1)
	for b.figures(t).SimUS < until {
		tr.flow()
		select {
		case m := <-bench.in:
			switch m := m.(type) {
			case *wire.Trip:
				t.Fatalf("it tripped by %s: %s", m.Reason, b.figures(t).Summary())
			case *wire.Refusal:
				t.Fatalf("refused: %+v", m)
			case *wire.Ack:
				tr.acked(m.Tag)
			case *wire.MoveGone:
				mv := &tr.movers[m.Joint]
				mv.ends = append(mv.ends, m.TimeUS)
				if len(mv.ends) > 1 {
					tr.push(int(m.Joint), far-mv.at, wayUS, 0)
				}
			}
		case <-question.C:
			bench.send(&wire.StatusAsk{Tag: 1})
		case <-patience:
			t.Fatalf("the moves stopped: %+v", tr.movers)
		}
		if alike && !quick && len(tr.moves) == 0 {
			quick = true
			question.Reset(2 * ask)
			until = b.figures(t).SimUS + float64(long.Microseconds())
		}
		if begun(1) && !alike {
			alike = true
			latest := tr.movers[0].ends[0]
			for _, m := range tr.movers {
				if int32(m.ends[0]-latest) > 0 {
					latest = m.ends[0]
				}
			}
			for j, m := range tr.movers {
				tr.push(j, 0, wayUS+latest-m.ends[0], 0)
			}
			for j := range tr.movers {
				if bench.queue > 2 {
					tr.push(j, far, wayUS, 0)
				}
			}
		}
	}
	together, k := 0, 2
	for ; begun(k + 1); k++ {
		if !slices.ContainsFunc(tr.movers, func(m mover) bool { return m.ends[k]-tr.movers[0].ends[k]+20 > 40 }) {
			together++
		}
	}
	t.Logf("%d times of %d all moves began within 20 us", together, k-2)
	want := max(1, int(long/way)/3)
	if together >= want {
		return ""
	}
	if n, worst := lateMoves(tr.movers, wayUS); n > 0 {
		return fmt.Sprintf("%d moves came after the one before had ended, at worst by %.1f ms, and only %d times all joints began one at once, want %d",
			n, float64(worst)/1e3, together, want)
	}
	t.Errorf("%d times all joints began a move at once, want %d", together, want)
	return ""
}

// A move that followed on its queue is not late; one that came 5 ms after the last had ended is.
func TestLateMoves(t *testing.T) {
	at := mover{ends: []uint32{1000, 500_000, 900_000, 1_000_000, 1_100_020, 1_200_020}}
	behind := mover{ends: []uint32{1000, 500_000, 900_000, 1_000_000, 1_105_000, 1_205_000}}
	if n, _ := lateMoves([]mover{at}, 100_000); n != 0 {
		t.Errorf("%d late among moves in time", n)
	}
	if n, worst := lateMoves([]mover{at, behind}, 100_000); n != 1 || worst != 5000 {
		t.Errorf("%d late, at worst by %d us; want one by 5000", n, worst)
	}
}

// bounds wants the loop's turns shorter than a period, in which the next turn of the sensors must be planned, and room left on
// the stack.
func bounds(t *testing.T, f emulated.Figures, hz int) {
	t.Helper()
	if worst := f.WorstLoopUS(); worst > 1e6/float64(hz) || f.StackBytes+32 > f.StackRoom {
		t.Errorf("a turn of the loop took %.0f us, want less than a period at %d Hz; or the stack came within 32 B of its end (%d of %d)", worst, hz, f.StackBytes, f.StackRoom)
	}
}

// sampled wants every sample, by its number and by the stand's own count, and nearly all on time by both.
func sampled(t *testing.T, bench *bench) {
	t.Helper()
	st := bench.status()
	if st.State != wire.StateArmed {
		t.Errorf("it did not stay armed: %s by %s", st.State, st.Trip)
	}
	period := 1e6 / float64(bench.opt.Hz)
	for ch := range bench.opt.Joints {
		n, first, least := 0, uint32(0), 0.0
		var off []float64 // us behind the sample clock, which no sample is before
		for _, m := range bench.got(uint8(ch)) {
			if m.Seq != uint16(n) {
				t.Fatalf("joint %d: sample %d follows %d", ch, m.Seq, n-1)
			}
			for _, r := range m.Rec[:m.N] {
				if n == 0 {
					first = r.TimeUS
				}
				d := float64(r.TimeUS-first) - period*float64(n)
				least = min(least, d)
				off = append(off, d)
				n++
			}
		}
		late, worst := 0, 0.0
		for _, d := range off {
			worst = max(worst, d-least)
			if d-least > period/4 {
				late++
			}
		}
		j := st.Joint[ch]
		says := fmt.Sprintf("joint %d: %d samples, %d dropped, %d late and %d told of, at worst %.0f us", ch, n, j.Dropped, late, j.Late, worst)
		t.Log(says)
		if j.Dropped != 0 || float64(max(late, int(j.Late))) > maxLate*float64(n) {
			t.Error(says)
		}
	}
}
