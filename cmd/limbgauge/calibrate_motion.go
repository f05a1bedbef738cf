package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"limbgauge/analyze/calibrate"
	"limbgauge/rig"
	"limbgauge/rig/record"
	"limbgauge/rig/session"
)

const (
	pulseShort  = "where the servo goes for a pulse, up and down"
	torqueShort = "current under two or three weights, both sides"
	// weightMost is the greatest share of the stall torque a weight may ask for [common practice].
	weightMost = 0.6
)

func (o *calibrateOptions) weightFlags(cmd *cobra.Command) {
	cmd.Flags().StringVar(&o.weights, "weights", "", "the weights in kg, as in 0.1,0.2,0.3")
	cmd.Flags().Float64Var(&o.lever, "lever", 0, "their distance from the joint's axis in m")
	cmd.Flags().Float64Var(&o.armKgM, "arm", 0, "what the arm itself adds to mass times lever, in kg·m")
}

func (a *app) pulseCommand() *cobra.Command {
	var o calibrateOptions
	cmd := a.motionCommand(&o, "pulse", pulseShort, `Run the joint through stops reached from both sides, 3 cycles, and fit pulse to angle
for rising and falling pulses; between them lie dead band, play and friction. Do it
without load, belt off if there is one to take off. The angles are corrected by the
angle step taken over, so do that one first. The samples are kept as a run in
calibrations/runs.

What runs are told they were commanded is corrected by the middle of both lines.`,
		`  limbgauge calibrate pulse knee
  limbgauge calibrate pulse knee --run 0007
  limbgauge calibrate pulse knee --points pulses.csv`, (*calibrating).pulse)
	cmd.Flags().StringVar(&o.points, "points", "", "take the points from this CSV file, columns pulse_us, direction (up, down), reading_deg")
	cmd.Flags().Float64Var(&o.within, "within", 0, "the angles are right within so many deg")
	return cmd
}

func (a *app) torqueCommand() *cobra.Command {
	var o calibrateOptions
	cmd := a.motionCommand(&o, "torque", torqueShort, `Hang two or three weights on an arm, one after the other, run the joint through stops on
both sides, and find which current flows under which torque: by the square of it
with a switching driver, in proportion without. Tie each weight, keep it low over the
table, and keep out from under it. Before each weight the cautions come again and the
joint moves only after "arm" is typed. The samples are kept as runs in calibrations/runs.`,
		`  limbgauge calibrate torque knee --weights 0.1,0.2,0.3 --lever 0.1
  limbgauge calibrate torque knee --run 0003 --run 0005
  limbgauge calibrate torque knee --points weights.csv`, (*calibrating).torque)
	cmd.Flags().StringVar(&o.points, "points", "", "take the points from this CSV file, columns mass_kg, lever_m, angle_deg (from hanging down), reading_a; or torque_nm, reading_a")
	o.weightFlags(cmd)
	return cmd
}

func (a *app) motionCommand(o *calibrateOptions, use, short, long, example string, do func(*calibrating, context.Context) error) *cobra.Command {
	cmd := &cobra.Command{
		Use: use + " joint", Short: short, Long: long, Example: example,
		Args: usageArgs(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			k, err := a.begin(args[0], *o)
			if err != nil {
				return err
			}
			if err := do(k, cmd.Context()); err != nil {
				return err
			}
			return k.finish()
		},
	}
	o.fileFlags(cmd)
	o.standFlags(cmd)
	o.motionFlags(cmd)
	cmd.Flags().StringArrayVar(&o.runs, "run", nil, "take the points from this run instead of moving the joint; may be repeated")
	return cmd
}

// pulse makes the step pulse.
func (k *calibrating) pulse(ctx context.Context) error {
	within := k.o.within
	if math.IsNaN(within) {
		within = 0
	}
	if !(within >= 0) {
		return usageError{fmt.Errorf("--within %g: give 0 or more", within)}
	}
	made, err := k.made(k.j.Servo.Serial)
	if err != nil {
		return err
	}
	var points []rig.PulsePoint
	from, loaded := k.o.points, ""
	down := math.NaN()
	if k.j.Load != nil {
		down = k.j.Load.DownDeg
	}
	switch {
	case k.o.points != "" && len(k.o.runs) > 0 || len(k.o.runs) > 1:
		return usageError{errors.New("give one --run, or --points")}
	case k.o.points != "":
		points, err = readPulses(k.o.points, k.c.JointAngle)
	default:
		var r *record.Run
		if len(k.o.runs) == 1 {
			r, err = k.app.calibrationRun(k.o.runs[0])
		} else {
			if err := k.commanded(); err != nil {
				return err
			}
			bare := k.j
			bare.Load = &rig.Load{} // what a load bends is no matter of pulses
			say(k.app.out, "", fmt.Sprintf("Servo supply off: take the load off joint %s, the belt too if that is easy.", k.j.Name))
			r, err = k.move(ctx, bare, "stops from both sides without load")
		}
		if err != nil {
			return err
		}
		from, made.Run = "run "+r.Dir, filepath.ToSlash(k.relative(r.Dir))
		var s *rig.Series
		if s, err = r.Raw(k.j.Name); err == nil {
			points, err = calibrate.PulseFrom(s, setupOf(r, k.j), k.c.JointAngle)
		}
		if l := setupOf(r, k.j).Load; l != nil && l.MassKg*l.LeverM > 0 {
			loaded = fmt.Sprintf("A load of %.3g kg at %.3g m hung on the joint: what it bends is in these lines, and runs corrected by them hide it. Do this without load.", l.MassKg, l.LeverM)
		}
	}
	if err != nil {
		return pointsError(from, err)
	}
	p, notes, err := calibrate.Pulse(points, within, down)
	if err != nil {
		return pointsError(from, err)
	}
	if loaded != "" {
		notes = append(notes, loaded)
	}
	if k.c.JointAngle == nil {
		notes = append(notes, "The angles are as the sensor shows them: an error of its zero and scale is in these lines. Make the step angle first.")
	}
	p.Made = made
	k.c.Pulse = &p
	k.say("pulse", notes)
	return nil
}

// commanded refuses a stand that cannot be told to move.
func (k *calibrating) commanded() error {
	if k.b.Stand.Form == rig.FormText && k.b.Stand.Port != rig.PortVirtual {
		return usageError{errors.New(`a stand of the text form can not be commanded; make a run of stops with it ("limbgauge listen") and give --run, or give --points`)}
	}
	return nil
}

// relative names a run's folder from the bench.
func (k *calibrating) relative(dir string) string {
	if rel, err := filepath.Rel(k.app.folder(), dir); err == nil {
		return rel
	}
	return dir
}

// setupOf returns the joint as the run describes it.
func setupOf(r *record.Run, j rig.Joint) rig.Joint {
	for _, i := range r.Info.Joints {
		if i.Setup.Name == j.Name {
			return i.Setup
		}
	}
	return j
}

// calibrationRun opens a run of the bench by number, or any run by its folder, seen from here or from
// the bench.
func (a *app) calibrationRun(id string) (*record.Run, error) {
	for _, dir := range []string{id, filepath.Join(a.folder(), filepath.FromSlash(id))} {
		if _, err := os.Stat(filepath.Join(dir, "run.json")); err == nil {
			return record.Open(dir)
		}
	}
	if filepath.Base(id) != id {
		return nil, inputError(fmt.Errorf("there is no run in %s", id), `give the number of a run that "limbgauge runs" lists, or a run's folder`)
	}
	return a.openRun([]string{id})
}

// move runs a joint through the calibration routine, with cautions and consent, and keeps the samples
// beside the calibrations: such a run says nothing of the joint's health.
func (k *calibrating) move(ctx context.Context, j rig.Joint, what string) (*record.Run, error) {
	a := k.app
	routine, err := rig.CalibrationRoutine(j)
	if err != nil {
		return nil, err
	}
	j.Calibration = "" // its samples are raw material
	dir := filepath.Dir(rig.CalibrationPath(a.folder(), "x"))
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, fmt.Errorf("keep the calibration's run: %w", err)
	}
	cfg := session.Config{SampleHz: k.b.Stand.SampleHz, Bench: dir, Joints: []rig.Joint{j}, Plans: []session.Plan{{Joint: 0, Routine: routine}}}
	lo, hi := reach(routine)
	say := fmt.Sprintf("About to move: joint %s between %.0f and %.0f deg %s, %s, about %s.", j.Name, lo, hi, pace(routine), what, clock(routine.Duration(routine.Moves[0].TargetDeg)))
	if cfg.Consent, err = a.consent(ctx, say, k.b, k.o.consentOptions); err != nil {
		return nil, err
	}
	var stand record.Stand
	if cfg.Line, stand, err = k.app.openLine(k.b, cfg.Joints, k.o.lineOptions); err != nil {
		return nil, err
	}
	cfg.Info = record.Info{Leg: k.b.Leg.Name, Routine: routine.Name, Started: a.now(), Stand: stand,
		Conditions: record.Conditions{Note: "for a calibration: " + what}}
	res, err := a.watch(k.o.pace(k.b), func(live *session.Live) (session.Result, error) {
		cfg.Live = live
		return session.Run(ctx, cfg)
	})
	if err != nil {
		return nil, err
	}
	return record.Open(res.Dir)
}

// pointsError gives an error of points the name of where they come from, and what to do.
func pointsError(from string, err error) error {
	if errors.Is(err, calibrate.ErrPoints) {
		return inputError(fmt.Errorf("%s: %w", from, err), "nothing was written")
	}
	return err
}
