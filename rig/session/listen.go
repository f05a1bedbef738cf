package session

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"limbgauge/rig"
	"limbgauge/rig/link"
	"limbgauge/rig/record"
)

// ListenConfig says what to listen to and where to keep it.
type ListenConfig struct {
	Line   io.ReadWriteCloser // the session owns it and closes it
	Joints []rig.Joint
	// Others are joints of the bench whose lines may come as well and are left out.
	Others []rig.Joint
	For    time.Duration // host time; 0: until the context ends
	Bench  string
	Info   record.Info
	Live   *Live
}

// Listen records what a stand of the text form prints. It commands nothing, so it needs no consent;
// what moves the joint is the stand's own affair. It ends complete when the time is over or the
// context is: with nothing commanded there is no routine to break off.
func Listen(ctx context.Context, cfg ListenConfig) (Result, error) {
	if cfg.For > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, cfg.For)
		defer cancel()
	}
	info := cfg.Info
	info.Joints = nil
	for _, j := range cfg.Joints {
		info.Joints = append(info.Joints, record.JointInfo{Setup: j})
	}
	l := listener{cfg: cfg, info: info, feed: link.Listen(cfg.Line, slices.Concat(cfg.Joints, cfg.Others)), state: newProgress(Config{Joints: cfg.Joints})}
	l.state.total = cfg.For // 0: nobody knows
	err := l.take(ctx)
	if ctx.Err() != nil && errors.Is(err, ctx.Err()) {
		err = nil
	}
	closeErr := l.feed.Close()
	if err == nil { // what was read by then belongs to the run
		if err = l.take(context.WithoutCancel(ctx)); errors.Is(err, link.ErrClosed) {
			err = nil
		}
	}
	rec, res := l.rec, Result{}
	if rec == nil {
		if err == nil {
			err = errors.New("nothing was heard, so there is no run")
		}
		return res, errors.Join(err, closeErr)
	}
	res.Dir, res.Run = rec.Dir(), rec.ID()
	res.End = record.End{How: record.Complete}
	for _, loss := range l.feed.Losses()[:len(cfg.Joints)] {
		res.Joint = append(res.Joint, loss.Losses)
		if !loss.Known {
			res.End.Reason = unnumbered
		}
	}
	if err != nil {
		res.End = record.End{How: record.Cut, Reason: err.Error()}
	}
	if e := rec.Close(res.End, res.Joint); e != nil {
		return res, errors.Join(err, e)
	}
	if _, e := record.Seal(res.Dir); e != nil {
		return res, errors.Join(err, fmt.Errorf("seal run %s: %w", res.Run, e))
	}
	return res, err
}

// unnumbered is said of a run whose losses nobody can know, so that 0 is not read as none.
const unnumbered = "the stand does not number its samples, so losses show only as gaps in time"

// listener takes what a stand prints to the recording and to whoever watches.
type listener struct {
	cfg   ListenConfig
	info  record.Info
	feed  *link.Text
	rec   *record.Recorder // nil until the first sample: a port that never speaks leaves no empty run behind
	state progress
}

// take goes on until there is nothing more, which is always an error.
func (l *listener) take(ctx context.Context) error {
	for {
		e, err := l.feed.Next(ctx)
		if err != nil {
			return err
		}
		switch e := e.(type) {
		case *link.Samples:
			for _, b := range e.Batches {
				if err := l.samples(b); err != nil {
					return err
				}
			}
		case *link.Log:
			l.cfg.Live.say("stand: " + e.Text)
		case *link.BadLine:
			l.cfg.Live.say(fmt.Sprintf("line %d skipped: %v (%s)", e.Number, e.Reason, e.Detail))
		}
	}
}

func (l *listener) samples(b *rig.Batch) (err error) {
	if b.Len() == 0 || b.Joint >= len(l.cfg.Joints) {
		return nil
	}
	if l.rec == nil {
		if l.rec, err = record.Create(l.cfg.Bench, l.info); err != nil {
			return err
		}
	}
	if err := l.rec.Append(b); err != nil {
		return err
	}
	l.state.take(b)
	l.cfg.Live.put(l.state.snapshot(l.feed.Losses()[b.Joint].Losses))
	return nil
}
