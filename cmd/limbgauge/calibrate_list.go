package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"limbgauge/rig"
)

func (a *app) calibrationListCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "list",
		Short:   "list the calibrations of the bench",
		Example: "  limbgauge calibrate list\n  limbgauge calibrate list --bench ../other-leg",
		Args:    usageArgs(cobra.NoArgs),
		RunE: func(*cobra.Command, []string) error {
			files, err := filepath.Glob(rig.CalibrationPath(a.folder(), "*"))
			if err != nil {
				return err
			}
			if len(files) == 0 {
				fmt.Fprintln(a.out, `no calibrations yet; "limbgauge calibrate JOINT" makes one`)
				return nil
			}
			used := map[string][]string{} // joints whose runs are corrected by it
			if b, err := a.loadBench(); err == nil {
				for _, j := range b.Joints {
					used[j.Calibration] = append(used[j.Calibration], j.Name)
				}
			}
			var bad []error
			w := tabwriter.NewWriter(a.out, 0, 0, 2, ' ', 0)
			fmt.Fprintln(w, "calibration\tjoint\tdate\tsteps\tin use for")
			for _, f := range files {
				c, err := rig.LoadCalibration(f)
				if err != nil {
					bad = append(bad, err)
					continue
				}
				newest, keys := c.Steps()[0].Date, []string{}
				for _, s := range c.Steps() {
					keys = append(keys, stepTitle(s.Key))
					if s.Date.After(newest) {
						newest = s.Date
					}
				}
				fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\n", c.Name, c.Joint, newest.Format("2006-01-02"), strings.Join(keys, ", "), strings.Join(used[c.Name], " "))
			}
			return errors.Join(append([]error{w.Flush()}, bad...)...)
		},
	}
}

func (a *app) calibrationShowCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "show name",
		Short:   "show a calibration: constants, points and residuals",
		Example: "  limbgauge calibrate show 2026-03-01-knee-1",
		Args:    usageArgs(cobra.ExactArgs(1)),
		RunE: func(_ *cobra.Command, args []string) error {
			c, err := a.loadCalibration(args[0])
			if err != nil {
				return err
			}
			fmt.Fprintf(a.out, "%s, joint %s", c.Name, c.Joint)
			if c.From != "" {
				fmt.Fprintf(a.out, ", other steps from %s", c.From)
			}
			fmt.Fprintf(a.out, ", written by %s\n", c.Tool)
			for _, s := range c.Steps() {
				fmt.Fprint(a.out, wrap(stepTitle(s.Key)+": "+stepWords(c, s), "", pageWidth))
				printPoints(a.out, c, s.Key)
			}
			return nil
		},
	}
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
			path := rig.CalibrationPath(a.folder(), args[0])
			if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
				return inputError(fmt.Errorf("there is no %s", path), `"limbgauge calibrate list" lists the calibrations`)
			}
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
