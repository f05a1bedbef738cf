package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"limbgauge/analyze"
	"limbgauge/analyze/book"
	"limbgauge/analyze/health"
	"limbgauge/rig"
	"limbgauge/rig/record"
)

// noBare says that no bare-servo run is to be taken off, whatever was before.
const noBare = "none"

// judge analyses every joint of a run, with what earlier runs say of it. bare names the bare-servo
// run to take off; where it is empty the one of the run's last judging counts, then the one its
// bench.toml named.
func (a *app) judge(ctx context.Context, r *record.Run, bare string) (health.Health, error) {
	h := health.Health{Schema: health.Schema, Run: r.Info.Run, Leg: r.Info.Leg, Revision: r.Info.Revision, Decision: health.DecisionRule}
	b, err := a.openBook(ctx)
	if err != nil {
		return h, err
	}
	defer b.Close()
	before, _, err := book.ReadHealth(r.Dir)
	if err != nil {
		before = health.Health{} // a spoiled answer is written anew
	}
	took := false
	var ask []question
	for _, j := range r.Info.Joints {
		if j.Samples == 0 {
			continue
		}
		past, err := pastOf(ctx, b, r.Info, j.Setup.Name)
		if err != nil {
			return h, err
		}
		id := before.BareRuns[j.Setup.Name]
		if bare != "" {
			id = bare
		}
		own := id != "" && !(id == noBare && j.Setup.Servo.BareRun == "") // something else than the set-up names
		if id == "" {
			id = j.Setup.Servo.BareRun
		}
		note := ""
		if id != "" && id != noBare && !r.Info.Conditions.BareServo {
			past.Bare, err = a.bareServo(id, j.Setup.Name, r.Info.Started)
			switch {
			case err == nil:
				id, took = past.Bare.Run, true
			case bare == "": // it was named in another time; what else there is to say is still true
				note = fmt.Sprintf("Nothing was taken off for the bare servo: %v.", err)
			case !isNoSuchJoint(err):
				return h, err
			}
		}
		if own && !r.Info.Conditions.BareServo {
			if h.BareRuns == nil {
				h.BareRuns = map[string]string{}
			}
			h.BareRuns[j.Setup.Name] = id
		}
		if r.Info.Conditions.BareServo {
			note = "This run is of the bare servo, with the belt off: it opens and cures no problem of the joint."
		}
		ask = append(ask, question{joint: j.Setup.Name, samples: j.Samples, past: past, note: note})
	}
	if h.Joints, err = answers(ctx, r, ask); err != nil {
		return h, err
	}
	if len(h.Joints) == 0 {
		return h, inputError(fmt.Errorf("run %s holds no samples", r.Info.Run), "it was stopped before the first one came")
	}
	if bare != "" && bare != noBare && !took {
		if r.Info.Conditions.BareServo {
			return h, usageError{fmt.Errorf("run %s is a bare-servo run itself; --bare is for a run of the whole joint", r.Info.Run)}
		}
		return h, inputError(fmt.Errorf("run %s holds none of the joints of run %s", bare, r.Info.Run), "name the bare-servo run of a joint of this run")
	}
	return h, nil
}

// pastOf asks the book what earlier runs say of a joint.
func pastOf(ctx context.Context, b *book.Book, i record.Info, joint string) (analyze.Past, error) {
	p := analyze.Past{Routine: i.Routine}
	usual, err := b.Usual(ctx, book.RunOf(i), joint)
	for _, u := range usual {
		p.Usual = append(p.Usual, analyze.PastRun{Run: u.Run, Measures: u.Joint.Measures})
	}
	return p, err
}

// noSuchJointError says that a bare-servo run is of other joints.
type noSuchJointError struct{ run, joint string }

func (e noSuchJointError) Error() string {
	return fmt.Sprintf("bare-servo run %s has no joint %q", e.run, e.joint)
}

func isNoSuchJoint(err error) bool {
	var e noSuchJointError
	return errors.As(err, &e)
}

// bareFresh is how long after a run of the bare servo it is taken to be as it was [common practice].
const bareFresh = 48 * time.Hour

// bareServo reads a bare-servo run and analyses one of its joints, for a run that started at a time.
func (a *app) bareServo(id, joint string, started time.Time) (*analyze.Bare, error) {
	dir, err := a.runDir([]string{id})
	if err != nil {
		return nil, err
	}
	r, err := record.Open(dir)
	if err != nil {
		return nil, err
	}
	if _, err := bareSetup(r.Info, joint); err != nil {
		return nil, err
	}
	s, err := r.Series(joint)
	if err != nil {
		return nil, err
	}
	b, err := analyze.BareServo(r.Info.Run, r.Info.Routine, s, r.Setup(joint))
	if err != nil {
		return nil, inputError(fmt.Errorf("bare-servo run %s: %w", r.Info.Run, err), "the run is too short to be used; sweep the bare servo again")
	}
	b.Stale = started.Sub(r.Info.Started) > bareFresh
	return b, nil
}

// bareSetup returns how a joint's bare servo was set up in a run.
func bareSetup(i record.Info, joint string) (rig.Joint, error) {
	if !i.Conditions.BareServo {
		return rig.Joint{}, inputError(fmt.Errorf("run %s is no run of a bare servo", i.Run),
			fmt.Sprintf(`take the belt off, hang the weight on the servo's horn, and make one with "limbgauge sweep %s --bare-servo"`, joint))
	}
	for _, j := range i.Joints {
		if j.Setup.Name == joint {
			return j.Setup, nil
		}
	}
	return rig.Joint{}, noSuchJointError{i.Run, joint}
}

// checkBareRun says before anything moves what is wrong with the bare-servo run that bench.toml names.
func (a *app) checkBareRun(b *rig.Bench, j rig.Joint) error {
	if j.Servo.BareRun == "" {
		return nil
	}
	blame := func(err error) error {
		return inputError(fmt.Errorf("%s: joint %s: servo.bare_run = %q: %w", b.Path, j.Name, j.Servo.BareRun, err),
			"name a run of the bare servo of this joint, or leave the key out")
	}
	dir, err := a.runDir([]string{j.Servo.BareRun})
	if err != nil {
		return blame(err)
	}
	r, err := record.Open(dir)
	if err != nil {
		return blame(err)
	}
	if _, err := bareSetup(r.Info, j.Name); err != nil {
		return blame(err)
	}
	return nil
}
