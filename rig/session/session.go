package session

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
	"limbgauge/rig/link"
	"limbgauge/rig/record"
)

// Consent says that a person has seen the cautions and agreed to motion. Only Agreed makes one, so
// that it cannot be forgotten.
type Consent struct{ given bool }

// Agreed returns the consent. Call it after the cautions were shown and answered.
func Agreed() Consent { return Consent{given: true} }

// Plan is one joint's part of a session.
type Plan struct {
	Joint   int // index into Config.Joints
	Routine rig.Routine
}

// Config says what to run and where to keep it.
type Config struct {
	// Line leads to the stand; the session owns it and closes it.
	Line io.ReadWriteCloser
	// Joints are those the stand is told of, Plans what is done with them, one after the other.
	Joints   []rig.Joint
	Plans    []Plan
	SampleHz float64
	Consent  Consent
	// Bench is the folder the run is kept in. Info is what is known of the run beforehand: leg,
	// revision, routine, conditions; the session fills in stand, joints, losses and ending.
	Bench string
	Info  record.Info
	// Live is told what happens; nil when nobody watches.
	Live *Live
	// Guard looks at every batch of the joint under test after it was recorded. When it returns an
	// error motion is stopped, and the run ends with its words, be its last move done by then; nil when
	// nobody guards. It is called from one goroutine and must not wait.
	Guard func(*rig.Batch) error
}

// Result says what came of a session. Dir is empty when no run was begun.
type Result struct {
	Dir   string
	Run   string
	End   record.End
	Stand link.Stand
	Joint []rig.Losses
}

// GuardError says that Config.Guard ended a run.
type GuardError struct{ Err error }

func (e *GuardError) Error() string { return e.Err.Error() }
func (e *GuardError) Unwrap() error { return e.Err }

// Errors of a session. In all cases the run is kept up to that moment.
var (
	// ErrStopped: the context ended, which is how the user stops.
	ErrStopped = errors.New("stopped by the user")
	// ErrStuck: the stand takes far longer than the routine should.
	ErrStuck = errors.New("the stand does not get on with its moves")
)

// ErrNoConsent is the caller's mistake: motion was asked for without consent.
var ErrNoConsent = errors.New("motion needs consent: show the cautions first")

const (
	// parting is how long stopping, disarming and the last samples may take.
	parting = 3 * time.Second
	// slowest is how many times the planned duration a routine may take before it counts as stuck.
	slowest = 1.5
	// graceS is added to that: the way to the first angle, and slow starts.
	graceS = 20
)

// Run carries out every plan and records it. When it returns the stand is disarmed, or beyond
// reach and so disarmed by its own heartbeat rule. The error is nil when every routine came to its
// end; it wraps ErrStopped, ErrStuck, a *GuardError, a *SenseError, a *link.TrippedError or an error of link otherwise, with the
// run kept.
func Run(ctx context.Context, cfg Config) (Result, error) {
	if !cfg.Consent.given {
		cfg.Line.Close()
		return Result{}, ErrNoConsent
	}
	for _, p := range cfg.Plans {
		if err := p.Routine.Check(cfg.Joints[p.Joint]); err != nil {
			cfg.Line.Close()
			return Result{}, err
		}
	}
	step, _ := cfg.Line.(inStep)
	if step != nil {
		step.Handled(0) // all that it sends will be counted
	}
	conn, err := link.Open(ctx, cfg.Line, link.Options{Joints: cfg.Joints, AtOnce: step != nil})
	if err != nil {
		return Result{}, fmt.Errorf("open the stand: %w", err)
	}
	res := Result{Stand: conn.Stand()}
	if err := conn.Setup(ctx, cfg.SampleHz); err != nil {
		return res, errors.Join(fmt.Errorf("set the stand up: %w", err), conn.Close())
	}
	rec, err := record.Create(cfg.Bench, describe(cfg, conn.Stand()))
	if err != nil {
		return res, errors.Join(err, conn.Close())
	}
	res.Dir, res.Run = rec.Dir(), rec.ID()

	move, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	p := newPump(conn, rec, cfg, cancel)
	p.step = step
	done := make(chan struct{})
	go func() { defer close(done); p.run() }()

	moveErr := motion(move, conn, cfg, p)
	if cause := context.Cause(move); moveErr != nil && cause != nil && ctx.Err() == nil {
		moveErr = cause // what the pump saw, not that it cancelled
	}
	moveErr = leave(ctx, conn, moveErr)
	closeErr := conn.Close()
	<-done // the pump ends when the conversation does, after it handed over the last samples

	if moveErr != nil && errors.Is(p.over, link.ErrRestarted) {
		// A trip, as section 6 of SPEC.md has it, whether the mover saw it first or the pump.
		moveErr = fmt.Errorf("%w: %w", &link.TrippedError{Trip: link.Tripped{Reason: wire.ReasonReset, Joint: -1}}, p.over)
	}
	if moveErr == nil { // seen when the last move was gone
		moveErr = cmp.Or(p.ruled, p.against)
	}
	if p.failed != nil {
		moveErr = p.failed
	}
	moveErr = strayed(moveErr, p.ways)
	res.End, res.Joint = ending(moveErr), p.losses()
	if err := rec.Close(res.End, res.Joint); err != nil {
		return res, errors.Join(moveErr, err)
	}
	if _, err := record.Seal(res.Dir); err != nil {
		return res, errors.Join(moveErr, fmt.Errorf("seal run %s: %w", res.Run, err))
	}
	if moveErr == nil && closeErr != nil && !errors.Is(closeErr, link.ErrClosed) {
		return res, fmt.Errorf("close the conversation: %w", closeErr)
	}
	return res, moveErr
}

// motion arms each joint in turn, hands its moves over and waits until they are done.
func motion(ctx context.Context, conn *link.Conn, cfg Config, p *pump) error {
	for _, plan := range cfg.Plans {
		p.begin(plan)
		if err := conn.Arm(ctx, plan.Joint); err != nil {
			return err
		}
		for i, m := range plan.Routine.Moves {
			if err := conn.Queue(ctx, plan.Joint, uint16(i+1), m); err != nil {
				return err
			}
		}
		if err := conn.Idle(ctx); err != nil {
			return err
		}
		if err := conn.Disarm(ctx); err != nil {
			return err
		}
	}
	return nil
}

// leave ends motion first and sampling after it, whatever state the session is in.
func leave(ctx context.Context, conn *link.Conn, moveErr error) error {
	part, cancel := context.WithTimeout(context.WithoutCancel(ctx), parting)
	defer cancel()
	if moveErr != nil && !errors.Is(moveErr, link.ErrGone) {
		// A stop that cannot be said is no reason to wait: without heartbeat the stand stops itself.
		_ = conn.Stop(part)
		_ = conn.Disarm(part)
	}
	if err := conn.StopSampling(part); err != nil && moveErr == nil {
		return err
	}
	if moveErr != nil && ctx.Err() != nil && errors.Is(moveErr, ctx.Err()) {
		return ErrStopped
	}
	return moveErr
}

func ending(err error) record.End {
	var trip *link.TrippedError
	var guard *GuardError
	var against *SenseError
	var stray *StrayError
	switch {
	case err == nil:
		return record.End{How: record.Complete}
	case errors.As(err, &guard):
		return record.End{How: record.Stopped, Reason: guard.Error()}
	case errors.As(err, &against):
		return record.End{How: record.Stopped, Reason: against.Error()}
	case errors.Is(err, ErrStopped):
		return record.End{How: record.Stopped, Reason: "by the user"}
	case errors.As(err, &stray) && errors.As(err, &trip):
		return record.End{How: record.Tripped, Reason: link.TripWords(trip.Trip) + ", " + stray.words()}
	case errors.As(err, &trip):
		return record.End{How: record.Tripped, Reason: link.TripWords(trip.Trip)}
	}
	return record.End{How: record.Cut, Reason: err.Error()}
}

// describe fills in what is known of the run when it begins.
func describe(cfg Config, st link.Stand) record.Info {
	info := cfg.Info
	info.Stand.Firmware, info.Stand.Protocol, info.Stand.SampleHz = st.Firmware, st.Protocol, cfg.SampleHz
	info.Joints = nil
	for i, j := range cfg.Joints {
		ji := record.JointInfo{Setup: j}
		for _, p := range cfg.Plans {
			if p.Joint == i {
				ji.Moves = append(ji.Moves, p.Routine.Moves...)
			}
		}
		info.Joints = append(info.Joints, ji)
	}
	return info
}
