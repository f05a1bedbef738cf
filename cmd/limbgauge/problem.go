package main

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"limbgauge/analyze/book"
	"limbgauge/analyze/health"
)

func (a *app) problemCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "problem",
		Short: "findings followed over time",
		Long: `A problem is a finding followed over time. A run that names a cause as warning or
fault opens it; so does a hand. A service or a revision answers it. Only a later run
cures it: whole, of the same routine, under conditions alike in all that the measure
hangs on, with the measure inside its limit by its whole uncertainty. A run that
shows it again makes it returned. Each step keeps when, by what and by which figure.

A problem is named by joint and cause, such as knee/belt_slack, or by its number.`,
		Example: `  limbgauge problem list                  what is open, cured, brought
  limbgauge problem list --revision B     what came of revision B
  limbgauge problem show knee/belt_slack  its whole life, with the evidence
  limbgauge problem open hip/creep --part bracket --text "looks bent"
  limbgauge problem note 3 "pulley screw was loose as well"`,
	}
	cmd.AddCommand(a.problemListCommand(), a.problemShowCommand(), a.problemOpenCommand(), a.problemNoteCommand())
	return cmd
}

// problemHint says where the names of problems are.
const problemHint = `"limbgauge problem list" shows the problems`

// problemRef reads a problem's name or number. A name need not be that of a problem there is.
func problemRef(list []book.Problem, named string) (book.Ref, error) {
	id, err := strconv.Atoi(named)
	if err != nil {
		r, err := book.ParseRef(named)
		if err != nil {
			return r, usageError{err}
		}
		return r, nil
	}
	for _, p := range list {
		if p.ID == id {
			return book.Ref{Joint: p.Joint, Cause: p.Cause}, nil
		}
	}
	return book.Ref{}, inputError(fmt.Errorf("there is no problem %d", id), problemHint)
}

// findProblem returns the problem of that name or number.
func findProblem(list []book.Problem, named string) (book.Problem, error) {
	r, err := problemRef(list, named)
	if err != nil {
		return book.Problem{}, err
	}
	l := book.Life{Problems: list}
	if p := l.Find(r); p != nil {
		return *p, nil
	}
	return book.Problem{}, inputError(fmt.Errorf("there is no problem %s", r), problemHint)
}

// answersOf turns names and numbers of problems into names.
func answersOf(ctx context.Context, b *book.Book, named []string) ([]string, error) {
	list, err := b.Problems(ctx)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, n := range named {
		if n == book.AnswersNone {
			if len(named) > 1 {
				return nil, usageError{fmt.Errorf("--answers %s does not go with others", n)}
			}
			return named, nil
		}
		p, err := findProblem(list, n)
		if err != nil {
			return nil, err
		}
		out = append(out, book.Ref{Joint: p.Joint, Cause: p.Cause}.String())
	}
	return out, nil
}

// answered is a problem that waits for a proof of what was done.
type answered struct {
	ID      int          `json:"id"`
	Joint   string       `json:"joint"`
	Cause   health.Cause `json:"cause"`
	ProveBy string       `json:"prove_by"` // the command line of the run that would
}

// answeredBy returns the problems that wait for a proof of what was done.
func answeredBy(ctx context.Context, b *book.Book, by string) ([]answered, error) {
	list, err := b.Problems(ctx)
	if err != nil {
		return nil, err
	}
	out := []answered{}
	for _, p := range list {
		if p.State != book.Answered || p.AnsweredBy != by {
			continue
		}
		proof, err := b.ProofOf(ctx, p)
		if err != nil {
			return nil, err
		}
		out = append(out, answered{p.ID, p.Joint, p.Cause, proofCommand(proof)})
	}
	return out, nil
}

func (a *app) sayAnswered(list []answered) {
	for _, p := range list {
		fmt.Fprintf(a.out, "  answers problem %d, %s; to prove it:\n%s", p.ID, book.Ref{Joint: p.Joint, Cause: p.Cause}, typed(pageOf(a.out), "", p.ProveBy, "    "))
	}
}

func (a *app) problemOpenCommand() *cobra.Command {
	var n book.Note
	path, asJSON := "", false
	cmd := &cobra.Command{
		Use:   "open joint/cause",
		Short: "open a problem by hand, or one again that was cured",
		Long: `Open a problem that no run has named, or open one again that was cured: what a hand
feels or an eye sees. It goes on as one that a run opened: answered by a service or
a revision, cured by a whole run whose measure passes. With --run, a run in which it
shows though it was not named, such as one that gives a hint: the proof must then
repeat that run. The causes are those that
findings name: ` + causeNames() + `.`,
		Example: `  limbgauge problem open knee/belt_slack --part belt --text "rattles by hand"
  limbgauge problem open hip/creep --run 0042 --text "only a hint, yet look"`,
		Args: usageArgs(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			n.When, n.State, n.Path = a.now(), book.Open, health.Path(path)
			if err := oneOfWords("path", path, pathNames()...); err != nil {
				return err
			}
			if strings.TrimSpace(n.Text) == "" {
				n.Text = "opened by hand"
			}
			return a.withBook(cmd.Context(), func(b *book.Book) error { return a.openProblem(cmd.Context(), b, args[0], n, asJSON) })
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print the problem as JSON")
	cmd.Flags().StringVar(&n.Part, "part", "", "the part it is about")
	cmd.Flags().StringVar(&n.Run, "run", "", "the run in which it shows")
	cmd.Flags().StringVar(&path, "path", "", "the stretch that loses motion: servo, transmission or total")
	cmd.Flags().StringVar(&n.Text, "text", "", "what was seen, felt or heard")
	return cmd
}

func stateNames() []string {
	return []string{string(book.Open), string(book.Answered), string(book.Cured), string(book.Returned)}
}

func causeNames() string {
	var names []string
	for _, c := range health.Causes()[1:] {
		names = append(names, string(c))
	}
	return strings.TrimSpace(strings.ReplaceAll(wrap(strings.Join(names, ", "), "", pageWidth-18), "\n  ", "\n"))
}

func (a *app) openProblem(ctx context.Context, b *book.Book, named string, n book.Note, asJSON bool) error {
	list, err := b.Problems(ctx)
	if err != nil {
		return err
	}
	ref, err := problemRef(list, named)
	if err != nil {
		return err
	}
	if err := a.knownJoint(ref.Joint); err != nil {
		return err
	}
	l := book.Life{Problems: list}
	if p := l.Find(ref); p != nil {
		if p.State != book.Cured {
			return inputError(fmt.Errorf("problem %d, %s, is there already: %s", p.ID, ref, stateWords(*p)), fmt.Sprintf(`"limbgauge problem note %d TEXT" adds to it`, p.ID))
		}
		n.State = book.Returned
	}
	n.Joint, n.Cause = ref.Joint, ref.Cause
	if n.Run, err = a.shownIn(ctx, b, n.Run, ref.Joint); err != nil {
		return err
	}
	if err := b.AddNote(ctx, n); err != nil {
		return err
	}
	p, err := b.Problems(ctx)
	if err != nil {
		return err
	}
	now, err := findProblem(p, ref.String())
	if err != nil {
		return err
	}
	if asJSON {
		return printJSON(a.out, now)
	}
	fmt.Fprintf(a.out, "problem %d, %s, is %s\n", now.ID, ref, map[book.State]string{book.Open: "open", book.Returned: "open again"}[now.State])
	return nil
}

// shownIn returns the name of a run that can show a problem of a joint; none stays none.
func (a *app) shownIn(ctx context.Context, b *book.Book, run, joint string) (string, error) {
	if run == "" {
		return "", nil
	}
	dir, err := a.runDir([]string{run})
	if err != nil {
		return "", err
	}
	run = filepath.Base(dir)
	r, joints, ok, err := b.Run(ctx, run)
	switch {
	case err != nil:
		return "", err
	case ok && r.Bare:
		return "", inputError(fmt.Errorf("run %s is of the bare servo and shows nothing of the joint", run), "name a run of the whole joint")
	case !ok || !slices.ContainsFunc(joints, func(j health.Joint) bool { return j.Joint == joint }):
		return "", inputError(fmt.Errorf("run %s has no answer for joint %s", run, joint), fmt.Sprintf(`"limbgauge analyze %s" judges it`, run))
	}
	return run, nil
}

func (a *app) problemNoteCommand() *cobra.Command {
	var n book.Note
	state, asJSON := "", false
	cmd := &cobra.Command{
		Use:   "note joint/cause text",
		Short: "say something of a problem, or set its state by hand",
		Long: `Say something of a problem. With --state its state is set by hand, which is kept as
such: a problem that a hand closed is not proven cured. A note on a problem that is
not there opens it.`,
		Example: `  limbgauge problem note knee/belt_slack "pulley screw was loose as well"
  limbgauge problem note 3 "1.5 deg is accepted from now on" --state cured`,
		Args: usageArgs(cobra.ExactArgs(2)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := oneOfWords("state", state, stateNames()...); err != nil {
				return err
			}
			if strings.TrimSpace(args[1]) == "" {
				return usageError{fmt.Errorf("the note is empty; say what was seen")}
			}
			return a.withBook(cmd.Context(), func(b *book.Book) error {
				list, err := b.Problems(cmd.Context())
				if err != nil {
					return err
				}
				ref, err := problemRef(list, args[0])
				if err != nil {
					return err
				}
				if err := a.knownJoint(ref.Joint); err != nil {
					return err
				}
				n.When, n.Joint, n.Cause, n.Text, n.State = a.now(), ref.Joint, ref.Cause, args[1], book.State(state)
				if err := b.AddNote(cmd.Context(), n); err != nil {
					return err
				}
				if asJSON {
					if list, err = b.Problems(cmd.Context()); err != nil {
						return err
					}
					p, err := findProblem(list, ref.String())
					if err != nil {
						return err
					}
					return printJSON(a.out, p)
				}
				fmt.Fprintln(a.out, "noted")
				return nil
			})
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print the problem as JSON")
	cmd.Flags().StringVar(&state, "state", "", "set the state by hand: open, answered, cured, returned")
	cmd.Flags().StringVar(&n.Part, "part", "", "the part it is about")
	return cmd
}
