package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"limbgauge/analyze/book"
	"limbgauge/analyze/report"
)

func (a *app) problemCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "problem",
		Short: "findings followed over time",
		Long: `A problem is a finding followed over time: opened by the run that found it,
answered by a service or a revision, cured only by a later run of the same routine
whose measure passes with its uncertainty, returned by a run that shows it again.`,
	}
	cmd.AddCommand(a.problemListCommand(), a.problemNoteCommand())
	return cmd
}

func (a *app) problemListCommand() *cobra.Command {
	history := false
	cmd := a.listCommand("list", "what is open, what was cured, what a revision brought", func(ctx context.Context, b *book.Book, asJSON bool) error {
		list, err := b.Problems(ctx)
		if err != nil {
			return err
		}
		if asJSON {
			return printJSON(a.out, list)
		}
		if len(list) == 0 {
			fmt.Fprintln(a.out, "no problems")
			return nil
		}
		return a.printProblems(ctx, b, list, history)
	})
	cmd.Flags().BoolVar(&history, "history", false, "show every change with its evidence")
	return cmd
}

func (a *app) printProblems(ctx context.Context, b *book.Book, list []book.Problem, history bool) error {
	for _, p := range list {
		line := fmt.Sprintf("%d  %s, %s: %s", p.ID, p.Joint, report.CauseTitle(p.Cause), p.State)
		switch p.State {
		case book.Answered:
			line += " by " + p.AnsweredBy + ", not proven yet"
		case book.Cured:
			line += ", proven by " + p.ClosedBy
			if p.AnsweredBy != "" {
				line += " after " + p.AnsweredBy
			}
		}
		fmt.Fprint(a.out, wrap(line, "", pageWidth))
		if len(p.Shows) > 0 {
			fmt.Fprint(a.out, wrap("shown by run "+strings.Join(p.Shows, ", "), "   ", pageWidth))
		}
		brought, err := b.BroughtBy(ctx, p)
		if err != nil {
			return err
		}
		if brought != "" {
			fmt.Fprint(a.out, wrap("brought by revision "+brought+": its parent was run the same way and did not show it", "   ", pageWidth))
		}
		if history {
			for _, c := range p.Changes {
				fmt.Fprint(a.out, wrap(fmt.Sprintf("%s  %s by %s: %s", c.When.Local().Format("2006-01-02"), c.State, c.By, c.Why), "   ", pageWidth))
			}
		}
	}
	return nil
}

func (a *app) problemNoteCommand() *cobra.Command {
	var n book.Note
	state := ""
	cmd := &cobra.Command{
		Use:   "note joint/cause text",
		Short: "say something of a problem, open one by hand, or close one by hand",
		Example: `  limbgauge problem note knee/belt_slack "pulley screw was loose as well"
  limbgauge problem note hip/creep "bracket looks bent" --state open`,
		Args: usageArgs(cobra.ExactArgs(2)),
		RunE: func(cmd *cobra.Command, args []string) error {
			ref, err := book.ParseRef(args[0])
			if err != nil {
				return usageError{err}
			}
			if err := a.knownJoint(ref.Joint); err != nil {
				return err
			}
			switch book.State(state) {
			case "", book.Open, book.Answered, book.Cured, book.Returned:
			default:
				return usageError{fmt.Errorf("--state %q: give %s, %s, %s or %s", state, book.Open, book.Answered, book.Cured, book.Returned)}
			}
			n.When, n.Joint, n.Cause, n.Text, n.State = a.now(), ref.Joint, ref.Cause, args[1], book.State(state)
			return a.withBook(cmd.Context(), func(b *book.Book) error {
				if err := b.AddNote(cmd.Context(), n); err != nil {
					return err
				}
				fmt.Fprintln(a.out, "noted")
				return nil
			})
		},
	}
	cmd.Flags().StringVar(&state, "state", "", "set the state by hand: open, answered, cured, returned")
	cmd.Flags().StringVar(&n.Part, "part", "", "the part it is about")
	return cmd
}
