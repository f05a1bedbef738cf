package web

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"sync"
	"time"

	"limbgauge/analyze/health"
	"limbgauge/analyze/report"
	"limbgauge/rig/session"
)

// motion is what the stand does for the pages, one sweep at a time. A page arms it, the same page
// starts it, any page stops it; and it stops by itself when the page that armed it is gone: its
// stream has closed, or it has not said for a while that it is there.
type motion struct {
	ctx  context.Context // of the server
	desk Desk
	hub  *hub
	now  func() time.Time

	mu     sync.Mutex
	state  state
	owner  string // page that armed
	heard  time.Time
	ask    Sweep
	cancel context.CancelCauseFunc // of what is armed or moves
	done   chan struct{}           // closed when it is over
	status status
}

// state is where the motion stands.
type state string

const (
	limp   state = "limp"
	armed  state = "armed"  // agreed to, not yet begun
	moving state = "moving" // the stand is armed
)

const (
	// silence is how long the page that armed may be silent while the joint moves; it speaks several
	// times as often. A page that is closed ends its stream, which is seen at once.
	silence = 2 * time.Second
	// patience is how long an armed page may wait before it starts.
	patience = 60 * time.Second
	// tick is how often pages are told what moves.
	tick = 50 * time.Millisecond
)

// status is what the pages are told of the state.
type status struct {
	State state  `json:"state"`
	Owner string `json:"owner,omitempty"`
	Text  string `json:"text"` // what it is about, or how the last sweep ended
	Hint  string `json:"hint,omitempty"`
	Run   string `json:"run,omitempty"` // of the last sweep
	Bad   bool   `json:"bad,omitempty"`
}

// moved is what the pages are told while a joint moves. Columns are as long as each other; a null was
// not measured.
type moved struct {
	State   state    `json:"state"`
	Joint   string   `json:"joint"`
	Move    string   `json:"move"`
	Segment int      `json:"segment"`
	Moves   int      `json:"moves"`
	LeftS   float64  `json:"left_s"`
	Share   float64  `json:"share"`
	Samples int      `json:"samples"`
	Lost    int      `json:"lost"`
	Damaged int      `json:"damaged"`
	T       []number `json:"t"`
	Command []number `json:"command"`
	Angle   []number `json:"angle"`
	Motor   []number `json:"motor"`
	Current []number `json:"current"`
	Supply  []number `json:"supply"`
}

// number is a figure whose NaN is null in JSON.
type number float64

// MarshalJSON writes null for what was not measured.
func (n number) MarshalJSON() ([]byte, error) {
	if math.IsNaN(float64(n)) {
		return []byte("null"), nil
	}
	return fmt.Appendf(nil, "%.4g", float64(n)), nil
}

var (
	errBusy     = errors.New("a sweep is under way already")
	errNotOwner = errors.New("another page armed the stand, or it is not armed any more; arm it here first")
	errNoPage   = errors.New("this page is not watching the stand; load it again")

	errStopped = errors.New("stopped from a page")
	errClosing = errors.New("limbgauge serve was ended")
	errGone    = errors.New("the page that armed the stand was closed or lost its connection")
	errWaited  = errors.New("nobody started it")
)

func newMotion(ctx context.Context, desk Desk, h *hub, now func() time.Time) *motion {
	m := &motion{ctx: ctx, desk: desk, hub: h, now: now, state: limp}
	m.tell(status{State: limp, Text: "The stand is limp."})
	return m
}

// tell tells the pages; the lock is held, or nobody else knows m yet.
func (m *motion) tell(s status) {
	m.status = s
	m.hub.tell("state", s, true)
}

// Arm notes that the person at a page has seen the cautions and agreed. Nothing moves yet.
func (m *motion) arm(ctx context.Context, page string, ask Sweep) error {
	what, err := m.desk.Plan(ctx, ask)
	if err != nil {
		return err
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.state != limp {
		return errBusy
	}
	if !m.hub.watches(page) {
		return errNoPage
	}
	wait, cancel := context.WithCancelCause(m.ctx)
	m.state, m.owner, m.heard, m.ask, m.cancel, m.done = armed, page, m.now(), ask, cancel, make(chan struct{})
	m.tell(status{State: armed, Owner: page, Text: what})
	go m.wait(wait, m.done)
	return nil
}

// wait disarms what nobody starts.
func (m *motion) wait(ctx context.Context, done chan struct{}) {
	late := time.NewTimer(patience)
	defer late.Stop()
	why := errWaited
	select {
	case <-done: // its waiting is over: it was started
		return
	case <-late.C:
	case <-ctx.Done():
		why = context.Cause(ctx)
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.state != armed || m.done != done {
		return
	}
	m.state, m.owner = limp, ""
	close(done)
	m.tell(status{State: limp, Text: "Not armed any more: " + why.Error() + ". Nothing moved."})
}

// start lets the page that armed begin.
func (m *motion) start(page string) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.state != armed || m.owner != page {
		return errNotOwner
	}
	close(m.done) // its waiting is over
	ctx, cancel := context.WithCancelCause(m.ctx)
	m.state, m.cancel, m.done, m.heard = moving, cancel, make(chan struct{}), m.now()
	m.tell(status{State: moving, Owner: page, Text: m.status.Text})
	go m.sweep(ctx, m.ask, m.done)
	return nil
}

// stop ends what is armed or moves, whoever asks.
func (m *motion) stop(why error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.state == armed || m.state == moving {
		m.cancel(why)
	}
}

// alive notes that a page is there.
func (m *motion) alive(page string) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.owner == page {
		m.heard = m.now()
	}
}

// left ends motion that a page armed which is gone.
func (m *motion) left(page string) {
	m.mu.Lock()
	mine := m.owner == page
	m.mu.Unlock()
	if mine {
		m.stop(errGone)
	}
}

// wind waits until nothing moves any more.
func (m *motion) wind() {
	m.mu.Lock()
	done, busy := m.done, m.state != limp
	m.mu.Unlock()
	if busy {
		<-done
	}
}

func (m *motion) sweep(ctx context.Context, ask Sweep, done chan struct{}) {
	defer close(done)
	live := session.NewLive(4 * kept)
	over, watched := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(watched)
		m.watch(live, over)
	}()
	// What is recorded by then is judged and kept, whatever stopped it.
	run, h, err := m.desk.Sweep(ctx, ask, session.Agreed(), live)
	close(over)
	<-watched
	s := m.outcome(ctx, run, h, err)
	m.mu.Lock()
	defer m.mu.Unlock()
	m.cancel(nil)
	m.state, m.owner = limp, ""
	m.tell(s)
}

// outcome says how a sweep ended: first what broke it off, then what its run says.
func (m *motion) outcome(ctx context.Context, run string, h health.Health, err error) status {
	s := status{State: limp, Run: run}
	var said []string
	if err != nil {
		s.Bad, s.Hint = true, m.desk.Hint(err)
		if why := context.Cause(ctx); why != nil && (errors.Is(err, session.ErrStopped) || errors.Is(err, context.Canceled)) {
			err, s.Hint = why, ""
		}
		said = append(said, report.Sentence(err.Error()))
		if run != "" {
			said = append(said, "What was recorded is kept as run "+run+".")
		}
	}
	if len(h.Joints) > 0 {
		_, verdict := report.Headline(&report.Document{Health: h})
		said = append(said, verdict)
	}
	s.Text = strings.Join(said, " ")
	return s
}

// watch takes what a session shows to the pages, a little at a time, until it is over.
func (m *motion) watch(live *session.Live, over <-chan struct{}) {
	beat := time.NewTicker(tick)
	defer beat.Stop()
	var now moved
	for {
		select {
		case s := <-live.C():
			m.take(&now, s)
		case <-beat.C:
			if len(now.T) > 0 {
				m.hub.tell("moved", now, false)
				now = moved{}
			}
			m.lost()
		case <-over:
			return
		}
	}
}

// take adds a reading to the news.
func (m *motion) take(now *moved, s session.Snapshot) {
	if s.Said != "" {
		m.hub.tell("said", s.Said, false)
		return
	}
	now.State, now.Joint, now.Move, now.Segment, now.Moves = moving, s.Joint, s.Move.String(), s.Segment, s.Moves
	now.LeftS, now.Share, now.Samples, now.Lost, now.Damaged = s.Left.Seconds(), s.Share, s.Samples, s.Losses.Lost, s.Losses.Damaged
	now.T = append(now.T, number(s.Done.Seconds()))
	now.Command = append(now.Command, number(s.CommandDeg))
	now.Angle = append(now.Angle, number(s.AngleDeg))
	now.Motor = append(now.Motor, number(s.MotorDeg))
	now.Current = append(now.Current, number(s.CurrentA))
	now.Supply = append(now.Supply, number(s.SupplyV))
}

// lost stops the motion where the page that armed it has been silent too long.
func (m *motion) lost() {
	m.mu.Lock()
	gone := m.state == moving && m.now().Sub(m.heard) > silence
	m.mu.Unlock()
	if gone {
		m.stop(errGone)
	}
}
