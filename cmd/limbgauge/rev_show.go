package main

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"limbgauge/analyze/book"
	"limbgauge/rig"
)

// partRow is a part of a revision with where it came from.
type partRow struct {
	book.Part
	Origin string         `json:"origin"` // the revision in which it became what it is
	State  book.FileState `json:"file_state,omitempty"`
	Note   string         `json:"file_note,omitempty"`
}

// revisionPage is all there is to know of a revision.
type revisionPage struct {
	Name    string    `json:"name"`
	Parent  string    `json:"parent,omitempty"`
	Made    string    `json:"made"`
	Why     string    `json:"why,omitempty"`
	Answers []string  `json:"answers,omitempty"`
	Parts   []partRow `json:"parts"`
	Runs    []string  `json:"runs"`
	// Problems say by joint/cause what came of it.
	Problems outcomeNames `json:"problems"`
	sentence string
}

// outcomeNames are the problems of an outcome by name.
type outcomeNames struct {
	Cured    []string `json:"cured"`
	NotCured []string `json:"not_cured"`
	Waiting  []string `json:"waiting"`
	Brought  []string `json:"brought"`
}

func outcomeNamesOf(o book.Outcome) outcomeNames {
	names := func(list []book.Problem) []string {
		out := []string{}
		for _, p := range list {
			out = append(out, book.Ref{Joint: p.Joint, Cause: p.Cause}.String())
		}
		return out
	}
	return outcomeNames{names(o.Cured), names(o.NotCured), names(o.Waiting), names(o.Brought)}
}

func (a *app) revShowCommand() *cobra.Command {
	asJSON, part := false, ""
	cmd := &cobra.Command{
		Use:   "show name [other]",
		Short: "show a revision, its parts and whether their files have changed; of two, which parts differ",
		Long: `Show a revision: its parts with file, size, hash, the revision in which each became
what it is, and what it was made of; its runs; what it cured and brought. Every file is read and compared with
the hash that was kept. With two names: which parts changed from the first to the
second, by their files and how they were made.`,
		Example: "  limbgauge rev show B\n  limbgauge rev show B --part femur\n  limbgauge rev show A B",
		Args:    usageArgs(cobra.RangeArgs(1, 2)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 2 {
				if part != "" {
					return usageError{fmt.Errorf("--part goes with one revision; without it, \"rev show %s %s\" says of every part what changed", args[0], args[1])}
				}
				return a.diffRevisions(cmd.Context(), args[0], args[1], asJSON)
			}
			return a.showRevision(cmd.Context(), args[0], part, asJSON)
		},
	}
	cmd.Flags().StringVar(&part, "part", "", "only this part")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return cmd
}

func (a *app) showRevision(ctx context.Context, name, part string, asJSON bool) error {
	return a.withBook(ctx, func(b *book.Book) error {
		f, err := a.family(ctx, b)
		if err != nil {
			return err
		}
		r, err := revisionOf(f, name)
		if err != nil {
			return err
		}
		if part != "" {
			p, ok := r.Part(part)
			if !ok {
				return usageError{&rig.NameError{What: "part", Name: part, Where: "in revision " + r.Name, Known: partNames(r)}}
			}
			r.Parts = []book.Part{p}
		}
		runs, err := b.RunsOf(ctx, r.Name)
		if err != nil {
			return err
		}
		page := revisionPage{Name: r.Name, Parent: r.Parent, Made: r.Made.Local().Format("2006-01-02 15:04"), Why: r.Why, Answers: r.Answers, Runs: ids(runs)}
		for _, n := range book.LookAt(a.folder(), f, true).Now(r) {
			row := partRow{Part: n.Part, Origin: f.Origin(r.Name, n.Part.Name), State: n.State}
			if err := n.Trouble(); err != nil {
				row.Note = err.Error()
			}
			page.Parts = append(page.Parts, row)
		}
		out, err := b.OutcomeOf(ctx, r.Name)
		if err != nil {
			return err
		}
		page.Problems, page.sentence = outcomeNamesOf(out), outcomeSentence(out)
		if asJSON {
			return printJSON(a.out, page)
		}
		a.printRevision(page)
		return nil
	})
}

func partNames(r book.Revision) (names []string) {
	for _, p := range r.Parts {
		names = append(names, p.Name)
	}
	return names
}

func ids(runs []book.Run) []string {
	out := []string{}
	for _, r := range runs {
		out = append(out, r.ID)
	}
	return out
}

func (a *app) printRevision(p revisionPage) {
	head := fmt.Sprintf("revision %s, added %s", p.Name, p.Made)
	if p.Parent != "" {
		head += ", from " + p.Parent
	}
	say(a.out, "", head+", "+runsWords(p.Runs))
	if p.Why != "" {
		say(a.out, "  ", p.Why)
	}
	if len(p.Answers) > 0 {
		say(a.out, "  ", "answers "+strings.Join(p.Answers, ", "))
	}
	if n := p.Problems; len(n.Cured)+len(n.NotCured)+len(n.Waiting)+len(n.Brought) > 0 {
		say(a.out, "  ", p.sentence)
	}
	if len(p.Parts) == 0 {
		fmt.Fprintln(a.out, "  no parts were named")
	}
	for _, r := range p.Parts {
		line := r.Name
		if r.File != "" {
			line += ": " + r.File
		}
		if r.Origin != p.Name {
			line += ", as in " + r.Origin
		}
		say(a.out, "  ", line)
		if r.SHA256 != "" {
			fmt.Fprintf(a.out, "    %d bytes, SHA-256 %.16s…\n", r.Bytes, r.SHA256)
		}
		if w := r.Words(); w != "" {
			say(a.out, "    ", "made of: "+w)
		}
		if r.Note != "" {
			say(a.out, "    ", "note: "+r.Note)
		}
	}
}

// runsWords names runs, many of them by the first and the last.
func runsWords(runs []string) string {
	switch n := len(runs); {
	case n == 0:
		return "no runs yet"
	case n == 1:
		return "run " + runs[0]
	case n <= 6:
		return "runs " + strings.Join(runs, ", ")
	default:
		return fmt.Sprintf("%d runs, %s to %s", n, runs[0], runs[n-1])
	}
}

func (a *app) revDiffCommand() *cobra.Command {
	asJSON := false
	cmd := &cobra.Command{
		Use:     "diff A B",
		Short:   "which parts changed from one revision to another, and which were kept",
		Example: "  limbgauge rev diff A B",
		Args:    usageArgs(cobra.ExactArgs(2)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.diffRevisions(cmd.Context(), args[0], args[1], asJSON)
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return cmd
}

func (a *app) diffRevisions(ctx context.Context, from, to string, asJSON bool) error {
	return a.withBook(ctx, func(b *book.Book) error {
		f, err := a.family(ctx, b)
		if err != nil {
			return err
		}
		ra, err := revisionOf(f, from)
		if err != nil {
			return err
		}
		rb, err := revisionOf(f, to)
		if err != nil {
			return err
		}
		diffs := book.Differences(ra, rb)
		if asJSON {
			return printJSON(a.out, map[string]any{"a": ra.Name, "b": rb.Name, "parts": diffs})
		}
		changed := slices.DeleteFunc(slices.Clone(diffs), func(d book.PartDifference) bool { return d.What == "kept" })
		head := fmt.Sprintf("from %s to %s: %d of %s changed", ra.Name, rb.Name, len(changed), count(len(diffs), "part"))
		if rb.Why != "" && rb.Parent == ra.Name {
			head += ": " + oneLine(rb.Why)
		}
		say(a.out, "", head)
		for _, d := range diffs {
			a.printDifference(d)
		}
		return nil
	})
}

func (a *app) printDifference(d book.PartDifference) {
	say(a.out, "  ", d.Name+": "+d.What)
	if d.What == "kept" {
		return
	}
	for _, side := range []struct {
		word string
		p    *book.Part
	}{{"was", d.A}, {"is", d.B}} {
		if side.p == nil {
			continue
		}
		words := []string{}
		if side.p.File != "" {
			words = append(words, side.p.File)
		}
		if side.p.SHA256 != "" {
			words = append(words, fmt.Sprintf("%d bytes, SHA-256 %.16s…", side.p.Bytes, side.p.SHA256))
		}
		if w := side.p.Words(); w != "" {
			words = append(words, "made of: "+w)
		}
		if len(words) == 0 {
			words = []string{"no file"}
		}
		say(a.out, "    ", fmt.Sprintf("%-3s %s", side.word, strings.Join(words, ", ")))
	}
}
