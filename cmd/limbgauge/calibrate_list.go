package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"strings"
	"text/tabwriter"

	"github.com/pelletier/go-toml/v2"
	"github.com/spf13/cobra"

	"limbgauge/rig"
)

// calibrationRow is what the list says of a calibration.
type calibrationRow struct {
	Name  string   `json:"name"`
	Joint string   `json:"joint"`
	Date  string   `json:"date"` // of its newest step
	Steps []string `json:"steps"`
	InUse []string `json:"in_use_for"` // joints whose runs are corrected by it
}

func (a *app) calibrationListCommand() *cobra.Command {
	asJSON := false
	cmd := &cobra.Command{
		Use:     "list",
		Short:   "list the calibrations of the bench",
		Example: "  limbgauge calibrate list\n  limbgauge calibrate list --bench ../other-leg",
		Args:    usageArgs(cobra.NoArgs),
		RunE: func(*cobra.Command, []string) error {
			rows, err := a.calibrationRows()
			switch {
			case asJSON:
				return errors.Join(printJSON(a.out, rows), err)
			case len(rows) == 0 && err == nil:
				fmt.Fprintln(a.out, `no calibrations yet; "limbgauge calibrate JOINT" makes one`)
				return nil
			}
			t := sheet{columns: []column{{title: "calibration", least: 16}, {title: "joint", least: 8}, {title: "date"}, {title: "steps", least: 12}, {title: "in use for", least: 8}}}
			for _, r := range rows {
				t.add(r.Name, r.Joint, r.Date, strings.Join(r.Steps, ", "), strings.Join(r.InUse, " "))
			}
			t.print(a.out)
			return err
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return cmd
}

// calibrationRows reads every calibration of the bench; the error tells of those that can not be read.
func (a *app) calibrationRows() ([]calibrationRow, error) {
	files, err := filepath.Glob(rig.CalibrationPath(a.folder(), "*"))
	if err != nil {
		return nil, err
	}
	used := map[string][]string{}
	if b, err := a.loadBench(); err == nil {
		for _, j := range b.Joints {
			used[j.Calibration] = append(used[j.Calibration], j.Name)
		}
	}
	rows, bad := []calibrationRow{}, []error{}
	for _, f := range files {
		c, err := rig.LoadCalibration(f)
		if err != nil {
			bad = append(bad, err)
			continue
		}
		newest, r := c.Steps()[0].Date, calibrationRow{Name: c.Name, Joint: c.Joint, InUse: append([]string{}, used[c.Name]...)}
		for _, s := range c.Steps() {
			r.Steps = append(r.Steps, stepTitle(s.Key))
			if s.Date.After(newest) {
				newest = s.Date
			}
		}
		r.Date = newest.Format("2006-01-02")
		rows = append(rows, r)
	}
	return rows, errors.Join(bad...)
}

func (a *app) calibrationShowCommand() *cobra.Command {
	asJSON := false
	cmd := &cobra.Command{
		Use:     "show name",
		Short:   "show a calibration: constants, points and residuals",
		Example: "  limbgauge calibrate show 2026-03-01-knee-1",
		Args:    usageArgs(cobra.ExactArgs(1)),
		RunE: func(_ *cobra.Command, args []string) error {
			c, err := a.loadCalibration(args[0])
			if err != nil {
				return err
			}
			if asJSON {
				return printCalibrationJSON(a.out, c)
			}
			head := fmt.Sprintf("%s, joint %s", c.Name, c.Joint)
			if c.From != "" {
				head += ", other steps from " + c.From
			}
			say(a.out, "", head+", written by "+c.Tool)
			for _, s := range c.Steps() {
				say(a.out, "", stepTitle(s.Key)+": "+stepWords(c, s))
				printPoints(a.out, c, s.Key)
			}
			return nil
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON, by the keys of the calibration's file")
	return cmd
}

// printCalibrationJSON prints what the file of a calibration holds, by the same keys.
func printCalibrationJSON(w io.Writer, c *rig.Calibration) error {
	all := map[string]any{}
	if err := toml.Unmarshal(c.Encode(), &all); err != nil {
		return fmt.Errorf("print calibration: %w", err)
	}
	all["name"] = c.Name
	return printJSON(w, all)
}

func (a *app) calibrationUseCommand() *cobra.Command {
	joint := ""
	cmd := &cobra.Command{
		Use:   "use name",
		Short: "write a calibration's name into bench.toml",
		Long: `Write the name of a calibration below the name of its joint in bench.toml. One line is
changed or added, the rest stays as it was typed. Runs made from then on name it.`,
		Example: "  limbgauge calibrate use 2026-03-01-knee-1",
		Args:    usageArgs(cobra.ExactArgs(1)),
		RunE: func(_ *cobra.Command, args []string) error {
			c, err := a.loadCalibration(args[0])
			if err != nil {
				return err
			}
			if joint == "" {
				joint = c.Joint
			}
			b, err := a.loadBench()
			if err != nil {
				return err
			}
			j, err := jointOf(b, joint)
			if err != nil {
				return err
			}
			if wrong := c.Misfit(j); wrong != "" {
				return inputError(fmt.Errorf("calibration %s: %s", c.Name, wrong), "serials stand in [joint.servo] and [joint.sensors] of bench.toml")
			}
			return a.useInBench(joint, c.Name)
		},
	}
	cmd.Flags().StringVar(&joint, "joint", "", "the joint that uses it; default: the one it was made for")
	return cmd
}

// printPoints prints the points of one step with their residuals.
func printPoints(out io.Writer, c *rig.Calibration, key string) {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	switch key {
	case "pulse":
		fmt.Fprintln(w, "  pulse us\tdirection\tangle deg\tresidual deg\t")
		for _, p := range c.Pulse.Points {
			fmt.Fprintf(w, "  %.1f\t%s\t%.3f\t%+.3f\t\n", p.PulseUS, map[int]string{1: "up", -1: "down"}[p.Direction], p.AngleDeg, p.Residual)
		}
	case "torque":
		fmt.Fprintln(w, "  torque N·m\tmass kg\tangle deg\tcurrent A\tresidual A\t")
		for _, p := range c.Torque.Points {
			fmt.Fprintf(w, "  %+.4f\t%.3g\t%.1f\t%.4f\t%+.4f\t\n", p.TorqueNm, p.MassKg, p.AngleDeg, p.CurrentA, p.Residual)
		}
	default:
		unit := unitOf(key)
		fmt.Fprintf(w, "  reference %s\treading %s\tresidual %s\t\n", unit, unit, unit)
		for _, p := range (*c.Correction(key)).Points {
			fmt.Fprintf(w, "  %.4g\t%.5g\t%+.4f\t\n", p.Reference, p.Reading, math.Round(1e4*p.Residual)/1e4+0) // + 0: no sign before a zero
		}
	}
	w.Flush()
}
