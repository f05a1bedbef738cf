package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"limbgauge/analyze/endurance"
	"limbgauge/analyze/health"
	"limbgauge/analyze/trend"
	"limbgauge/rig"
	"limbgauge/rig/link"
	"limbgauge/rig/record"
	"limbgauge/rig/session"
)

// run plays gait and checks until a rule ends it. The error is that of the run in which it ended, nil
// where that came to its end.
func (e *endurer) run(ctx context.Context) (*endurance.Stop, error) {
	warm := e.o.warmUp == 0
	for {
		if ctx.Err() != nil { // between two runs
			return e.stopped(session.ErrStopped)
		}
		if stop := e.vigil.between(); stop != nil {
			return stop, nil
		}
		check, n, end := e.plan.Next(e.count)
		if end != nil && e.lastRun == "" { // it was done before: nothing moved
			say(e.out, "", fmt.Sprintf("Nothing to do: %s already. %s.", end.Why, end.Rule.Next))
			return nil, nil
		}
		switch {
		case end != nil:
			return end, nil
		case check && !warm && e.room() > 0:
			warm = true
			if stop, err := e.gaitRun(ctx, min(e.o.warmUp, e.room(), e.plan.RunCycles)); stop != nil || err != nil {
				return stop, err
			}
		case check:
			if stop, err := e.check(ctx, false); stop != nil || err != nil {
				return stop, err
			}
		default:
			warm = true
			if stop, err := e.gaitRun(ctx, n); stop != nil || err != nil {
				return stop, err
			}
		}
	}
}

// room is how many cycles there are to the end.
func (e *endurer) room() int {
	left := e.plan.Left(e.count)
	return int(left / e.plan.Cycle)
}

// gaitRun plays some cycles and records them.
func (e *endurer) gaitRun(ctx context.Context, n int) (*endurance.Stop, error) {
	r, err := rig.GaitRoutine(e.joint, e.knots, e.plan.Cycle, n)
	if err != nil {
		return nil, err
	}
	p := e.sweep
	p.cfg.Plans = []session.Plan{{Joint: 0, Routine: r}}
	p.cfg.Info.Routine = rig.GaitName
	p.cfg.Info.Gait = &record.Gait{Cycles: n, MovesPerCycle: len(e.knots) - 1, CycleS: e.plan.Cycle.Seconds()}
	res, err := e.play(ctx, p)
	if res.Dir == "" {
		return nil, err
	}
	info, openErr := infoOf(res.Dir)
	if openErr != nil {
		return nil, errors.Join(err, openErr)
	}
	done, countErr := e.counted(res.Dir, info)
	if countErr != nil {
		return nil, errors.Join(err, countErr)
	}
	e.count.Add(*done)
	e.sayGait(*done)
	if err != nil {
		return e.stopped(err)
	}
	return endurance.GapsOf(info.Joints[0].Losses.Lost, info.Joints[0].Samples), nil
}

func infoOf(dir string) (record.Info, error) {
	r, err := record.Open(dir)
	if err != nil {
		return record.Info{}, err
	}
	return r.Info, nil
}

// play carries out one run, with everything that watches over it.
func (e *endurer) play(ctx context.Context, p sweepPlan) (session.Result, error) {
	o := e.o.sweepOptions
	o.age = e.age()
	o.draw = o.seed*1_000_003 + uint64(e.count.Cycles)*17 + uint64(e.count.Checks) + 1
	e.guard.Rest(0)
	p.cfg.Guard = func(b *rig.Batch) error { e.vigil.look(); return e.guard.Look(b) }
	e.vigil.begin()
	defer e.vigil.look()
	if e.between != nil {
		e.between(false)
		defer e.between(true)
	}
	var res session.Result
	var err error
	if e.live != nil {
		res, err = e.carryOut(ctx, p, o, e.consent, e.live)
	} else if _, ok := terminalOf(e.err); ok {
		res, err = e.watch(o.pace(p.bench), func(live *session.Live) (session.Result, error) { return e.carryOut(ctx, p, o, e.consent, live) })
	} else { // a line for each run is enough where nobody looks on
		res, err = e.carryOut(ctx, p, o, e.consent, nil)
	}
	if res.Run != "" {
		e.lastRun = res.Run
		e.runs++
	}
	if err == nil {
		e.late = 0
	}
	return res, err
}

// check makes a check sweep and holds it against the rules; one that is to be confirmed is made again.
func (e *endurer) check(ctx context.Context, again bool) (*endurance.Stop, error) {
	if !again {
		if err := e.cool(ctx); err != nil {
			return e.stopped(session.ErrStopped)
		}
		if stop := e.vigil.between(); stop != nil { // in the rest
			return stop, nil
		}
	}
	res, err := e.play(ctx, e.sweep)
	if res.Dir == "" {
		return nil, err
	}
	r, openErr := record.Open(res.Dir)
	if openErr != nil {
		return nil, errors.Join(err, openErr)
	}
	if err != nil {
		return e.stopped(err)
	}
	h, err := e.judge(ctx, r, "")
	if err != nil {
		return nil, err
	}
	if err := e.keep(ctx, r, h); err != nil {
		return nil, err
	}
	e.count.Add(endurance.Run{ID: res.Run, Check: true})
	e.last = h.Joints[0]
	e.sayCheck(res.Run)
	alarms, err := e.alarms(ctx)
	if err != nil {
		return nil, err
	}
	v := endurance.Judge(e.last, alarms, again, e.o.despite)
	if v.Again {
		say(e.out, "      ", "checked again: "+v.Why)
		return e.check(ctx, true)
	}
	return v.Stop, nil
}

// alarms are the trend warnings that stand over the check sweeps, of measures whose limit the builder
// states and of belt tension. Others are told once: they may be long before they matter.
func (e *endurer) alarms(ctx context.Context) (out []endurance.Alarm, err error) {
	b, err := e.openBook(ctx)
	if err != nil {
		return nil, err
	}
	defer b.Close()
	trends, err := trendsOf(ctx, b, e.joint.Name, false, trend.Options{Routine: e.o.routine, Newest: true})
	if err != nil {
		return nil, err
	}
	for _, t := range trends {
		for _, w := range trend.Stand([]trend.Trend{t}) {
			switch {
			case slices.Contains(e.o.despite, t.Name):
			case t.LimitFrom == health.FromBench || t.Name == "belt_tension":
				out = append(out, endurance.Alarm{Text: w.Text})
			case !slices.Contains(e.told, t.Name):
				e.told = append(e.told, t.Name)
				say(e.out, "      ", "a trend, but no reason to stop: "+w.Text)
			}
		}
	}
	return out, nil
}

// cool rests before a check; on the virtual stand its time runs as fast as the stand does.
func (e *endurer) cool(ctx context.Context) error {
	if e.o.coolDown == 0 || e.runs == 0 {
		return nil
	}
	wait := e.o.coolDown
	if e.sweep.bench.Stand.Port == rig.PortVirtual {
		if wait = 0; e.o.speed > 0 {
			wait = time.Duration(float64(e.o.coolDown) / e.o.speed)
		}
	}
	fmt.Fprintf(e.out, "      rests for %v\n", e.o.coolDown)
	e.guard.Rest(e.o.coolDown.Seconds())
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-time.After(wait):
		return nil
	}
}

// lateMost is how often in a row a run may end for want of a heartbeat before that ends the test.
const lateMost = 3

// stopped turns the error a run ended with into the rule behind it; nil, nil is to go on.
func (e *endurer) stopped(err error) (*endurance.Stop, error) {
	var rule *endurance.Stop
	var trip *link.TrippedError
	late := errors.As(err, &trip) && trip.HostLate()
	if stop := e.vigil.within(); late && stop != nil {
		return stop, err
	}
	if late && e.late < lateMost {
		e.late++
		say(e.out, "      ", "the computer was too busy for the stand's heartbeat, so the stand stopped itself, as it should; going on")
		return nil, nil
	}
	switch {
	case errors.As(err, &rule):
		return rule, nil
	case errors.Is(err, session.ErrStopped):
		return &endurance.Stop{Rule: endurance.RuleOf(endurance.User), Why: "stopped by the user"}, err
	case errors.As(err, &trip):
		return &endurance.Stop{Rule: endurance.RuleOf(endurance.Trip), Why: "the stand tripped: " + link.TripWords(trip.Trip)}, err
	}
	return &endurance.Stop{Rule: endurance.RuleOf(endurance.Lost), Why: err.Error()}, err
}
