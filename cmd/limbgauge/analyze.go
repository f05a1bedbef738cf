package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"limbgauge/analyze"
	"limbgauge/analyze/health"
	"limbgauge/rig"
	"limbgauge/rig/record"
)

type analyzeOptions struct {
	csv   string
	joint string
	json  bool
	gate  bool
	// calibration, where given, is used instead of the run's own; noCalibration for none.
	calibration string
	bare        string // the bare-servo run to take off
	all         bool   // list every measure that was not seen
}

const noCalibration = "none"

func (a *app) analyzeCommand() *cobra.Command {
	var o analyzeOptions
	cmd := &cobra.Command{
		Use:   "analyze [run]",
		Short: "judge a run, or a log from elsewhere",
		Long: `Turn the samples of a run into measures with uncertainty and into findings with
evidence. Without a run the newest is taken. A run's answer is kept beside its
samples and in the book.

With --csv a log is judged where it lies and nothing is kept. It needs the columns
time_s, joint, command_deg and joint_deg; move, motor_deg, current_a, supply_v,
torque_nm and temp_c help. --bench names the bench.toml that describes the joint.

Readings are corrected by the calibration the run was made with, those of a log by
the one bench.toml names. --calibration takes another of the bench, or "none" for
readings as the stand sent them; what comes of it is printed and not kept.

A joint without motor-side angle shows servo and transmission only together. --bare
names a run of the bare servo ("sweep --bare-servo") that is taken off; the answer
keeps it until another one, or "none", is named.`,
		Example: `  limbgauge analyze
  limbgauge analyze 0042 --json
  limbgauge analyze 0042 --all
  limbgauge analyze 0042 --bare 0031
  limbgauge analyze 0042 --calibration none
  limbgauge analyze --bench bench.toml --csv log.csv.gz`,
		Args: usageArgs(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if o.csv != "" {
				if len(args) > 0 {
					return usageError{fmt.Errorf("give a run or --csv, not both")}
				}
				return a.analyzeCSV(o)
			}
			return a.analyzeRun(cmd.Context(), args, o)
		},
	}
	cmd.Flags().StringVar(&o.csv, "csv", "", "judge this log (.csv or .csv.gz) instead of a run")
	cmd.Flags().StringVar(&o.joint, "joint", "", "only this joint")
	cmd.Flags().StringVar(&o.bare, "bare", "", `take this run of the bare servo off, or "none"`)
	cmd.Flags().BoolVar(&o.json, "json", false, "print one JSON object, always with every measure")
	cmd.Flags().BoolVar(&o.all, "all", false, "say of every measure that was not seen why")
	cmd.Flags().BoolVar(&o.gate, "gate", false, "exit with 6 when a joint has a fault")
	cmd.Flags().StringVar(&o.calibration, "calibration", "", `correct readings by this calibration, or by "none"; default: the one the run names`)
	return cmd
}

func (a *app) analyzeCSV(o analyzeOptions) error {
	b, err := a.loadBench()
	if err != nil {
		return err
	}
	series, err := record.ReadCSV(o.csv, record.CSVOptions{Ignored: a.ignoredColumn(o.csv)})
	if err != nil {
		return err
	}
	h := health.Health{Schema: health.Schema, Leg: b.Leg.Name, Decision: health.DecisionRule}
	for _, s := range series {
		if o.joint != "" && s.Joint != o.joint {
			continue
		}
		j, ok := b.JointByName(s.Joint)
		if !ok {
			return inputError(fmt.Errorf("%s: joint %q of the log is not described in %s, which has %s", o.csv, s.Joint, b.Path, jointNames(b.Joints)),
				"add a [[joint]] of that name, or correct the joint column of the log")
		}
		c, err := a.logCalibration(b, j, s, o)
		if err != nil {
			return err
		}
		past, err := a.logPast(j, o.bare)
		if err != nil {
			return err
		}
		answer, err := analyze.RunAfter(c.Series(s, j), c.Setup(j), past)
		if err != nil {
			return inputError(fmt.Errorf("%s: %w", o.csv, err), "log a longer run")
		}
		if s.Calibration != "" {
			answer.Notes = append(answer.Notes, "The log says that its readings are corrected by calibration "+s.Calibration+".")
		}
		correctedNote(&answer, c)
		h.Joints = append(h.Joints, answer)
	}
	if len(h.Joints) == 0 {
		return inputError(fmt.Errorf("%s: no samples of joint %q", o.csv, o.joint), "look at the joint column of the log")
	}
	return a.answer(reply{Health: h}, answerForm{json: o.json, gate: o.gate, all: o.all})
}

// logPast is what is known of a joint beside a log: the bare servo, where one is named.
func (a *app) logPast(j rig.Joint, bare string) (p analyze.Past, err error) {
	if bare == "" {
		bare = j.Servo.BareRun
	}
	if bare != "" && bare != noBare {
		p.Bare, err = a.bareServo(bare, j.Name, time.Time{})
	}
	return p, err
}

// jointOf returns the joint of that name; the error says which there are.
func jointOf(b *rig.Bench, name string) (rig.Joint, error) {
	j, ok := b.JointByName(name)
	if !ok {
		return j, usageError{&rig.NameError{What: "joint", Name: name, Where: "in " + b.Path, Known: namesOf(b.Joints)}}
	}
	return j, nil
}

func namesOf(js []rig.Joint) (names []string) {
	for _, j := range js {
		names = append(names, j.Name)
	}
	return names
}

func jointNames(js []rig.Joint) string { return strings.Join(namesOf(js), ", ") }

func printJSON(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		return fmt.Errorf("print JSON: %w", err)
	}
	return nil
}

// ignoredColumn tells of columns of a log that mean nothing here, so that a mistyped name does not
// go unseen.
func (a *app) ignoredColumn(path string) func(string) {
	return func(column string) {
		fmt.Fprintf(a.err, "limbgauge: %s: column %s is not known and was left out\n", path, column)
	}
}

// analyzeRun judges a run of the bench and keeps the answer.
func (a *app) analyzeRun(ctx context.Context, args []string, o analyzeOptions) error {
	r, err := a.openRun(args)
	if err != nil {
		return err
	}
	if o.calibration != "" {
		if err := a.useCalibration(r, o.calibration); err != nil {
			return err
		}
	}
	h, err := a.judge(ctx, r, o.bare)
	if err != nil {
		return err
	}
	if !r.Live && o.calibration == "" { // of a run that goes on the last word is not said, nor by what is only tried
		if err := a.keep(ctx, r, h); err != nil {
			return err
		}
	}
	if o.joint != "" {
		all := h.Joints
		h.Joints = slices.DeleteFunc(slices.Clone(all), func(j health.Joint) bool { return j.Joint != o.joint })
		if len(h.Joints) == 0 {
			var names []string
			for _, j := range all {
				names = append(names, j.Joint)
			}
			return usageError{&rig.NameError{What: "joint", Name: o.joint, Where: "in run " + r.Info.Run, Known: names}}
		}
	}
	re := reply{Health: h, run: r.Info}
	if !r.Live && o.calibration == "" {
		a.takeNews(ctx, &re)
	}
	return a.answer(re, answerForm{json: o.json, gate: o.gate, all: o.all})
}
