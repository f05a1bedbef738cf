package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"limbgauge/rig/record"
)

// runDir returns the folder of the run named, or of the newest when none is.
func (a *app) runDir(args []string) (string, error) {
	if len(args) == 0 {
		ids, err := record.IDs(a.folder())
		if err != nil {
			return "", err
		}
		if len(ids) == 0 {
			return "", inputError(fmt.Errorf("%s holds no runs", a.folder()), `"limbgauge sweep JOINT" makes one; --bench names another bench`)
		}
		return record.RunDir(a.folder(), ids[len(ids)-1]), nil
	}
	id := filepath.Base(args[0]) // a path into runs/ is as good as the number
	for len(id) < 4 && strings.Trim(id, "0123456789") == "" {
		id = "0" + id
	}
	dir := record.RunDir(a.folder(), id)
	if _, err := os.Stat(dir); errors.Is(err, os.ErrNotExist) {
		return "", inputError(fmt.Errorf("there is no run %s in %s", id, a.folder()), `"limbgauge runs" lists them`)
	}
	return dir, nil
}

// openRun opens a run and says what of it is damaged.
func (a *app) openRun(args []string) (*record.Run, error) {
	dir, err := a.runDir(args)
	if err != nil {
		return nil, err
	}
	r, err := record.Open(dir)
	if err != nil {
		return nil, err
	}
	for _, d := range r.Damage {
		fmt.Fprintf(a.err, "limbgauge: %v\n", d)
	}
	if len(r.Damage) > 0 {
		fmt.Fprintf(a.err, "limbgauge: hint: what is whole is used; \"limbgauge seal %s\" keeps that part for good\n", r.Info.Run)
	}
	return r, nil
}

// checkRow is what reading a run from end to end said.
type checkRow struct {
	Run     string   `json:"run"`
	Whole   bool     `json:"whole"`
	Sealed  bool     `json:"sealed"`
	Damaged []string `json:"damaged"`
}

func (a *app) checkCommand() *cobra.Command {
	asJSON := false
	cmd := &cobra.Command{
		Use:     "check [run...]",
		Example: "  limbgauge check\n  limbgauge check 0042 --json",
		Short:   "read runs from end to end and name what is damaged",
		Long: `Read every sample of the runs named, of all runs when none is, and name what is
damaged: file, frame, byte, and how far the run is whole. Nothing is changed.`,
		RunE: func(_ *cobra.Command, args []string) error {
			dirs, err := a.runDirs(args)
			if err != nil {
				return err
			}
			return a.check(dirs, asJSON)
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return cmd
}

func (a *app) check(dirs []string, asJSON bool) error {
	st, rows := styleOf(a.out), []checkRow{}
	var bad []error
	cut := false // a journal is damaged, which sealing can mend
	for _, d := range dirs {
		errs, rest := record.Check(d), unsealed(d)
		row := checkRow{Run: filepath.Base(d), Whole: len(errs) == 0, Sealed: rest == "", Damaged: []string{}}
		for _, e := range errs {
			cut = cut || errors.As(e, new(*record.CorruptError))
			row.Damaged = append(row.Damaged, e.Error())
		}
		if row.Whole && !asJSON {
			fmt.Fprintf(a.out, "%s %s%s\n", row.Run, st.good("whole"), rest)
		}
		rows, bad = append(rows, row), append(bad, errs...)
	}
	if asJSON {
		if err := printJSON(a.out, rows); err != nil {
			return err
		}
	}
	if len(bad) == 0 {
		return nil
	}
	hint := "take the run's folder from a copy; what is not named here is whole"
	if cut {
		hint = `"limbgauge seal RUN" keeps what is whole of a cut run`
	}
	return kindError{err: errors.Join(bad...), code: exitInput, hint: hint}
}

// unsealed says of a run without damage that its recording was cut, so that whole is not read as complete.
func unsealed(dir string) string {
	r, err := record.Open(dir)
	switch {
	case err != nil:
		return " (can not be read)"
	case r.Info.State == record.Sealed:
		return ""
	case r.Live:
		return " so far; it is being recorded"
	}
	return fmt.Sprintf(" up to where it was cut, %.1f s; not sealed", r.Info.DurationS())
}

func (a *app) runDirs(args []string) ([]string, error) {
	var dirs []string
	for _, id := range args {
		d, err := a.runDir([]string{id})
		if err != nil {
			return nil, err
		}
		dirs = append(dirs, d)
	}
	if len(args) > 0 {
		return dirs, nil
	}
	ids, err := record.IDs(a.folder())
	for _, id := range ids {
		dirs = append(dirs, record.RunDir(a.folder(), id))
	}
	return dirs, err
}

// sealRow is what sealing kept of a run.
type sealRow struct {
	Run       string   `json:"run"`
	Samples   int      `json:"samples"`
	DurationS float64  `json:"duration_s"`
	Ended     string   `json:"ended"`
	Notes     []string `json:"notes"`
}

func (a *app) sealCommand() *cobra.Command {
	asJSON := false
	cmd := &cobra.Command{
		Use:     "seal [run...]",
		Example: "  limbgauge seal\n  limbgauge seal 0042",
		Short:   "turn the journal of a cut run into its sealed file",
		Long: `A run is sealed by itself when it ends. One that was cut - the power went, the
program was killed - keeps its journal until it is sealed: all that is whole goes
into the sealed file, what was cut is noted. Without a run, all unsealed ones.`,
		RunE: func(_ *cobra.Command, args []string) error {
			dirs, err := a.runDirs(args)
			if err != nil {
				return err
			}
			rows, err := sealAll(dirs)
			if asJSON {
				return errors.Join(printJSON(a.out, rows), err)
			}
			for _, r := range rows {
				say(a.out, "", fmt.Sprintf("%s sealed: %d samples, %.1f s, %s", r.Run, r.Samples, r.DurationS, r.Ended))
				for _, n := range r.Notes {
					say(a.out, "  ", n)
				}
			}
			if len(rows) == 0 && err == nil {
				fmt.Fprintln(a.out, "nothing to seal")
			}
			return err
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return cmd
}

// sealAll seals those runs that are not; the error tells of those that could not be.
func sealAll(dirs []string) ([]sealRow, error) {
	rows, bad := []sealRow{}, []error{}
	for _, d := range dirs {
		r, err := record.Open(d)
		if err != nil { // nothing whole to seal; sealing must not paper over it
			bad = append(bad, err)
			continue
		}
		if r.Info.State == record.Sealed {
			continue
		}
		info, err := record.Seal(d)
		if err != nil {
			bad = append(bad, err)
			continue
		}
		rows = append(rows, sealRow{info.Run, info.Samples(), info.DurationS(), ended(info.End), append([]string{}, info.Notes...)})
	}
	return rows, errors.Join(bad...)
}

// ended puts a run's ending into words.
func ended(e record.End) string {
	s := string(e.How)
	if s == "" {
		s = "not ended"
	}
	if e.Reason != "" {
		s += ": " + e.Reason
	}
	return s
}
