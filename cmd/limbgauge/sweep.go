package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"limbgauge/analyze/book"
	"limbgauge/analyze/health"
	"limbgauge/rig"
	"limbgauge/rig/link"
	"limbgauge/rig/record"
	"limbgauge/rig/session"
)

type sweepOptions struct {
	lineOptions
	consentOptions
	runOptions
	routine string
	json    bool
	gate    bool
}

// runOptions are what the builder says of a run.
type runOptions struct {
	revision string
	assembly string
	// newAssembly asks for the next tag that is free.
	newAssembly               bool
	bare                      bool // the belt is off and the weight hangs on the servo's own horn
	note                      string
	supplyV                   float64
	ambientC                  float64
	supplyGiven, ambientGiven bool // where it reads 0 as well
}

// absoluteZeroC is what no temperature lies below (the definition of the degree Celsius, SI Brochure 9).
const absoluteZeroC = -273.15

func (o *runOptions) flags(cmd *cobra.Command) {
	cmd.Flags().StringVarP(&o.revision, "revision", "r", "", "revision under test; default: the newest")
	cmd.Flags().StringVar(&o.assembly, "assembly", "", "tag of this assembly; runs with one tag speak of one assembly; default: the last of the joint with this revision")
	cmd.Flags().BoolVar(&o.newAssembly, "new-assembly", false, "the leg was put together anew: give this run the next free tag, such as B-2")
	cmd.Flags().BoolVar(&o.bare, "bare-servo", false, "the belt is off, weight and joint sensor are on the servo's own horn")
	cmd.Flags().StringVar(&o.note, "note", "", "anything worth knowing of this run")
	cmd.Flags().Var(&reading{&o.supplyV, &o.supplyGiven, 0}, "supply", "supply voltage that is set, in V")
	cmd.Flags().Var(&reading{&o.ambientC, &o.ambientGiven, absoluteZeroC}, "ambient", "ambient temperature, in °C")
}

func (a *app) sweepCommand() *cobra.Command {
	var o sweepOptions
	cmd := &cobra.Command{
		Use:   "sweep joint...",
		Short: "run joints through a routine, record, and judge them",
		Long: `Run joints through a routine, one after the other, record command, angles,
current and voltage, and judge each joint. The cautions are shown and motion
starts only after "arm" is typed. Ctrl-C stops motion first, then keeps what was
recorded.

Routines:
` + routineHelp() + `
With --bare-servo the servo is measured by itself: take the belt off, set the weight
and the joint's angle sensor on its horn; joint_zero_deg is then what it reads there.
"analyze --bare RUN", or bare_run below [joint.servo] for later runs, takes it off a
joint that has no motor-side angle.

A stop by software is no safety device: keep a switch in the servo's supply in reach.

` + faultHelp(),
		Example: `  limbgauge sweep knee --revision A
  limbgauge sweep knee --port /dev/ttyUSB0 --routine quick
  limbgauge sweep knee --yes --fault belt_slack=0.8      (virtual stand)`,
		Args: usageArgs(cobra.MinimumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error { return a.sweep(cmd.Context(), args, o) },
	}
	o.flags(cmd)
	cmd.Flags().StringVar(&o.routine, "routine", "assembly", strings.Join(rig.RoutineNames(), ", "))
	cmd.Flags().StringVar(&o.port, "port", "", "serial port instead of the one in bench.toml")
	cmd.Flags().BoolVar(&o.yes, "yes", false, "arm the virtual stand without asking")
	cmd.Flags().BoolVar(&o.handsClear, "hands-clear", false, "with --yes: arm a real stand too; you state that nobody can reach into it")
	o.virtualFlags(cmd, 10)
	cmd.Flags().BoolVar(&o.json, "json", false, "print the answer as one JSON object")
	cmd.Flags().BoolVar(&o.gate, "gate", false, "exit with 6 when a joint has a fault")
	return cmd
}

// routineHelp lists the routines for the command's help.
func routineHelp() string {
	var b strings.Builder
	for _, r := range rig.RoutineKinds() {
		fmt.Fprintf(&b, "  %-9s %s\n", r.Name, r.Words())
	}
	return b.String()
}

func (a *app) sweep(ctx context.Context, names []string, o sweepOptions) error {
	res, err := a.record(ctx, names, o)
	return a.afterSweep(ctx, res, err, o)
}

// afterSweep judges what was recorded, also of a run that was stopped, and prints it.
func (a *app) afterSweep(ctx context.Context, res session.Result, err error, o sweepOptions) error {
	if res.Dir == "" {
		return err
	}
	fmt.Fprintf(a.err, "run %s: %s\n", res.Run, ended(res.End))
	for i, l := range res.Joint {
		if l.Lost+l.Damaged+l.Late > 0 {
			fmt.Fprintf(a.err, "  joint %d: %d samples lost, %d frames damaged, %d late\n", i+1, l.Lost, l.Damaged, l.Late)
		}
	}
	ctx = context.WithoutCancel(ctx)
	h, judgeErr := a.judgeEnded(ctx, res, err)
	if judgeErr != nil {
		return judgeErr
	}
	info, readErr := infoOf(res.Dir)
	if readErr != nil {
		return errors.Join(err, readErr)
	}
	fmt.Fprintln(a.err)
	re := reply{Health: h, run: info}
	if err == nil { // a run that was broken off is no news of a problem
		a.takeNews(ctx, &re)
	}
	answerErr := a.answer(re, answerForm{json: o.json, gate: o.gate, short: true})
	if err != nil {
		return err
	}
	return answerErr
}

// judgeEnded judges and keeps what a session recorded; ended is the error it ended with. Where that cannot
// be done the error says so together with ended, save that too short a run is no news when it was broken off.
func (a *app) judgeEnded(ctx context.Context, res session.Result, ended error) (h health.Health, err error) {
	// Who stopped the motion did not stop the judging of what is there.
	ctx = context.WithoutCancel(ctx)
	r, err := record.Open(res.Dir)
	if err != nil {
		return h, errors.Join(ended, err)
	}
	if h, err = a.judge(ctx, r, ""); err != nil {
		if ended != nil {
			return h, ended
		}
		return h, err
	}
	if err := a.keep(ctx, r, h); err != nil {
		return h, errors.Join(ended, err)
	}
	return h, nil
}

// sweepPlan is a sweep made ready: all that can be wrong beforehand is known not to be.
type sweepPlan struct {
	cfg     session.Config // without line, consent and live feed
	bench   *rig.Bench
	whole   []rig.Joint // as bench.toml has them
	what    string      // is going to move, in a sentence
	notes   []string    // what to know of it
	carried bool        // nobody named its assembly: it is of the one named last
}

// planSweep makes a sweep ready.
func (a *app) planSweep(ctx context.Context, names []string, o sweepOptions) (p sweepPlan, err error) {
	b, err := a.loadBench()
	if err != nil {
		return p, err
	}
	if o.port != "" {
		b.Stand.Port = o.port
	}
	if b.Stand.Form == rig.FormText {
		return p, usageError{errors.New(`a stand of the text form can not be commanded; use "limbgauge listen"`)}
	}
	p.bench, p.cfg = b, session.Config{SampleHz: b.Stand.SampleHz, Bench: a.folder()}
	if o.speed < 0 {
		return p, usageError{fmt.Errorf("--speed %g: give times real time, or 0 for as fast as it goes", o.speed)}
	}
	var moves []string
	for i, n := range names {
		if slices.Contains(names[:i], n) {
			return p, usageError{fmt.Errorf("joint %s is named twice", n)}
		}
		j, err := jointOf(b, n)
		if err != nil {
			return p, err
		}
		if err := a.checkBareRun(b, j); err != nil {
			return p, err
		}
		called := "joint " + n
		p.whole = append(p.whole, j)
		if o.bare {
			j, called = j.BareServo(), "the bare servo of joint "+n
			if key, problem, hint := j.SensorWrong(); key != "" {
				return p, inputError(fmt.Errorf("%s: %s %s", called, key, problem), hint)
			}
		}
		r, err := rig.BuiltinRoutine(o.routine, j)
		if err != nil {
			return p, usageError{err}
		}
		lo, hi := reach(r)
		moves = append(moves, fmt.Sprintf("%s between %.0f and %.0f deg %s, routine %s, about %s", called, lo, hi, pace(r), r.Name, o.takes(b, r.Duration(r.Moves[0].TargetDeg))))
		if hz := j.Servo.FrameHz; hz > 0 {
			p.notes = append(p.notes, fmt.Sprintf("The servo of joint %s gets %d pulses a second, as bench.toml says: only where its data sheet names that rate, others overheat.", n, hz))
		}
		p.cfg.Joints = append(p.cfg.Joints, j)
		p.cfg.Plans = append(p.cfg.Plans, session.Plan{Joint: i, Routine: r})
	}
	if err := oneFrame(b, p.cfg.Joints); err != nil {
		return p, err
	}
	p.what = "About to move: " + strings.Join(moves, "; then ") + "."
	if p.cfg.Info, err = a.info(ctx, b, o.runOptions, o.routine); err != nil {
		return p, err
	}
	if err := a.carryAssembly(ctx, &p); err != nil {
		return p, err
	}
	if p.cfg.Info.Calibrations, err = calibrationsOf(b, p.cfg.Joints); err != nil {
		return p, err
	}
	if b.Stand.Port == rig.PortVirtual { // a wrong --fault is said before the cautions, not after
		err = p.virtualLoads(o)
	}
	return p, err
}

// oneFrame refuses joints that would be set up together with servo rates of their own, which share a timer. One that
// states none beside one that does is among them: which rate is the stand's own only its firmware knows.
func oneFrame(b *rig.Bench, joints []rig.Joint) error {
	says := func(j rig.Joint) string {
		if j.Servo.FrameHz == 0 {
			return "not stated for joint " + j.Name
		}
		return fmt.Sprintf("%d for joint %s", j.Servo.FrameHz, j.Name)
	}
	for _, j := range joints {
		if first := joints[0]; j.Servo.FrameHz != first.Servo.FrameHz {
			return inputError(fmt.Errorf("%s: joint.servo.frame_hz is %s and %s: the stand gives all servos of a sweep one number of pulses a second", b.Path, says(first), says(j)),
				"sweep these joints one at a time, or state one rate that the data sheets of all their servos name")
		}
	}
	return nil
}

// virtualLoads tells the joints of a virtual stand what hangs on them: faults of load hang more there,
// and a builder who does that knows its weight.
func (p *sweepPlan) virtualLoads(o sweepOptions) error {
	truths, err := truthsOf(p.whole, o.lineOptions)
	if err != nil {
		return err
	}
	if o.bare {
		_, truths = bareServos(p.whole, truths)
	}
	for i, t := range truths {
		j := &p.cfg.Joints[i]
		if l := t.Bench(*j).Load; l != nil && j.Load != nil && l.MassKg != j.Load.MassKg {
			p.notes = append(p.notes, fmt.Sprintf("For this fault %.2f kg hang on joint %s instead of the %.2f kg of bench.toml; the run is judged with that.",
				l.MassKg, j.Name, j.Load.MassKg))
			j.Load = l
		}
	}
	return nil
}

// record runs the routine on the stand.
func (a *app) record(ctx context.Context, names []string, o sweepOptions) (session.Result, error) {
	p, err := a.planSweep(ctx, names, o)
	if err != nil {
		return session.Result{}, err
	}
	for _, n := range p.notes {
		say(a.err, "", n)
	}
	consent, err := a.consent(ctx, p.what, p.bench, o.consentOptions)
	if err != nil {
		return session.Result{}, err
	}
	return a.watch(o.pace(p.bench), func(live *session.Live) (session.Result, error) { return a.carryOut(ctx, p, o, consent, live) })
}

// carryOut runs a planned sweep that was agreed to.
func (a *app) carryOut(ctx context.Context, p sweepPlan, o sweepOptions, consent session.Consent, live *session.Live) (session.Result, error) {
	o.bareServo = o.bare
	line, stand, err := a.openLine(p.bench, p.whole, o.lineOptions)
	if err != nil {
		return session.Result{}, err
	}
	p.cfg.Info.Stand, p.cfg.Info.Started = stand, a.now()
	p.cfg.Line, p.cfg.Consent, p.cfg.Live = line, consent, live
	return session.Run(ctx, p.cfg)
}

// watch shows a session while it runs, whose stand's time goes at some pace.
func (a *app) watch(pace float64, run func(*session.Live) (session.Result, error)) (session.Result, error) {
	live := session.NewLive(64)
	done := make(chan struct{})
	shown := make(chan struct{})
	go func() {
		defer close(shown)
		w := newWatcher(a.err)
		w.pace = pace
		w.follow(live, done)
	}()
	res, err := run(live)
	close(done)
	<-shown
	return res, err
}

// reach returns the smallest and greatest target of a routine.
func reach(r rig.Routine) (lo, hi float64) {
	lo, hi = r.Moves[0].TargetDeg, r.Moves[0].TargetDeg
	for _, m := range r.Moves {
		lo, hi = min(lo, m.TargetDeg), max(hi, m.TargetDeg)
	}
	return lo, hi
}

// pace says how fast a routine moves.
func pace(r rig.Routine) string {
	most, jumps := 0.0, ""
	for _, m := range r.Moves {
		most = max(most, m.RateDegPerS)
		if m.RateDegPerS == 0 {
			jumps = " and in jumps as fast as the servo goes"
		}
	}
	return fmt.Sprintf("at up to %.0f deg/s%s", most, jumps)
}

// info gathers what is known of a run before it begins.
func (a *app) info(ctx context.Context, b *rig.Bench, o runOptions, routine string) (record.Info, error) {
	info := record.Info{Leg: b.Leg.Name, Revision: o.revision, Routine: routine, Started: a.now()}
	info.Conditions.Assembly, info.Conditions.Note, info.Conditions.BareServo = o.assembly, o.note, o.bare
	if o.supplyV != 0 || o.supplyGiven {
		info.Conditions.SupplySetV = &o.supplyV
	}
	if o.ambientC != 0 || o.ambientGiven {
		info.Conditions.AmbientC = &o.ambientC
	}
	if b.Path != "" {
		data, err := os.ReadFile(b.Path)
		if err != nil {
			return info, fmt.Errorf("read bench file: %w", err)
		}
		sum := sha256.Sum256(data)
		info.Bench = record.BenchFile{Path: filepath.Base(b.Path), SHA256: hex.EncodeToString(sum[:])}
	}
	bk, err := a.openBook(ctx)
	if err != nil {
		return info, err
	}
	defer bk.Close()
	revs, err := bk.Revisions(ctx)
	if err != nil {
		return info, err
	}
	if o.revision == "" && len(revs) > 0 {
		info.Revision = revs[len(revs)-1].Name
	}
	if info.Revision != "" {
		r, err := book.Family(revs).Find(info.Revision)
		if err != nil {
			return info, usageError{err}
		}
		for _, e := range book.LookAt(a.folder(), revs, true).Troubles(r) {
			fmt.Fprintf(a.err, "limbgauge: note: %v\n", e)
			info.Notes = append(info.Notes, fmt.Sprintf("When this run began: %v.", e))
		}
	}
	if o.newAssembly {
		if o.assembly != "" {
			return info, usageError{errors.New("--assembly names one, --new-assembly makes one: give either")}
		}
		runs, err := bk.Runs(ctx)
		if err != nil {
			return info, err
		}
		info.Conditions.Assembly = nextAssembly(runs, info.Revision)
		fmt.Fprintf(a.err, "This is assembly %s; further runs of it: --assembly %s\n", info.Conditions.Assembly, info.Conditions.Assembly)
	}
	return info, nil
}

// codes lists which errors of the packages below have which exit code.
func codes() []struct {
	code int
	is   func(error) bool
} {
	as := func(target any) func(error) bool { return func(err error) bool { return errors.As(err, target) } }
	return []struct {
		code int
		is   func(error) bool
	}{
		{exitStopped, func(err error) bool { return errors.Is(err, session.ErrStopped) || errors.Is(err, session.ErrStuck) }},
		{exitStopped, as(new(*link.TrippedError))},
		{exitStopped, as(new(*session.SenseError))},
		{exitStand, as(new(*link.VersionError))},
		{exitStand, as(new(*link.FrameError))},
		{exitStand, as(new(*link.NoHelloError))},
		{exitStand, as(new(*link.QuietError))},
		{exitStand, as(new(*link.NoReplyError))},
		{exitStand, as(new(*link.RefusedError))},
		{exitStand, func(err error) bool {
			return errors.Is(err, link.ErrGone) || errors.Is(err, link.ErrRestarted) || errors.Is(err, link.ErrClosed)
		}},
		{exitStand, isPortError},
		{exitInput, as(new(*link.ChannelError))},
		{exitInput, as(new(*rig.ConfigError))},
		{exitInput, as(new(*record.InputError))},
		{exitInput, as(new(*record.CorruptError))},
		{exitInput, func(err error) bool { return errors.Is(err, record.ErrNoSamples) || errors.Is(err, record.ErrDamaged) }},
		{exitInput, isHistoryError},
	}
}
