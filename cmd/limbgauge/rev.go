package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"limbgauge/analyze/book"
)

func (a *app) revCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "rev",
		Short: "revisions of the leg's design",
		Long: `A revision is a state of the design: its parts, the files they were made from with
their hashes, what they were made of and how, and the revision it came from. Runs
name the revision they were made with; a new revision answers the problems that are
open, and runs with it tell whether it cured them.

A revision that comes from another one has all its parts; those that changed are
named. Files are only looked at, never copied: keep them. list and tree take a file
of the size and time that were kept as unchanged; show, file and sweep read it whole.`,
		Example: `  limbgauge rev add A --part femur=femur_a.stl --part tibia=tibia.stl
  limbgauge rev add B --from A --part femur=femur_b.stl --why "rib at the belt"
  limbgauge rev tree              which came from which, and why
  limbgauge rev show A B          which parts changed
  limbgauge rev file femur_b.stl  which runs were made with exactly this file`,
	}
	cmd.AddCommand(a.revAddCommand(), a.revListCommand(), a.revTreeCommand(), a.revShowCommand(), a.revDiffCommand(),
		a.revPartCommand(), a.revFileCommand())
	return cmd
}

// revHint is what to look at when a revision is not what was thought.
const revHint = `"limbgauge rev list" shows what is there`

type revAdd struct {
	r                    book.Revision
	parts, made, without []string
	json                 bool
}

func (a *app) revAddCommand() *cobra.Command {
	var o revAdd
	cmd := &cobra.Command{
		Use:   "add name",
		Short: "add a revision",
		Long: `Add a revision. With --from it has all parts of that one: name those that changed,
and those that are left out with --without. A part that is taken over keeps what it
was made of; a new file starts with nothing said of it. A part named with the
parent's very file stays the parent's, unless --made says another thing of it.

--made says what a part was made of and how, as part:key=value with any key, or as
part=text; an empty value takes away what the parent says.`,
		Example: `  limbgauge rev add A --part femur=femur_a.stl --part belt
  limbgauge rev add B --from A --part femur=femur_b.stl --why "rib at belt" \
      --made femur:material=PETG --made femur:walls=4 --made "femur:infill=40 %"
  limbgauge rev add C --from B --without spacer --made femur:material=ASA
  limbgauge rev add D --from B --answers knee/belt_slack
  limbgauge rev add E --from B --answers none`,
		Args: usageArgs(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.r.Name, o.r.Made = args[0], a.now()
			if err := book.CheckRevisionName(o.r.Name); err != nil {
				return usageError{err}
			}
			return a.addRevision(cmd.Context(), o)
		},
	}
	cmd.Flags().BoolVar(&o.json, "json", false, "print it as JSON, with the problems that wait for a proof")
	cmd.Flags().StringVar(&o.r.Parent, "from", "", "the revision it came from")
	cmd.Flags().StringVar(&o.r.Why, "why", "", "what was changed and why")
	cmd.Flags().StringArrayVar(&o.parts, "part", nil, "a part and its file, as name=file (or name alone); may be repeated")
	cmd.Flags().StringArrayVar(&o.without, "without", nil, "a part of the parent that is left out; may be repeated")
	cmd.Flags().StringArrayVar(&o.made, "made", nil, "what a part was made of and how, as part:key=value or part=text; may be repeated")
	cmd.Flags().StringArrayVar(&o.r.Answers, "answers", nil, "a problem it answers, as joint/cause or number, or none; default: all that are open")
	return cmd
}

func (a *app) addRevision(ctx context.Context, o revAdd) error {
	named, err := a.partsOf(o.parts)
	if err != nil {
		return err
	}
	return a.withBook(ctx, func(b *book.Book) error {
		list, err := b.Revisions(ctx)
		if err != nil {
			return err
		}
		family := book.Family(list)
		var parent *book.Revision
		if o.r.Parent != "" {
			p, err := family.Find(o.r.Parent)
			if err != nil {
				return usageError{fmt.Errorf("--from %s: %w", o.r.Parent, err)}
			}
			parent = &p
		}
		making, err := makingOf(o.made, parent, named)
		if err != nil {
			return usageError{err}
		}
		if o.r.Parts, err = book.PartsFrom(parent, named, o.without, making); err != nil {
			return usageError{err}
		}
		if o.r.Answers, err = answersOf(ctx, b, o.r.Answers); err != nil {
			return err
		}
		if err := b.AddRevision(ctx, o.r); err != nil {
			return inputError(err, revHint)
		}
		waiting, err := answeredBy(ctx, b, "revision "+o.r.Name)
		if err != nil {
			return err
		}
		if o.json {
			return printJSON(a.out, struct {
				book.Revision
				Waiting []answered `json:"wait_for_proof"`
			}{o.r, waiting})
		}
		a.sayAdded(family, o.r, parent, named)
		a.sayAnswered(waiting)
		return nil
	})
}

// sayAdded tells what a new revision took over and what is its own.
func (a *app) sayAdded(family book.Family, r book.Revision, parent *book.Revision, named []book.Part) {
	fmt.Fprintf(a.out, "revision %s added with %s\n", r.Name, count(len(r.Parts), "part"))
	if parent == nil {
		return
	}
	for _, d := range book.Differences(*parent, r) {
		line := d.Name + ": "
		switch {
		case d.What != "kept":
			line += d.What
		case slices.ContainsFunc(named, func(p book.Part) bool { return p.Name == d.Name }):
			line += "the same as in " + parent.Name
			if d.B.File != "" {
				line += ": " + d.B.File + " is the file it was made from"
			}
		default:
			line += "taken over from " + parent.Name
		}
		say(a.out, "  ", line)
	}
	look := book.LookAt(a.folder(), family, false)
	for _, n := range look.Now(r) {
		taken := !slices.ContainsFunc(named, func(p book.Part) bool { return p.Name == n.Part.Name })
		if taken && (n.State == book.FileChanged || n.State == book.FileGone) {
			fmt.Fprintf(a.err, "limbgauge: note: part %s is taken over as it was, but %s %s since; --part %s=FILE names another file\n",
				n.Part.Name, n.Part.File, map[book.FileState]string{book.FileChanged: "has changed", book.FileGone: "is gone"}[n.State], n.Part.Name)
		}
	}
}

// count says how many there are of a thing.
func count(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}

// partsOf reads name=file pairs and hashes the files. Files are kept relative to the bench.
func (a *app) partsOf(parts []string) ([]book.Part, error) {
	var out []book.Part
	for _, s := range parts {
		name, file, has := strings.Cut(s, "=")
		if name == "" || has && file == "" {
			return nil, usageError{fmt.Errorf("--part %q: write name=file, or the name alone for a part without a file", s)}
		}
		p := book.Part{Name: name}
		if has {
			var err error
			p, err = book.ReadPart(name, file)
			if errors.Is(err, fs.ErrNotExist) {
				err = fmt.Errorf("there is no file %s", file)
			}
			if err != nil {
				return nil, inputError(fmt.Errorf("--part %s: %w", s, err), "give the path of the file the part was made from")
			}
			p.File = a.fromBench(file)
		}
		out = append(out, p)
	}
	return out, nil
}

// fromBench names a file as the book keeps it: relative to the bench where that can be said.
func (a *app) fromBench(file string) string {
	if rel, err := relTo(a.folder(), file); err == nil {
		return filepath.ToSlash(rel)
	}
	return file
}

// makingOf reads part:key=value and part=text. A part whose name holds a colon, as an old history may
// have, is found by its whole name.
func makingOf(made []string, parent *book.Revision, named []book.Part) ([]book.Making, error) {
	known := func(name string) bool {
		if parent != nil {
			if _, ok := parent.Part(name); ok {
				return true
			}
		}
		return slices.ContainsFunc(named, func(p book.Part) bool { return p.Name == name })
	}
	var out []book.Making
	for _, s := range made {
		left, text, ok := strings.Cut(s, "=")
		if !ok || left == "" {
			return nil, fmt.Errorf("--made %q: write part:key=value, such as femur:material=PETG, or part=text", s)
		}
		m := book.Making{Part: left, Text: strings.TrimSpace(text)}
		if i := strings.LastIndex(left, ":"); i >= 0 && !known(left) {
			m.Part, m.Key = left[:i], left[i+1:]
			if m.Key == "" {
				return nil, fmt.Errorf("--made %q: give the key after the colon, such as femur:material=PETG", s)
			}
		}
		out = append(out, m)
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

// family returns every revision, and says on the way what a hand spoiled of their tree.
func (a *app) family(ctx context.Context, b *book.Book) (book.Family, error) {
	list, err := b.Revisions(ctx)
	for _, e := range book.Family(list).Troubles() {
		fmt.Fprintf(a.err, "limbgauge: note: %v\n", e)
	}
	return list, err
}
