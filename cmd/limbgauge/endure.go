package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"limbgauge/analyze/budget"
	"limbgauge/analyze/endurance"
	"limbgauge/analyze/health"
	"limbgauge/rig"
	"limbgauge/rig/record"
	"limbgauge/rig/session"
	"limbgauge/rig/virtual"
)

type endureOptions struct {
	sweepOptions // its routine is that of the check sweeps
	cycles       int
	checkEvery   int
	hours        float64
	cycleS       float64
	runCycles    int
	warmUp       int
	coolDown     time.Duration
	heatMost     float64
	tempMost     float64
	despite      []string
	wear         []string
}

// What a test does where nothing else is said [common practice].
const (
	checkRoutine = "check"
	checkEvery   = 500
	runCycles    = 250
	warmUp       = 20
)

func (a *app) endureCommand() *cobra.Command {
	var o endureOptions
	cmd := &cobra.Command{
		Use:   "endure joint",
		Short: "repeat a gait for hours, with a check sweep now and then",
		Long: `Repeat the way a joint makes in a gait, for thousands of cycles, with a short check
sweep every so many of them. The gait is that of the torque budget where bench.toml
states the leg, else it goes over the middle half of the joint's range. Everything is
recorded: gait runs count as travel, check sweeps are judged and feed the trend.

Cycles and hours count all gait of this joint as it is built now: same leg,
revision and assembly tag, since the last service. After a stop or a power cut the
same command goes on from there.

It ends by rules, whichever comes first:
` + ruleHelp() + `
The cautions are shown once and "arm" is typed once, for all runs of the test. Each
run arms the stand anew and disarms it; Ctrl-C stops motion first and keeps all. A
stop by software is no safety device: keep a switch in the servo's supply in reach,
and do not leave a joint alone that can hurt or burn.`,
		Example: `  limbgauge endure knee --cycles 20000 --check-every 500
  limbgauge endure knee --hours 6 --check-every 200 --cool-down 60s
  limbgauge endure knee --cycles 2000 --check-every 200 --yes --speed 0 \
      --wear belt_tension_low=40,-0.01      (virtual stand: the belt loosens)`,
		Args: usageArgs(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error { return a.endure(cmd.Context(), args[0], o) },
	}
	f := cmd.Flags()
	f.IntVar(&o.cycles, "cycles", 0, "end when the joint has done so many, earlier ones counted")
	f.IntVar(&o.checkEvery, "check-every", checkEvery, "cycles between two check sweeps")
	f.Float64Var(&o.hours, "hours", 0, "end after so many hours of gait by the stand's clock, earlier ones counted")
	f.StringVar(&o.routine, "check", checkRoutine, "routine of the check sweeps: "+strings.Join(rig.RoutineNames(), ", "))
	f.Float64Var(&o.cycleS, "cycle-time", 0, "time of a cycle, in s; default: step_s below [robot], else 1")
	f.IntVar(&o.runCycles, "run-cycles", runCycles, "greatest number of cycles kept in one run")
	f.IntVar(&o.warmUp, "warm-up", warmUp, "cycles before the first check sweep, so that it finds a warm joint")
	f.DurationVar(&o.coolDown, "cool-down", 0, "rest, disarmed, before each check sweep, as in 60s")
	f.Float64Var(&o.heatMost, "heat", endurance.HeatMost, "greatest heat by current (I²t), as a share of what may last; 0: no limit")
	f.Float64Var(&o.tempMost, "max-temp", endurance.TempMostC, "greatest temperature where one is measured, in °C; 0: no limit")
	f.StringArrayVar(&o.despite, "despite", nil, "a cause or measure you know of and accept, as near_stall; may be repeated")
	o.flags(cmd)
	f.StringVar(&o.port, "port", "", "serial port instead of the one in bench.toml")
	f.BoolVar(&o.yes, "yes", false, "arm the virtual stand without asking")
	f.BoolVar(&o.handsClear, "hands-clear", false, "with --yes: arm a real stand too; you state that nobody can reach into it")
	o.virtualFlags(cmd, 10)
	f.StringArrayVar(&o.wear, "wear", nil, "virtual stand: what use does, as cause=SIZE,CHANGE_PER_CYCLE; may be repeated")
	f.BoolVar(&o.json, "json", false, "print the answer as one JSON object")
	return cmd
}

// ruleHelp lists the rules for the command's help.
func ruleHelp() string {
	var b strings.Builder
	for _, r := range endurance.Rules() {
		fmt.Fprintf(&b, "  %-11s  %s\n", r.Key, r.When)
	}
	return b.String()
}

// endurer is an endurance test under way.
type endurer struct {
	*app
	o       endureOptions
	sweep   sweepPlan
	joint   rig.Joint
	knots   []rig.Knot
	plan    endurance.Plan
	guard   *endurance.Guard
	consent session.Consent
	count   endurance.Count
	last    health.Joint // the newest check's answer
	lastRun string
	runs    int      // of this sitting
	told    []string // measures whose trend was told
	late    int      // runs in a row that ended for want of a heartbeat
	vigil   vigil
	live    *session.Live // of a page; nil where none looks on
	between func(bool)    // is told when a run has ended, and false before one begins; nil where none looks on
	began   time.Time
}

func (a *app) endure(ctx context.Context, name string, o endureOptions) error {
	if o.json { // the answer alone goes to standard output
		out := a.out
		a.out = a.err
		defer func() { a.out = out }()
		quiet := *a
		quiet.out = out
		return a.endureTo(ctx, &quiet, name, o)
	}
	return a.endureTo(ctx, a, name, o)
}

func (a *app) endureTo(ctx context.Context, printer *app, name string, o endureOptions) error {
	e, err := a.planEndurance(ctx, name, o)
	if err != nil {
		return err
	}
	for _, n := range e.sweep.notes {
		say(a.err, "", n)
	}
	if e.consent, err = a.consent(ctx, e.what(), e.sweep.bench, o.consentOptions); err != nil {
		return err
	}
	stop, err := e.toItsEnd(ctx)
	if stop == nil {
		return err
	}
	if printErr := e.finish(printer, stop); printErr != nil {
		return errors.Join(err, printErr)
	}
	if err == nil && stop.Rule.Kind != endurance.Goal {
		err = kindError{err: fmt.Errorf("the endurance test of joint %s was ended by its rule %q", e.joint.Name, stop.Rule.Key), code: exitFault, hint: stop.Rule.Next}
	}
	return err
}

// toItsEnd runs the test and leaves word of its end with the last run.
func (e *endurer) toItsEnd(ctx context.Context) (*endurance.Stop, error) {
	e.began = e.now()
	stop, err := e.run(ctx)
	if stop != nil && err == nil && stop.Rule.Kind != endurance.Live { // such a run has ended with its reason
		if remarkErr := record.Remark(record.RunDir(e.folder(), e.lastRun), fmt.Sprintf("the endurance test ended here by its rule %q: %s", stop.Rule.Key, stop.Why)); remarkErr != nil {
			err = remarkErr
		}
	}
	return stop, err
}

// planEndurance makes a test ready: all that can be wrong beforehand is known not to be.
func (a *app) planEndurance(ctx context.Context, name string, o endureOptions) (*endurer, error) {
	for _, d := range o.despite {
		if err := knownCauseOrMeasure(d); err != nil {
			return nil, err
		}
	}
	for _, w := range o.wear {
		f, err := parseWear(w)
		if err != nil {
			return nil, err
		}
		o.sweepOptions.wear = append(o.sweepOptions.wear, f)
	}
	p, err := a.planSweep(ctx, []string{name}, o.sweepOptions)
	if err != nil {
		return nil, err
	}
	if len(o.wear) > 0 && p.bench.Stand.Port != rig.PortVirtual {
		return nil, usageError{fmt.Errorf("--wear is for the virtual stand; this bench uses port %q", p.bench.Stand.Port)}
	}
	e := &endurer{app: a, o: o, sweep: p, joint: p.cfg.Joints[0], vigil: vigil{now: a.now}}
	if e.joint.Sensors.JointCounts == 0 {
		return nil, inputError(fmt.Errorf("joint %s has no angle sensor, so nothing can guard it", name), "set joint_counts below [joint.sensors]")
	}
	cycle := e.gait()
	e.plan = endurance.Plan{Cycles: o.cycles, Hours: time.Duration(o.hours * float64(time.Hour)), CheckEvery: o.checkEvery, Cycle: cycle,
		RunCycles: min(o.runCycles, rig.GaitMoves/(len(e.knots)-1))}
	if err := e.plan.Check(); err != nil {
		return nil, usageError{err}
	}
	if _, err := rig.GaitRoutine(e.joint, e.knots, cycle, 1); err != nil {
		return nil, usageError{err}
	}
	if o.warmUp < 0 || o.coolDown < 0 || o.heatMost < 0 || o.tempMost < 0 {
		return nil, usageError{errors.New("--warm-up, --cool-down, --heat and --max-temp must not be negative")}
	}
	e.guard = endurance.NewGuard(e.joint)
	e.guard.HeatMost, e.guard.TempMostC = o.heatMost, o.tempMost
	done, err := e.done(ctx)
	if err != nil {
		return nil, err
	}
	e.count = endurance.CountOf(done)
	return e, nil
}

// defaultCycle is the time of a cycle where bench.toml states no step [common practice].
const defaultCycle = time.Second

// gait chooses the joint's way through a cycle, and its time.
func (e *endurer) gait() time.Duration {
	cycle := defaultCycle
	b := e.sweep.bench
	if r := b.Robot; r != nil {
		cycle = time.Duration(r.StepS * float64(time.Second))
	}
	if e.o.cycleS > 0 {
		cycle = time.Duration(e.o.cycleS * float64(time.Second))
	}
	e.knots = rig.DefaultGait(e.joint)
	if s, err := budget.Of(b, nil); err == nil {
		for k, j := range s.Joints {
			knots, ok := s.Gait(k)
			if j.Name != e.joint.Name || !ok {
				continue
			}
			if lo, hi := span(knots); lo < e.joint.RangeDeg[0] || hi > e.joint.RangeDeg[1] {
				e.sweep.notes = append(e.sweep.notes, fmt.Sprintf("The gait of [leg.geometry] takes joint %s from %.0f to %.0f deg, outside its range; it goes over the middle half of the range instead.", j.Name, lo, hi))
				continue
			}
			e.knots = knots
		}
	}
	if least := rig.FastestGait(e.joint, e.knots); cycle < least && e.o.cycleS == 0 {
		e.sweep.notes = append(e.sweep.notes, fmt.Sprintf("A cycle takes %v instead of %v: the servo is no quicker.", least, cycle))
		cycle = least
	}
	return cycle
}

func span(knots []rig.Knot) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, k := range knots {
		lo, hi = math.Min(lo, k.Deg), math.Max(hi, k.Deg)
	}
	return lo, hi
}

// what says what is going to move.
func (e *endurer) what() string {
	lo, hi := span(e.knots)
	text := fmt.Sprintf("About to move for a long time: joint %s between %.0f and %.0f deg, a cycle in %.2f s", e.joint.Name, lo, hi, e.plan.Cycle.Seconds())
	if e.plan.Cycles > 0 {
		text += fmt.Sprintf(", to %d cycles", e.plan.Cycles)
	}
	if e.plan.Hours > 0 {
		text += fmt.Sprintf(", to %.2f hours of gait", e.plan.Hours.Hours())
	}
	r := e.sweep.cfg.Plans[0].Routine
	slo, shi := reach(r)
	text += fmt.Sprintf("; every %d cycles the routine %s between %.0f and %.0f deg. ", e.plan.CheckEvery, r.Name, slo, shi)
	if e.count.Cycles > 0 {
		text += fmt.Sprintf("%d cycles in %s are done already. ", e.count.Cycles, hours(e.count.Took))
	}
	return text + fmt.Sprintf("It takes about %s more, and arms again for every run without asking.", hours(e.left()))
}

// done reads from the run folders what counts: runs of this joint as it is built now. A run that was
// cut is sealed first.
func (e *endurer) done(ctx context.Context) ([]endurance.Run, error) {
	since, err := e.lastService(ctx)
	if err != nil {
		return nil, err
	}
	entries, err := record.List(e.folder())
	if err != nil {
		return nil, err
	}
	var out []endurance.Run
	for _, x := range entries {
		i := x.Info
		if x.Err != nil || i.Leg != e.sweep.cfg.Info.Leg || i.Revision != e.sweep.cfg.Info.Revision || i.Conditions.Assembly != e.sweep.cfg.Info.Conditions.Assembly ||
			i.Conditions.BareServo || i.Started.Before(since) || !slices.ContainsFunc(i.Joints, func(j record.JointInfo) bool { return j.Setup.Name == e.joint.Name }) {
			continue
		}
		if x.Live {
			return nil, inputError(fmt.Errorf("run %s is being recorded", x.ID), "one test at a time: let it end, or stop it")
		}
		if i.State == record.Recording {
			if i, err = record.Seal(x.Dir); err != nil {
				return nil, fmt.Errorf("seal run %s, which was cut: %w", x.ID, err)
			}
			fmt.Fprintf(e.out, "run %s was cut; what it holds is sealed and counts\n", x.ID)
		}
		r, err := e.counted(x.Dir, i)
		if err != nil {
			return nil, err
		}
		if r != nil {
			out = append(out, *r)
		}
	}
	return out, nil
}

// lastService returns when the joint was last worked on.
func (e *endurer) lastService(ctx context.Context) (t time.Time, err error) {
	b, err := e.openBook(ctx)
	if err != nil {
		return t, err
	}
	defer b.Close()
	services, err := b.Services(ctx)
	for _, s := range services {
		if (s.Joint == "" || s.Joint == e.joint.Name) && s.When.After(t) {
			t = s.When
		}
	}
	return t, err
}

// counted says what a run adds; nil for one that is of no test.
func (e *endurer) counted(dir string, i record.Info) (*endurance.Run, error) {
	if i.Gait == nil {
		if i.Routine == e.o.routine && i.End.How == record.Complete {
			return &endurance.Run{ID: i.Run, Check: true}, nil
		}
		return nil, nil
	}
	r := &endurance.Run{ID: i.Run, Took: time.Duration(i.DurationS() * float64(time.Second)), Cycles: i.Gait.Cycles}
	if i.End.How == record.Complete {
		return r, nil
	}
	run, err := record.Open(dir)
	if err != nil {
		return nil, err
	}
	s, err := run.Raw(e.joint.Name)
	if err != nil {
		return nil, err
	}
	last := 0
	for _, n := range s.Segment {
		last = max(last, int(n))
	}
	r.Cycles = rig.GaitCycles(last, i.Gait.MovesPerCycle, i.Gait.Cycles)
	return r, nil
}

// age is how much use the virtual joint has behind it.
func (e *endurer) age() virtual.Age {
	return virtual.Age{Runs: e.runs, Cycles: float64(e.count.Cycles)}
}
