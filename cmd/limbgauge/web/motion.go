package web

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"limbgauge/rig/session"
)

// motion is what the stand does for the pages, one plan at a time. A page arms it, the same page
// starts it, any page stops it; and it stops by itself when the page that armed it is gone: its
// stream has closed, or it has not said for a while that it is there.
type motion struct {
	ctx  context.Context // of the server
	desk Desk
	hub  *hub
	now  func() time.Time

	mu     sync.Mutex
	state  state
	closed bool   // nothing is armed or started any more
	owner  string // page that armed
	heard  time.Time
	plan   Plan
	cancel context.CancelCauseFunc // of what moves
	done   chan struct{}           // closed when what is armed or moves is over
}

// state is where the motion stands.
type state string

const (
	limp    state = "limp"
	armed   state = "armed"   // agreed to, not yet begun
	moving  state = "moving"  // the stand is armed
	judging state = "judging" // nothing moves any more, the run is being judged
)

const (
	// silence is how long the page that armed may be silent while a joint moves; it speaks several times
	// as often. A page that is closed ends its stream, which is seen at once.
	silence = 2 * time.Second
	// patience is how long an armed page may wait before it starts.
	patience = 60 * time.Second
)

// Silence is how long the page that armed may be silent while a joint moves, in words.
func Silence() string { return fmt.Sprintf("%g s", silence.Seconds()) }

var (
	errBusy     = errors.New("something is under way already; one thing at a time")
	errNotOwner = errors.New("another page armed the stand, or it is not armed any more; arm it here first")
	errNoPage   = errors.New("this page is not watching the stand; load it again")

	errStopped = errors.New("stopped from a page")
	errClosing = errors.New("limbgauge serve was ended")
	errGone    = errors.New("the page that armed the stand was closed or lost its connection")
	errSilent  = fmt.Errorf("the page that armed the stand was silent for %s: asleep, or cut off", Silence())
	errWaited  = errors.New("nobody started it")
)

func newMotion(ctx context.Context, desk Desk, h *hub, now func() time.Time) *motion {
	m := &motion{ctx: ctx, desk: desk, hub: h, now: now}
	m.enter(status{State: limp, Text: "The stand is limp."})
	return m
}

// enter goes into a state and tells the pages; the lock is held, or nobody else knows m yet.
func (m *motion) enter(s status) {
	m.state = s.State
	if s.State == limp {
		m.owner, m.plan = "", Plan{}
	}
	s.Owner = m.owner
	m.hub.tell("state", s, true)
}

// arm makes ready what a page asks for: the person there has seen the cautions and agreed. Nothing
// moves yet, and what is shown now is what will.
func (m *motion) arm(ctx context.Context, page string, ask Sweep) error {
	if err := ask.check(); err != nil {
		return err
	}
	plan, err := m.desk.Plan(ctx, ask)
	if err != nil {
		return err
	}
	plan.asked = ask
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.closed {
		return errClosing
	}
	if m.state != limp {
		return errBusy
	}
	if !m.hub.watches(page) {
		return errNoPage
	}
	m.owner, m.heard, m.plan, m.done = page, m.now(), plan, make(chan struct{})
	m.enter(status{State: armed, Text: plan.What, Hint: strings.Join(plan.Notes, " "), Turns: plan.Turns})
	go m.wait(m.done)
	return nil
}

// wait disarms what nobody starts.
func (m *motion) wait(done chan struct{}) {
	late := time.NewTimer(patience)
	defer late.Stop()
	select {
	case <-done: // its waiting is over: it was started or stopped
		return
	case <-late.C:
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.done == done { // else it was started in between
		m.end(errWaited)
	}
}

// start lets the page that armed begin.
func (m *motion) start(page string) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.closed { // then nothing is armed either; it says why
		return errClosing
	}
	if m.state != armed || m.owner != page {
		return errNotOwner
	}
	close(m.done) // its waiting is over
	ctx, cancel := context.WithCancelCause(m.ctx)
	m.cancel, m.done, m.heard = cancel, make(chan struct{}), m.now()
	m.enter(m.inMotion(false))
	go m.run(ctx, m.plan, m.done)
	return nil
}

func jointsOf(turns []Turn) string {
	var names []string
	for _, t := range turns {
		if len(names) == 0 || names[len(names)-1] != t.Joint {
			names = append(names, t.Joint)
		}
	}
	return strings.Join(names, ", then ")
}

// stop ends what is armed or moves, whoever asks.
func (m *motion) stop(why error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.end(why)
}

// end ends what is armed or moves; the lock is held. What was armed is so no more when it returns: a stop
// that is answered cannot be overtaken by a start.
func (m *motion) end(why error) {
	switch m.state {
	case armed:
		close(m.done)
		m.enter(status{State: limp, Text: "Not armed any more: " + why.Error() + ". Nothing moved."})
	case moving:
		m.cancel(why)
	}
}

// alive notes that a page is there.
func (m *motion) alive(page string) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.owner == page {
		m.silent() // who speaks again after too long a silence does not undo it
		m.heard = m.now()
	}
}

// gone ends motion that a page armed which says that it goes.
func (m *motion) gone(page string) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.owner == page { // one lock for both: it may be another's by the next
		m.end(errGone)
	}
}

// left is gone for a page whose stream has ended. One that came back before the end of its old stream
// was noticed is there.
func (m *motion) left(page string) {
	if !m.hub.watches(page) {
		m.gone(page)
	}
}

// overdue stops the motion where the page that armed it has been silent too long.
func (m *motion) overdue() {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.silent()
}

// silent is overdue with the lock held. A computer that slept has been silent for as long as the wall's
// clock says, while the one that times are subtracted by stood.
func (m *motion) silent() {
	now := m.now()
	if m.state == moving && max(now.Sub(m.heard), now.Round(0).Sub(m.heard.Round(0))) > silence {
		m.end(errSilent)
	}
}

// wind ends what is under way, waits until it is over, and lets nothing begin any more.
func (m *motion) wind() {
	m.mu.Lock()
	m.closed = true
	m.end(errClosing)
	done, busy := m.done, m.state != limp
	m.mu.Unlock()
	if busy {
		<-done
	}
}

func (m *motion) run(ctx context.Context, plan Plan, done chan struct{}) {
	defer close(done)
	live := session.NewLive(4 * kept)
	over, watched := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(watched)
		m.watch(live, over)
	}()
	// What is recorded by then is judged and kept, whatever stopped it.
	came, err := plan.Run(ctx, Watch{Consent: session.Agreed(), Live: live, AtRest: m.rest, Between: m.between, Say: func(s string) { m.hub.tell("said", s, false) }})
	close(over)
	<-watched
	s := m.outcome(ctx, plan, came, err)
	m.mu.Lock()
	defer m.mu.Unlock()
	m.cancel(nil)
	m.enter(s)
}

// rest says that nothing moves any more: the page that armed may go.
func (m *motion) rest() {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.state == moving {
		m.enter(status{State: judging, Text: "Nothing moves any more; the run is being judged."})
	}
}

// between says that nothing moves between two runs of a plan, or that it does again. The stand counts as
// moving all the time: it arms by itself for the next run, so a stop ends the plan, and the page that armed
// has to be there.
func (m *motion) between(runs bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.state == moving {
		m.enter(m.inMotion(runs))
	}
}

// inMotion is what the pages are told while a plan is carried out; the lock is held.
func (m *motion) inMotion(between bool) status {
	s := status{State: moving, Text: "Moving " + jointsOf(m.plan.Turns) + ".", Turns: m.plan.Turns, Many: m.plan.Many}
	if between {
		s.Text, s.Hint = "Between two runs; nothing moves.", "The next one arms and begins by itself, unless a rule ends the test."
	}
	return s
}
