package main

import (
	"context"
	"fmt"
	"runtime/debug"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"limbgauge/analyze/book"
	"limbgauge/analyze/trend"
)

type trendOptions struct {
	measure string
	path    string
	routine string
	stretch int
	json    bool
	gate    bool
	all     bool
}

func (a *app) trendCommand() *cobra.Command {
	var o trendOptions
	cmd := &cobra.Command{
		Use:   "trend [joint]",
		Short: "what gets worse over runs, and when it will matter",
		Long: fmt.Sprintf(`Set the runs of a joint beside each other, measure by measure: is it getting
worse, since which run, and in how many runs, cycles and days it reaches its
limit. A service, a revision, another assembly and a bare-servo run begin a new
stretch; its first good runs, three to eight, are what later ones are held
against. Only runs of one routine and of like conditions count; what is left out
is said with the reason.

A warning is raised when a measure is surely worse and has gone a tenth of the
way to its limit. Of healthy joints at most %.0f %% raise one in %d runs, all
measures together, as long as runs scatter no more than twice the uncertainty
their measures state. "At least 50 N" is used as such: a later 40 N proves that
tension went.

Without a joint all of them are told, a line for each measure that moves.
--measure shows every run of one.`, 100*trend.FalseRate, trend.Runs),
		Example: `  limbgauge trend
  limbgauge trend knee
  limbgauge trend knee --measure belt_tension
  limbgauge trend knee --stretch 1 --json`,
		Args: usageArgs(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error { return a.trend(cmd.Context(), args, o) },
	}
	cmd.Flags().StringVar(&o.measure, "measure", "", "every run of this measure, such as belt_tension")
	cmd.Flags().StringVar(&o.path, "path", "", "with --measure: only servo, transmission or total")
	cmd.Flags().StringVar(&o.routine, "routine", "", "runs of this routine; default: the one with most runs")
	cmd.Flags().IntVar(&o.stretch, "stretch", 0, "which stretch between services and revisions, from 1; default: the one that goes on")
	cmd.Flags().BoolVar(&o.all, "all", false, "also measures that nothing limits")
	cmd.Flags().BoolVar(&o.json, "json", false, "print one JSON object")
	cmd.Flags().BoolVar(&o.gate, "gate", false, "exit with 6 when a warning stands")
	return cmd
}

// rareGC is how far the heap may grow beyond what is in use while many runs are set beside each other, in
// per cent.
const rareGC = 400

// jointTrend is a joint with what its runs say.
type jointTrend struct {
	joint  string
	trends []trend.Trend // those with a stretch that was asked for, which is their newest
	all    bool          // also those that nothing limits are shown
}

func (a *app) trend(ctx context.Context, args []string, o trendOptions) error {
	if o.measure != "" {
		if err := knownMeasure(o.measure); err != nil {
			return err
		}
		if len(args) == 0 {
			return usageError{fmt.Errorf("--measure needs a joint: limbgauge trend knee --measure %s", o.measure)}
		}
	}
	switch {
	case o.path != "" && o.measure == "":
		return usageError{fmt.Errorf("--path goes with --measure")}
	}
	if err := oneOfWords("path", o.path, pathNames()...); err != nil {
		return err
	}
	if o.stretch < 0 || o.stretch > 0 && len(args) == 0 {
		return usageError{fmt.Errorf("--stretch counts the stretches of one joint from 1")}
	}
	bench, err := a.loadBench()
	if err != nil {
		return err
	}
	var names []string
	for _, j := range bench.Joints {
		names = append(names, j.Name)
	}
	if len(args) == 1 {
		if _, err := jointOf(bench, args[0]); err != nil {
			return err
		}
		names = args
	}
	// Ten thousand runs make some hundred megabytes that are all gone with the answer.
	defer debug.SetGCPercent(debug.SetGCPercent(rareGC))
	return a.withBook(ctx, func(b *book.Book) error {
		var all []jointTrend
		for _, n := range names {
			trends, shown, err := trendsShown(ctx, b, n, o.all || o.measure != "", trend.Options{Routine: o.routine, Newest: o.stretch == 0 && !o.json})
			if err != nil {
				return err
			}
			if trends, err = ofStretch(trends, n, o.stretch); err != nil {
				return err
			}
			if s, _ := longest(trends); o.routine != "" && len(args) == 1 && len(s.Rows) == 0 {
				return inputError(fmt.Errorf("joint %s has no run of routine %q", n, o.routine), `"limbgauge runs" lists the routines`)
			}
			all = append(all, jointTrend{n, trends, shown})
		}
		if err := a.printTrends(all, o, len(args) == 1); err != nil {
			return err
		}
		for _, j := range all {
			if stand := trend.Stand(j.trends); o.gate && len(stand) > 0 {
				return kindError{err: fmt.Errorf("joint %q: %s", j.joint, stand[0].Text), code: exitFault}
			}
		}
		return nil
	})
}

// ofStretch cuts every trend off behind the stretch of that number, 0 for the newest. Measures that
// were not there yet are left out.
func ofStretch(trends []trend.Trend, joint string, n int) ([]trend.Trend, error) {
	most := 0
	var out []trend.Trend
	for _, t := range trends {
		most = max(most, len(t.Stretches))
		if n > 0 && n <= len(t.Stretches) {
			t.Stretches = t.Stretches[:n]
		}
		if n <= len(t.Stretches) {
			out = append(out, t)
		}
	}
	if n > most {
		return nil, usageError{fmt.Errorf("joint %s has %d stretches, there is none of number %d", joint, most, n)}
	}
	return out, nil
}

func (a *app) printTrends(all []jointTrend, o trendOptions, one bool) error {
	switch {
	case o.json:
		return printJSON(a.out, trendJSON(all, o))
	case o.measure != "":
		return a.printLong(all[0], o)
	case one:
		a.printTrendTable(all[0])
	default:
		a.printTrendLines(all)
	}
	return nil
}

// verdictOf is a joint's trend in one sentence.
func verdictOf(j jointTrend) string {
	if stand := trend.Stand(j.trends); len(stand) > 0 {
		return stand[0].Text
	}
	runs, watched, charted := 0, 0, 0
	for _, t := range j.trends {
		s, _ := t.Newest()
		runs = max(runs, s.Runs)
		if t.Watched {
			watched++
			if s.Baseline.Seen() && s.Readings+s.Bounds > len(s.Baseline.Runs) {
				charted++
			}
		}
	}
	switch {
	case runs == 0:
		return "no runs"
	case watched == 0:
		return fmt.Sprintf("nothing is watched in %s, as nothing limits a measure; keys such as play_deg in [joint.limits] set limits", count(runs, "run"))
	case charted == 0:
		s, _ := longest(j.trends)
		since := ""
		if s.Since != "" {
			since = " since " + s.Since
		}
		return fmt.Sprintf("nothing can be said yet: %s%s, and the first three good ones are what later ones are held against", count(runs, "run"), since)
	}
	return fmt.Sprintf("nothing gets worse in %s, by the %d of %d watched measures that can tell", count(runs, "run"), charted, watched)
}

// printTrendLines tells all joints, a line for each measure that moves.
func (a *app) printTrendLines(all []jointTrend) {
	first := -1
	for i, j := range all {
		if len(trend.Stand(j.trends)) > 0 {
			first = i
			break
		}
	}
	if first < 0 {
		first = 0
	}
	if first != 0 { // the verdict comes first
		all = append([]jointTrend{all[first]}, slices.Delete(slices.Clone(all), first, first+1)...)
	}
	for i, j := range all {
		if i > 0 {
			fmt.Fprintln(a.out)
		}
		say(a.out, "", j.joint+": "+verdictOf(j)+".")
		for k, w := range movers(j.trends) {
			if k == 0 && w.Level == trend.LevelWarning && w.Stands {
				say(a.out, "  ", fmt.Sprintf("first raised at run %s", w.First))
				continue // the verdict said it
			}
			say(a.out, "  ", string(w.Level)+": "+w.Text+raised(w))
		}
	}
}

func raised(w trend.Warning) string {
	if w.Level != trend.LevelWarning {
		return ""
	}
	return " (first raised at run " + w.First + ")"
}

// movers returns the changes of the newest stretches: warnings that stand, most urgent first, those that
// passed, then the notes of measures that are watched.
func movers(trends []trend.Trend) []trend.Warning {
	out := trend.Stand(trends)
	for _, level := range []trend.Level{trend.LevelWarning, trend.LevelNote} {
		for _, t := range trends {
			s, _ := t.Newest()
			if w := s.Warning; t.Watched && w != nil && w.Level == level && !(level == trend.LevelWarning && w.Stands) {
				out = append(out, *w)
			}
		}
	}
	return out
}

// stretchWords says of a joint which stretch is told, and where others are.
func stretchWords(s trend.Stretch, number int) string {
	var out []string
	rows := s.Rows
	what := "the first run"
	if s.Since != "" {
		what = s.Since
	}
	if len(rows) > 0 {
		which := "run " + rows[0].Run
		if n := len(rows); n > 1 {
			which = fmt.Sprintf("runs %s to %s", rows[0].Run, rows[n-1].Run)
		}
		out = append(out, fmt.Sprintf("Stretch %d, since %s: %s, routine %s", number, what, which, s.Routine))
	}
	if len(s.Others) > 0 {
		out = append(out, othersWords(s.Others)+" left out")
	}
	return strings.Join(out, "; ") + "."
}

// othersMost is how many runs of other routines are named before they are counted only.
const othersMost = 4

// othersWords names runs of other routines than the one of a stretch, or counts them where they are many.
func othersWords(points []trend.Point) string {
	if len(points) > othersMost {
		return count(len(points), "run") + " of other routines"
	}
	var names []string
	for _, p := range points {
		names = append(names, fmt.Sprintf("%s (%s)", p.Run, p.At.Routine))
	}
	what := "run "
	if len(names) > 1 {
		what = "runs "
	}
	return what + strings.Join(names, ", ")
}
