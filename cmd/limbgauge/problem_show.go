package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"limbgauge/analyze/book"
)

func (a *app) problemShowCommand() *cobra.Command {
	asJSON := false
	cmd := &cobra.Command{
		Use:     "show joint/cause",
		Short:   "a problem's whole life, each step with its evidence",
		Example: "  limbgauge problem show knee/belt_slack\n  limbgauge problem show 2 --json",
		Args:    usageArgs(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withBook(cmd.Context(), func(b *book.Book) error {
				list, err := b.Problems(cmd.Context())
				if err != nil {
					return err
				}
				p, err := findProblem(list, args[0])
				if err != nil {
					return err
				}
				if asJSON {
					return a.problemJSON(cmd.Context(), b, p)
				}
				return a.showProblem(cmd.Context(), b, p)
			})
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return cmd
}

// problemJSON prints a problem with the run that would prove it.
func (a *app) problemJSON(ctx context.Context, b *book.Book, p book.Problem) error {
	out := struct {
		book.Problem
		Brought string      `json:"brought_by,omitempty"`
		Proof   *book.Proof `json:"proof,omitempty"`
	}{Problem: p}
	var err error
	if out.Brought, err = b.BroughtBy(ctx, p); err != nil {
		return err
	}
	if p.State == book.Answered {
		proof, err := b.ProofOf(ctx, p)
		if err != nil {
			return err
		}
		out.Proof = &proof
	}
	return printJSON(a.out, out)
}

func (a *app) showProblem(ctx context.Context, b *book.Book, p book.Problem) error {
	if err := a.printProblem(ctx, b, p, false); err != nil {
		return err
	}
	facts := [][2]string{{"part", p.Part}, {"path", string(p.Path)}, {"first seen with", ""}}
	if p.Revision != "" {
		facts[2][1] = "revision " + p.Revision
	}
	for _, f := range facts {
		if f[1] != "" {
			fmt.Fprintf(a.out, "   %s: %s\n", f[0], f[1])
		}
	}
	fmt.Fprintln(a.out)
	for i, c := range p.Changes {
		say(a.out, "  ", c.When.Local().Format("2006-01-02 15:04")+"  "+changeWords(p, i))
	}
	if p.State == book.Open || p.State == book.Returned {
		command := fmt.Sprintf("limbgauge service add WHAT --joint %s --answers %s", quoteWord(p.Joint), quoteWord(book.Ref{Joint: p.Joint, Cause: p.Cause}.String()))
		fmt.Fprint(a.out, "\nonce something is done about it:\n"+typed(pageOf(a.out), "", command, "  "))
	}
	return nil
}
