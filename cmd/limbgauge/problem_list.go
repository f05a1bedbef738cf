package main

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"limbgauge/analyze/book"
	"limbgauge/analyze/report"
)

type problemFilter struct {
	joint, state, revision string
	history, json          bool
}

func (a *app) problemListCommand() *cobra.Command {
	var o problemFilter
	cmd := &cobra.Command{
		Use:   "list",
		Short: "what is open, what was cured, what a revision brought",
		Long: `List the problems: those that are open, those that came back, those that wait for a
proof - with the run that would prove them - and those that are cured. With
--revision: what that revision cured, brought and did not cure. With --json each
problem carries every change with its evidence.`,
		Example: `  limbgauge problem list
  limbgauge problem list --revision B
  limbgauge problem list --joint knee --state open --history`,
		Args: usageArgs(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return a.withBook(cmd.Context(), func(b *book.Book) error { return a.listProblems(cmd.Context(), b, o) })
		},
	}
	cmd.Flags().StringVar(&o.joint, "joint", "", "only those of this joint")
	cmd.Flags().StringVar(&o.state, "state", "", "only those that are open, answered, cured or returned")
	cmd.Flags().StringVarP(&o.revision, "revision", "r", "", "what came of this revision")
	cmd.Flags().BoolVar(&o.history, "history", false, "show every change with its evidence")
	cmd.Flags().BoolVar(&o.json, "json", false, "print JSON")
	return cmd
}

func (a *app) listProblems(ctx context.Context, b *book.Book, o problemFilter) error {
	if err := oneOfWords("state", o.state, stateNames()...); err != nil {
		return err
	}
	if o.joint != "" {
		if err := a.knownJoint(o.joint); err != nil {
			return err
		}
	}
	wanted := func(p book.Problem) bool {
		return (o.joint == "" || p.Joint == o.joint) && (o.state == "" || string(p.State) == o.state)
	}
	if o.revision != "" {
		return a.listOutcome(ctx, b, o, wanted)
	}
	list, err := b.Problems(ctx)
	if err != nil {
		return err
	}
	all := len(list)
	list = slices.DeleteFunc(list, func(p book.Problem) bool { return !wanted(p) })
	if o.json {
		return printJSON(a.out, list)
	}
	if len(list) == 0 {
		if all > 0 {
			fmt.Fprintf(a.out, "none of the %s is so\n", count(all, "problem"))
			return nil
		}
		fmt.Fprintln(a.out, "no problems")
		return nil
	}
	return a.printProblems(ctx, b, list, o.history)
}

// printProblems prints problems in groups, behind one sentence that says it all.
func (a *app) printProblems(ctx context.Context, b *book.Book, list []book.Problem, history bool) error {
	sentence, err := a.problemSentence(ctx, b, list)
	if err != nil {
		return err
	}
	say(a.out, "", sentence)
	for _, g := range []struct {
		title string
		state book.State
	}{{"Open", book.Open}, {"Came back", book.Returned}, {"Waiting for proof", book.Answered}, {"Cured", book.Cured}} {
		titled := false
		for _, p := range list {
			if p.State != g.state {
				continue
			}
			if !titled {
				fmt.Fprintf(a.out, "\n%s\n", styleOf(a.out).as(string(g.state), g.title))
				titled = true
			}
			if err := a.printProblem(ctx, b, p, history); err != nil {
				return err
			}
		}
	}
	return nil
}

func (a *app) printProblem(ctx context.Context, b *book.Book, p book.Problem, history bool) error {
	say(a.out, "", fmt.Sprintf("%d %s, %s: %s", p.ID, p.Joint, report.CauseTitle(p.Cause), stateWords(p)))
	if len(p.Shows) > 0 {
		say(a.out, "   ", "shown by "+runsWords(p.Shows))
	}
	if p.State == book.Answered {
		if err := a.printProof(ctx, b, p); err != nil {
			return err
		}
	}
	brought, err := b.BroughtBy(ctx, p)
	if err != nil {
		return err
	}
	if brought != "" {
		say(a.out, "   ", "brought by revision "+brought+": its parent was run the same way and did not show it")
	}
	if history {
		for i, c := range p.Changes {
			say(a.out, "   ", c.When.Local().Format("2006-01-02")+"  "+changeWords(p, i))
		}
	}
	return nil
}

// printProof says why a problem is not proven yet, and which run would prove it.
func (a *app) printProof(ctx context.Context, b *book.Book, p book.Problem) error {
	if last := p.Changes[len(p.Changes)-1]; strings.HasPrefix(last.By, "run ") {
		say(a.out, "   ", "not proven by "+last.By+": "+last.Why)
	}
	proof, err := b.ProofOf(ctx, p)
	if err != nil {
		return err
	}
	fmt.Fprint(a.out, typed(pageOf(a.out), "   to prove it: ", proofCommand(proof), "     "))
	if proof.Like != "" {
		line := "as run " + proof.Like + " was made"
		if proof.Words != "" {
			line += ": " + proof.Words
		}
		if p.AnswerRevision != "" {
			line += ", but for what revision " + p.AnswerRevision + " itself changed"
		}
		say(a.out, "     ", line)
	}
	return nil
}

func proofCommand(p book.Proof) string {
	c := "limbgauge sweep " + quoteWord(p.Joint)
	if p.Revision != "" {
		c += " --revision " + quoteWord(p.Revision)
	}
	if p.Routine != "" && p.Routine != "assembly" {
		c += " --routine " + quoteWord(p.Routine)
	}
	return c
}

func (a *app) listOutcome(ctx context.Context, b *book.Book, o problemFilter, wanted func(book.Problem) bool) error {
	f, err := a.family(ctx, b)
	if err != nil {
		return err
	}
	if _, err := revisionOf(f, o.revision); err != nil {
		return err
	}
	out, err := b.OutcomeOf(ctx, o.revision)
	if err != nil {
		return err
	}
	for _, l := range []*[]book.Problem{&out.Cured, &out.NotCured, &out.Waiting, &out.ByHand, &out.Overtaken, &out.Brought, &out.New} {
		*l = slices.DeleteFunc(*l, func(p book.Problem) bool { return !wanted(p) })
	}
	if o.json {
		return printJSON(a.out, out)
	}
	say(a.out, "", outcomeSentence(out))
	for _, g := range []struct {
		title string
		list  []book.Problem
	}{
		{o.revision + " cured", out.Cured}, {o.revision + " did not cure", out.NotCured}, {o.revision + " brought", out.Brought},
		{"Not proven yet", out.Waiting}, {"Closed by hand", out.ByHand},
		{"Something else was done before a run could tell", out.Overtaken},
		{"First seen with " + o.revision + "; its parent was not run the same way, so what brought it cannot be told", out.New},
	} {
		if len(g.list) == 0 {
			continue
		}
		sayApart(a.out, "", g.title)
		for _, p := range g.list {
			if err := a.printProblem(ctx, b, p, o.history); err != nil {
				return err
			}
		}
	}
	return nil
}
