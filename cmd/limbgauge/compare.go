package main

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"strconv"
	"strings"
	"sync"

	"github.com/spf13/cobra"

	"limbgauge/analyze/book"
	"limbgauge/analyze/compare"
)

type compareOptions struct {
	joint    string
	measures []string
	margins  []string
	routine  string
	all, why bool
	json     bool
}

func (a *app) compareCommand() *cobra.Command {
	var o compareOptions
	cmd := &cobra.Command{
		Use:   "compare A B",
		Short: "set two revisions, or two sets of runs, side by side",
		Long: `Compare the runs of revision B with those of revision A, joint by joint and measure
by measure: both sides and their difference with 95 % intervals, and whether B is
better, worse, the same within a margin, or whether that cannot be told. A side may
also be a set of runs: numbers and ranges such as 0001..0005 with commas between. A
revision of that name goes first.

The assembly is the unit: runs with one --assembly tag count as one, a run without a
tag stands for itself. Two on each side are the least, and mostly too few; "sweep
--new-assembly" gives each assembly its tag. Only whole runs of one routine are
compared, and figures are brought to the same conditions where a law is known.

A verdict of better or worse needs evidence that holds although many measures are
looked at (Welch's test, adjusted by Holm over the measures with a limit, or over
those named with --measure: name them before you look). "Same" needs evidence too:
that the difference is smaller than a margin, a quarter of the limit unless --margin
gives one. That no difference is seen does not show that there is none. --why shows
what each verdict rests on, --json all of it.`,
		Example: `  limbgauge compare A B --joint knee
  limbgauge compare 0001..0005 0010,0012 --why
  limbgauge compare A B --measure play,friction --margin play=0.1`,
		Args: usageArgs(cobra.ExactArgs(2)),
		RunE: func(cmd *cobra.Command, args []string) error { return a.compare(cmd.Context(), args, o) },
	}
	cmd.Flags().StringVar(&o.joint, "joint", "", "only this joint")
	cmd.Flags().StringSliceVar(&o.measures, "measure", nil, "only these measures, named before looking")
	cmd.Flags().StringSliceVar(&o.margins, "margin", nil, "MEASURE=VALUE: differences up to it do not matter, in the unit of the measure")
	cmd.Flags().StringVar(&o.routine, "routine", "", "only runs of this routine")
	cmd.Flags().BoolVar(&o.all, "all", false, "also measures without a limit")
	cmd.Flags().BoolVar(&o.why, "why", false, "what each verdict rests on: tests, shift, margin, what could have been seen")
	cmd.Flags().BoolVar(&o.json, "json", false, "print JSON")
	return cmd
}

// settled turns what the builder asked for into what is settled before the figures are looked at.
func (o compareOptions) settled() (compare.Options, error) {
	out := compare.Options{Margins: map[string]float64{}}
	for _, m := range o.measures {
		if err := knownMeasure(m); err != nil {
			return out, err
		}
	}
	out.Measures, out.All = o.measures, o.all
	for _, text := range o.margins {
		name, value, ok := strings.Cut(text, "=")
		v, err := strconv.ParseFloat(value, 64)
		if !ok || err != nil || !(v > 0) || v > 1e300 {
			return out, usageError{fmt.Errorf("--margin %q: write MEASURE=VALUE with a value above 0, such as play=0.1", text)}
		}
		if err := knownMeasure(name); err != nil {
			return out, err
		}
		out.Margins[name] = v
	}
	return out, nil
}

// wanted lists the measures that are read from the book; none means all.
func (o compareOptions) wanted() []string {
	switch {
	case len(o.measures) > 0:
		return append(append([]string{}, o.measures...), compare.Needs()...)
	case o.all:
		return nil
	}
	return limitedMeasures()
}

func (a *app) compare(ctx context.Context, args []string, o compareOptions) error {
	if args[0] == args[1] {
		return usageError{errors.New("a side does not compare with itself; give two")}
	}
	if _, err := o.settled(); err != nil { // before the book is opened
		return err
	}
	defer debug.SetGCPercent(debug.SetGCPercent(rareGC))
	b, err := a.openBook(ctx)
	if err != nil {
		return err
	}
	defer b.Close()
	return a.compareIn(ctx, b, args, o)
}

// compareIn compares two sides with the book open, and prints it.
func (a *app) compareIn(ctx context.Context, b *book.Book, args []string, o compareOptions) error {
	sides, settled, answers, err := compareAll(ctx, b, args, o)
	if err != nil {
		return err
	}
	if o.json {
		return printJSON(a.out, comparisonJSON(sides, answers))
	}
	for i, c := range answers {
		if i > 0 {
			fmt.Fprintln(a.out)
		}
		a.printComparison(c, settled, o)
	}
	return nil
}

// compareAll compares two sides for every joint that both have.
func compareAll(ctx context.Context, b *book.Book, args []string, o compareOptions) (sides [2]runSet, settled compare.Options, answers []comparisonOfJoint, err error) {
	if settled, err = o.settled(); err != nil {
		return sides, settled, nil, err
	}
	settled.A, settled.B = args[0], args[1]
	runs, err := b.Runs(ctx)
	if err != nil {
		return sides, settled, nil, err
	}
	for i, arg := range args {
		if sides[i], err = pickRuns(ctx, b, runs, arg); err != nil {
			return sides, settled, nil, err
		}
		if err := sides[i].only(o.routine); err != nil {
			return sides, settled, nil, err
		}
	}
	if id := sides[0].shared(sides[1]); id != "" {
		return sides, settled, nil, usageError{fmt.Errorf("run %s is on both sides", id)}
	}
	joints, err := jointsOn(sides, o.joint)
	if err != nil {
		return sides, settled, nil, err
	}
	answers = make([]comparisonOfJoint, len(joints))
	errs := make([]error, len(joints))
	var wg sync.WaitGroup // joints know nothing of each other, and thousands of runs take their time
	for i, j := range joints {
		wg.Go(func() { answers[i], errs[i] = compareJoint(ctx, b, j, sides, settled, o.wanted()) })
	}
	wg.Wait()
	return sides, settled, answers, errors.Join(errs...)
}

// comparisonOfJoint is one joint of both sides.
type comparisonOfJoint struct {
	joint string
	count [2]string // runs and assemblies of a side, in words
	res   compare.Result
	all   bool // nothing limits a measure of it, so all are shown
}

func compareJoint(ctx context.Context, b *book.Book, joint string, sides [2]runSet, o compare.Options, want []string) (comparisonOfJoint, error) {
	runs, err := runsOf(ctx, b, joint, sides, want)
	if err != nil {
		return comparisonOfJoint{}, err
	}
	c := comparisonOfJoint{joint: joint, count: [2]string{countOf(runs[0]), countOf(runs[1])}, res: compare.Sides(runs[0], runs[1], o)}
	if len(c.res.Rows) == 0 && !o.All && len(o.Measures) == 0 { // a table of nothing answers nothing
		if runs, err = runsOf(ctx, b, joint, sides, nil); err != nil {
			return c, err
		}
		o.All = true
		c.res, c.all = compare.Sides(runs[0], runs[1], o), true
	}
	return c, nil
}

// countOf says how many runs and assemblies a side has.
func countOf(runs []compare.Run) string {
	tags, untagged := map[string]bool{}, 0
	for _, r := range runs {
		if r.Assembly == "" {
			untagged++
		} else {
			tags[r.Assembly] = true
		}
	}
	many := func(n int, one, more string) string {
		if n == 1 {
			return "1 " + one
		}
		return fmt.Sprintf("%d %s", n, more)
	}
	s := many(len(runs), "run", "runs")
	if len(tags) > 0 {
		s += " of " + many(len(tags), "assembly", "assemblies")
	}
	if len(tags) > 0 && untagged > 0 {
		s += fmt.Sprintf(", %d without a tag", untagged)
	}
	return s
}
