package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"limbgauge/analyze/book"
)

func (a *app) revCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "rev",
		Short: "revisions of the leg's design",
		Long: `A revision is a state of the design: its parts, the files they were made from with
their hashes, and the revision it came from. Runs name the revision they were made
with; a new revision answers the problems that are open, and runs with it tell
whether it cured them.`,
	}
	cmd.AddCommand(a.revAddCommand(), a.revListCommand(), a.revShowCommand())
	return cmd
}

func (a *app) revAddCommand() *cobra.Command {
	var r book.Revision
	var parts, made []string
	cmd := &cobra.Command{
		Use:   "add name",
		Short: "add a revision",
		Example: `  limbgauge rev add A --part femur=femur_a.stl
  limbgauge rev add B --from A --part femur=femur_b.stl --made "femur=PETG, 4 walls" --why "rib along the belt"`,
		Args: usageArgs(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			r.Name, r.Made = args[0], a.now()
			var err error
			if r.Parts, err = a.partsOf(parts, made); err != nil {
				return err
			}
			return a.withBook(cmd.Context(), func(b *book.Book) error {
				if err := b.AddRevision(cmd.Context(), r); err != nil {
					return inputError(err, `"limbgauge rev list" shows what is there`)
				}
				fmt.Fprintf(a.out, "revision %s added with %d parts\n", r.Name, len(r.Parts))
				return nil
			})
		},
	}
	cmd.Flags().StringVar(&r.Parent, "from", "", "the revision it came from")
	cmd.Flags().StringVar(&r.Why, "why", "", "what was changed and why")
	cmd.Flags().StringArrayVar(&parts, "part", nil, "a part and its file, as name=file (or name alone); may be repeated")
	cmd.Flags().StringArrayVar(&made, "made", nil, "what a part was made of and how, as name=text; may be repeated")
	cmd.Flags().StringArrayVar(&r.Answers, "answers", nil, "a problem it answers, as joint/cause; default: all that are open")
	return cmd
}

// partsOf reads name=file pairs and hashes the files. Files are kept relative to the bench.
func (a *app) partsOf(parts, made []string) ([]book.Part, error) {
	var out []book.Part
	for _, s := range parts {
		name, file, _ := strings.Cut(s, "=")
		if name == "" {
			return nil, usageError{fmt.Errorf("--part %q: write name=file", s)}
		}
		p := book.Part{Name: name, File: file}
		if file != "" {
			sum, size, err := book.HashFile(file)
			if err != nil {
				return nil, inputError(err, "give the path of the file the part was made from")
			}
			p.SHA256, p.Bytes = sum, size
			if rel, err := relTo(a.folder(), file); err == nil {
				p.File = rel
			}
		}
		out = append(out, p)
	}
	for _, s := range made {
		name, text, ok := strings.Cut(s, "=")
		found := false
		for i := range out {
			if out[i].Name == name && ok {
				out[i].MadeOf, found = text, true
			}
		}
		if !found {
			return nil, usageError{fmt.Errorf("--made %q: write name=text with the name of a --part", s)}
		}
	}
	return out, nil
}

// relTo returns file relative to the bench folder, with an error when that cannot be said.
func relTo(folder, file string) (string, error) {
	abs, err := filepath.Abs(file)
	if err != nil {
		return "", err
	}
	base, err := filepath.Abs(folder)
	if err != nil {
		return "", err
	}
	return filepath.Rel(base, abs)
}

func (a *app) revListCommand() *cobra.Command {
	return a.listCommand("list", "list revisions and how many runs each has", func(ctx context.Context, b *book.Book, asJSON bool) error {
		revs, err := b.Revisions(ctx)
		if err != nil {
			return err
		}
		if asJSON {
			return printJSON(a.out, revs)
		}
		if len(revs) == 0 {
			fmt.Fprintln(a.out, `no revisions yet; "limbgauge rev add A --part NAME=FILE" adds one`)
			return nil
		}
		w := tabwriter.NewWriter(a.out, 0, 0, 2, ' ', 0)
		fmt.Fprintln(w, "revision\tfrom\tadded\tparts\truns\twhy")
		for _, r := range revs {
			runs, err := b.RunsOf(ctx, r.Name)
			if err != nil {
				return err
			}
			fmt.Fprintf(w, "%s\t%s\t%s\t%d\t%d\t%s\n", r.Name, r.Parent, r.Made.Local().Format("2006-01-02"), len(r.Parts), len(runs), r.Why)
		}
		return w.Flush()
	})
}

func (a *app) revShowCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "show name",
		Short: "show a revision, its parts and whether their files have changed",
		Args:  usageArgs(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withBook(cmd.Context(), func(b *book.Book) error {
				revs, err := b.Revisions(cmd.Context())
				if err != nil {
					return err
				}
				i := slices.IndexFunc(revs, func(r book.Revision) bool { return r.Name == args[0] })
				if i < 0 {
					return inputError(fmt.Errorf("there is no revision %q", args[0]), `"limbgauge rev list" shows what is there`)
				}
				a.printRevision(revs[i])
				return nil
			})
		},
	}
}

func (a *app) printRevision(r book.Revision) {
	fmt.Fprintf(a.out, "revision %s, added %s", r.Name, r.Made.Local().Format("2006-01-02 15:04"))
	if r.Parent != "" {
		fmt.Fprintf(a.out, ", from %s", r.Parent)
	}
	fmt.Fprintln(a.out)
	if r.Why != "" {
		fmt.Fprint(a.out, wrap(r.Why, "  ", pageWidth))
	}
	for _, p := range r.Parts {
		fmt.Fprintf(a.out, "  %s", p.Name)
		if p.File != "" {
			fmt.Fprintf(a.out, "  %s, %d bytes, sha256 %.12s…", p.File, p.Bytes, p.SHA256)
		}
		if p.MadeOf != "" {
			fmt.Fprintf(a.out, "  (%s)", p.MadeOf)
		}
		fmt.Fprintln(a.out)
	}
	if err := errors.Join(r.CheckFiles(a.folder())...); err != nil {
		fmt.Fprintf(a.out, "  note: %v\n", err)
	}
}
