package main

import (
	"context"
	"fmt"
	"math"
	"slices"

	"github.com/spf13/cobra"

	"limbgauge/analyze/book"
	"limbgauge/analyze/compare"
	"limbgauge/analyze/health"
	"limbgauge/analyze/report"
)

func (a *app) compareCommand() *cobra.Command {
	joint, all := "", false
	cmd := &cobra.Command{
		Use:   "compare A B",
		Short: "set two revisions side by side",
		Long: `Compare the runs of revision B with those of revision A, measure by measure: the
difference with its 95 % interval and whether the data say better, worse or neither.
Runs with one --assembly tag count as one assembly, which is the unit; only runs of
the same routine are compared.`,
		Example: "  limbgauge compare A B --joint knee",
		Args:    usageArgs(cobra.ExactArgs(2)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if args[0] == args[1] {
				return usageError{fmt.Errorf("a revision does not compare with itself; give two")}
			}
			b, err := a.openBook(cmd.Context())
			if err != nil {
				return err
			}
			defer b.Close()
			joints, err := a.jointsOf(cmd.Context(), b, args, joint)
			if err != nil {
				return err
			}
			for _, j := range joints {
				if err := a.printComparison(cmd.Context(), b, j, args[0], args[1], all); err != nil {
					return err
				}
			}
			return nil
		},
	}
	cmd.Flags().StringVar(&joint, "joint", "", "only this joint")
	cmd.Flags().BoolVar(&all, "all", false, "also measures without a limit")
	return cmd
}

// jointsOf returns the joints that both revisions have runs of.
func (a *app) jointsOf(ctx context.Context, b *book.Book, revs []string, only string) ([]string, error) {
	seen := map[string]int{}
	var order []string
	for i, rev := range revs {
		runs, err := b.RunsOf(ctx, rev)
		if err != nil {
			return nil, err
		}
		if len(runs) == 0 {
			return nil, inputError(fmt.Errorf("revision %q has no runs", rev), `"limbgauge rev list" shows revisions and how many runs each has`)
		}
		for _, r := range runs {
			_, joints, _, err := b.Run(ctx, r.ID)
			if err != nil {
				return nil, err
			}
			for _, j := range joints {
				if seen[j.Joint]&(1<<i) == 0 {
					if seen[j.Joint] == 0 {
						order = append(order, j.Joint)
					}
					seen[j.Joint] |= 1 << i
				}
			}
		}
	}
	var out []string
	for _, j := range order {
		if seen[j] == 3 && (only == "" || j == only) {
			out = append(out, j)
		}
	}
	if len(out) == 0 {
		return nil, inputError(fmt.Errorf("no joint was run with both revisions"), "run the same joint with both")
	}
	return out, nil
}

func (a *app) printComparison(ctx context.Context, b *book.Book, joint, from, to string, all bool) error {
	sa, err := sideOf(ctx, b, joint, from)
	if err != nil {
		return err
	}
	sb, err := sideOf(ctx, b, joint, to)
	if err != nil {
		return err
	}
	res := compare.Sides(sa, sb)
	fmt.Fprintf(a.out, "%s, revision %s (%d runs) against %s (%d runs)\n", joint, to, len(sb), from, len(sa))
	fmt.Fprint(a.out, wrap(res.Sentence, "", pageWidth))
	for _, n := range res.Notes {
		fmt.Fprint(a.out, wrap("Note: "+n, "  ", pageWidth))
	}
	fmt.Fprintf(a.out, "\n  %-24s %-7s %17s %17s  %s\n", "measure", "path", from, to, "verdict")
	hidden := 0
	var whys []string // reasons behind verdicts, numbered in the order they come
	for _, r := range res.Rows {
		if !all && math.IsNaN(r.A.Limit) && math.IsNaN(r.B.Limit) {
			hidden++
			continue
		}
		d, _ := health.DefinitionOf(r.A.Name)
		title := short(d)
		if len(title) > 24 {
			title = title[:24]
		}
		fmt.Fprintf(a.out, "  %-24s %-7s %17s %17s  %s\n", title, pathWord(r.A.Path), cell(r.A), cell(r.B), string(r.Verdict)+footnote(&whys, r.Why))
		if !math.IsNaN(r.Diff) {
			v, pm := report.Figure(r.Diff, r.U, d.Decimals)
			if r.Diff > 0 {
				v = "+" + v
			}
			fmt.Fprintf(a.out, "  %-24s %-7s %17s %17s\n", "", "", "difference", v+" ± "+pm)
		}
	}
	if len(whys) > 0 {
		fmt.Fprintln(a.out)
	}
	for i, why := range whys {
		fmt.Fprint(a.out, wrap(fmt.Sprintf("[%d] %s", i+1, why), "  ", pageWidth))
	}
	if hidden > 0 {
		fmt.Fprintf(a.out, "\n  %d measures without a limit are not shown; --all shows them\n", hidden)
	}
	return nil
}

// footnote returns the mark of a reason, which joins the list when it is new; "" for none.
func footnote(list *[]string, why string) string {
	if why == "" {
		return ""
	}
	i := slices.Index(*list, why)
	if i < 0 {
		*list = append(*list, why)
		i = len(*list) - 1
	}
	return fmt.Sprintf(" [%d]", i+1)
}

func cell(m health.Measure) string {
	if m.Status == health.NotObservable || math.IsNaN(m.Value) {
		return "not seen"
	}
	return figure(m)
}
