package main

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"limbgauge/analyze/book"
)

func (a *app) serviceCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "service",
		Short: "what was done to the leg without a redesign",
		Long: `A service is something done to the leg without a redesign: a belt re-tensioned, a
screw tightened, a servo swapped. It answers the problems open at its joint; later
runs tell whether it cured them, and for how long.`,
		Example: `  limbgauge service add "belt re-tensioned" --joint knee --part belt
  limbgauge service add "screw tightened" --joint hip --answers hip/servo_play
  limbgauge service list`,
	}
	cmd.AddCommand(a.serviceAddCommand(), a.serviceListCommand())
	return cmd
}

func (a *app) serviceAddCommand() *cobra.Command {
	var s book.Service
	asJSON := false
	cmd := &cobra.Command{
		Use:   "add what",
		Short: "add a service",
		Long: `Add something that was done to the leg. With --replaced the part named is a new one:
what a belt went through, in degrees and reversals, counts from there. A belt that was
only re-tensioned stays the belt it was.`,
		Example: `  limbgauge service add "belt re-tensioned" --joint knee --part belt
  limbgauge service add "new belt" --joint knee --part belt --replaced`,
		Args: usageArgs(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			s.What, s.When = args[0], a.now()
			if s.Replaced && s.Part == "" {
				return usageError{errors.New("--replaced needs --part: which part is a new one?")}
			}
			if s.Joint != "" {
				if err := a.knownJoint(s.Joint); err != nil {
					return err
				}
			}
			return a.withBook(cmd.Context(), func(b *book.Book) error {
				var err error
				if s.Answers, err = answersOf(cmd.Context(), b, s.Answers); err != nil {
					return err
				}
				id, err := b.AddService(cmd.Context(), s)
				if err != nil {
					return inputError(err, problemHint)
				}
				waiting, err := answeredBy(cmd.Context(), b, fmt.Sprintf("service %d (%s)", id, s.What))
				if err != nil {
					return err
				}
				if asJSON {
					s.ID = id
					return printJSON(a.out, struct {
						book.Service
						Waiting []answered `json:"wait_for_proof"`
					}{s, waiting})
				}
				fmt.Fprintf(a.out, "service %d added\n", id)
				a.sayAnswered(waiting)
				return nil
			})
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print it as JSON, with the problems that wait for a proof")
	cmd.Flags().StringVar(&s.Joint, "joint", "", "the joint it was done to; default: the whole leg")
	cmd.Flags().StringVar(&s.Part, "part", "", "the part it was done to")
	cmd.Flags().BoolVar(&s.Replaced, "replaced", false, "the part was replaced by a new one")
	cmd.Flags().StringArrayVar(&s.Answers, "answers", nil, "a problem it answers, as joint/cause or number, or none; default: all that are open at the joint")
	return cmd
}

func (a *app) serviceListCommand() *cobra.Command {
	cmd := a.listCommand("list", "list services", func(ctx context.Context, b *book.Book, asJSON bool) error {
		list, err := b.Services(ctx)
		if err != nil {
			return err
		}
		if asJSON {
			return printJSON(a.out, list)
		}
		if len(list) == 0 {
			fmt.Fprintln(a.out, `no services yet; "limbgauge service add WHAT --joint JOINT" adds one`)
			return nil
		}
		t := sheet{columns: []column{{title: "service"}, {title: "date"}, {title: "joint", least: 8}, {title: "part", least: 8}, {title: "what", least: 8}}}
		for _, s := range list {
			part := s.Part
			if s.Replaced {
				part += " (new)"
			}
			t.add(fmt.Sprint(s.ID), s.When.Local().Format("2006-01-02"), s.Joint, part, s.What)
		}
		t.print(a.out)
		return nil
	})
	cmd.Example = "  limbgauge service list\n  limbgauge service list --json"
	return cmd
}
