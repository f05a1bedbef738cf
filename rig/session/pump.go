package session

import (
	"cmp"
	"context"
	"errors"
	"slices"

	"limbgauge/rig"
	"limbgauge/rig/link"
)

// pump takes what comes from the stand to the recording and to whoever watches. It may be behind
// the stand by any amount, so which joint is under test is told from the stream alone: a turn
// begins with the first sample of a move and ends with word that the last move is gone.
type pump struct {
	conn    *link.Conn
	rec     recorder
	live    *Live
	step    inStep // nil: the stand keeps time of its own
	cancel  context.CancelCauseFunc
	failed  error // of the recording; read after the pump has ended
	over    error // what ended the conversation, nil for our own Close; read after the pump has ended
	state   progress
	plans   []Plan
	guard   func(*rig.Batch) error
	ruled   error // what the guard said; read after the pump has ended
	joints  []rig.Joint
	senses  []senses  // of each joint
	ways    []heading // of each joint
	against error     // a sensor's sense is wrong; read after the pump has ended
	at      int       // plan whose turn it is
	began   bool      // whether a sample of its moves has come

	// Only the mover's goroutine uses these.
	turn int // joint, -1 before the first
	base rig.Losses
	lost []rig.Losses
}

// recorder is what the pump asks of a record.Recorder.
type recorder interface{ Append(*rig.Batch) error }

func newPump(conn *link.Conn, rec recorder, cfg Config, cancel context.CancelCauseFunc) *pump {
	return &pump{conn: conn, rec: rec, live: cfg.Live, cancel: cancel, state: newProgress(cfg), plans: cfg.Plans, guard: cfg.Guard,
		joints: cfg.Joints, senses: make([]senses, len(cfg.Joints)), ways: make([]heading, len(cfg.Joints)),
		turn: -1, lost: make([]rig.Losses, len(cfg.Joints))}
}

// begin counts from here on what a joint loses.
func (p *pump) begin(plan Plan) {
	p.endTurn()
	p.turn, p.base = plan.Joint, p.conn.Losses()[plan.Joint].Losses
}

// endTurn adds up what the joint lost in its turn, the short rests before and after it included.
// What it loses while others are under test is of no run: its samples are not kept then either.
func (p *pump) endTurn() {
	if p.turn < 0 {
		return
	}
	now, sum := p.conn.Losses()[p.turn].Losses, &p.lost[p.turn]
	sum.Lost += now.Lost - p.base.Lost
	sum.Damaged += now.Damaged - p.base.Damaged
	sum.Late += now.Late - p.base.Late
	p.turn = -1
}

// losses ends the last turn and returns what each joint lost in its own.
func (p *pump) losses() []rig.Losses {
	p.endTurn()
	return p.lost
}

func (p *pump) run() {
	for {
		e, err := p.conn.Next(context.Background()) // Close ends it
		if err != nil {
			if !errors.Is(err, link.ErrClosed) {
				p.over = err
				p.cancel(err)
			}
			return
		}
		switch e := e.(type) {
		case *link.Samples:
			n := 0
			for _, b := range e.Batches {
				n += b.Len()
				p.samples(b)
			}
			p.handled(n)
		case *link.MoveGone:
			p.gone(e)
		case *link.Tripped:
			p.live.say("the stand tripped: " + link.TripWords(*e))
		case *link.Log:
			p.live.say("stand: " + e.Text)
		}
	}
}

func (p *pump) samples(b *rig.Batch) {
	if b = p.keep(b); b.Len() == 0 {
		return
	}
	if p.failed == nil {
		if err := p.rec.Append(b); err != nil {
			p.failed = err
			p.cancel(err) // a run that cannot be kept must not go on
		}
	}
	p.state.take(b)
	p.ways[b.Joint].take(b)
	if p.guard != nil {
		if err := p.guard(b); err != nil && p.ruled == nil {
			p.ruled = &GuardError{err}
			p.cancel(p.ruled)
		}
	}
	if p.against == nil {
		if p.against = p.senses[b.Joint].look(b, p.joints[b.Joint]); p.against != nil {
			p.cancel(p.against)
		}
	}
	if p.state.stuck() {
		p.cancel(ErrStuck)
	}
	p.live.put(p.state.snapshot(p.conn.Losses()[b.Joint].Losses))
}

// inStep is a line whose stand waits until its samples were dealt with.
type inStep interface{ Handled(samples int) }

// handled lets such a stand go on, but for one that is being stopped.
func (p *pump) handled(samples int) {
	if p.step != nil && cmp.Or(p.failed, p.ruled, p.against) == nil {
		p.step.Handled(samples)
	}
}

func (p *pump) isTurnOf(joint int) bool {
	return p.at < len(p.plans) && p.plans[p.at].Joint == joint
}

// gone ends a turn with its last move.
func (p *pump) gone(e *link.MoveGone) {
	if p.isTurnOf(e.Joint) && int(e.Segment) == len(p.plans[p.at].Routine.Moves) {
		p.at, p.began = p.at+1, false
	}
}

// keep returns the samples that belong to the run: all of the joint under test, and of the others
// those of a move, which come a little after word that it is gone.
func (p *pump) keep(b *rig.Batch) *rig.Batch {
	if slices.ContainsFunc(b.Segment, func(s uint16) bool { return s != 0 }) {
		if !p.isTurnOf(b.Joint) && p.at+1 < len(p.plans) && p.plans[p.at+1].Joint == b.Joint {
			p.at++ // the word that the last joint's moves are gone was lost on the way
		}
		p.began = p.began || p.isTurnOf(b.Joint)
	}
	if p.began && p.isTurnOf(b.Joint) {
		return b
	}
	out := &rig.Batch{Joint: b.Joint}
	for i, s := range b.Segment {
		if s != 0 {
			out.Append(b.Row(i))
		}
	}
	return out
}
