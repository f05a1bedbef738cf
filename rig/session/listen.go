package session

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"limbgauge/rig"
	"limbgauge/rig/link"
	"limbgauge/rig/record"
)

// ListenConfig says what to listen to and where to keep it.
type ListenConfig struct {
	Line   io.ReadWriteCloser // the session owns it and closes it
	Joints []rig.Joint
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
	feed := link.Listen(cfg.Line, cfg.Joints)
	var rec *record.Recorder
	var res Result
	state := newProgress(Config{Joints: cfg.Joints})
	err := func() error {
		for {
			e, err := feed.Next(ctx)
			if err != nil {
				if ctx.Err() != nil {
					return nil
				}
				return err
			}
			switch e := e.(type) {
			case *link.Samples:
				if rec == nil { // a port that never speaks leaves no empty run behind
					if rec, err = record.Create(cfg.Bench, info); err != nil {
						return err
					}
					res.Dir, res.Run = rec.Dir(), rec.ID()
				}
				for _, b := range e.Batches {
					if b.Len() == 0 {
						continue
					}
					if err := rec.Append(b); err != nil {
						return err
					}
					state.take(b)
					cfg.Live.put(state.snapshot(feed.Losses()[b.Joint].Losses))
				}
			case *link.BadLine:
				cfg.Live.say(fmt.Sprintf("line %d skipped: %v", e.Number, e.Reason))
			}
		}
	}()
	closeErr := feed.Close()
	if rec == nil {
		if err == nil {
			err = errors.New("nothing was heard, so there is no run")
		}
		return res, errors.Join(err, closeErr)
	}
	for _, l := range feed.Losses() {
		res.Joint = append(res.Joint, l.Losses)
	}
	res.End = record.End{How: record.Complete}
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
