package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"
)

func (a *app) exportCommand() *cobra.Command {
	form, path := "", ""
	calendar, corrected := false, false
	cmd := &cobra.Command{
		Use:   "export [run]",
		Short: "write a run's samples as CSV or line protocol",
		Long: `Write a run's samples, with values as the stand sent them. With --corrected the
calibration the run was made with is applied first, and lines at the top of the CSV
say so.`,
		Example: `  limbgauge export 0042 > run.csv
  limbgauge export 0042 --form lines --out run.lp`,
		Args: usageArgs(cobra.MaximumNArgs(1)),
		RunE: func(_ *cobra.Command, args []string) error {
			r, err := a.openRun(args)
			if err != nil {
				return err
			}
			write := r.WriteCSV
			switch form {
			case "csv":
			case "lines":
				write = func(w io.Writer) error { return r.WriteLines(w, calendar) }
			default:
				return oneOfWords("form", form, "csv", "lines")
			}
			switch {
			case corrected && form != "csv":
				return usageError{errors.New("--corrected goes with csv, which can say what corrected it")}
			case corrected:
				write = r.WriteCorrectedCSV
			case r.Info.Calibration != "" && r.Info.Calibration != noCalibration:
				fmt.Fprintf(a.err, "limbgauge: note: values are as the stand sent them; --corrected applies calibration %s\n", r.Info.Calibration)
			}
			if path == "" {
				w := bufio.NewWriter(a.out)
				if err := write(w); err != nil {
					return err
				}
				return w.Flush()
			}
			return writeOut(path, write)
		},
	}
	cmd.Flags().StringVar(&form, "form", "csv", "csv or lines (line protocol)")
	cmd.Flags().StringVar(&path, "out", "", "write to this file, which must not be there yet; default: print")
	cmd.Flags().BoolVar(&corrected, "corrected", false, "apply the calibration the run was made with")
	cmd.Flags().BoolVar(&calendar, "calendar", false, "with lines: timestamps in calendar time instead of the stand's")
	return cmd
}

// writeOut writes a new file; when that fails nothing half-written stays.
func writeOut(path string, write func(io.Writer) error) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if os.IsExist(err) {
		return inputError(fmt.Errorf("%s is there already and was left alone", path), "give another name")
	}
	if err != nil {
		return fmt.Errorf("export: %w", err)
	}
	w := bufio.NewWriter(f)
	err = write(w)
	if err == nil {
		err = w.Flush()
	}
	if e := f.Close(); err == nil {
		err = e
	}
	if err != nil {
		os.Remove(path)
		return fmt.Errorf("export to %s: %w", path, err)
	}
	return nil
}
