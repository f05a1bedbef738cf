package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"limbgauge/analyze/book"
	"limbgauge/rig"
)

// partStep is a part as one revision has it.
type partStep struct {
	Revision string     `json:"revision"`
	Parent   string     `json:"parent,omitempty"`
	Part     *book.Part `json:"part"`   // nil: the revision has no such part
	Origin   string     `json:"origin"` // the revision in which it became what it is
	Runs     []string   `json:"runs"`
}

func (a *app) revPartCommand() *cobra.Command {
	asJSON := false
	cmd := &cobra.Command{
		Use:     "part name",
		Short:   "a part over the revisions: its file in each, what it was made of, and the runs",
		Example: "  limbgauge rev part femur",
		Args:    usageArgs(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withBook(cmd.Context(), func(b *book.Book) error {
				steps, err := a.partSteps(cmd.Context(), b, args[0])
				if err != nil {
					return err
				}
				if asJSON {
					return printJSON(a.out, steps)
				}
				a.printPartSteps(args[0], steps)
				return nil
			})
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return cmd
}

// partSteps follows a part through every revision, in the order they were added.
func (a *app) partSteps(ctx context.Context, b *book.Book, name string) ([]partStep, error) {
	f, err := a.family(ctx, b)
	if err != nil {
		return nil, err
	}
	steps := []partStep{}
	seen := map[string]bool{}
	var names []string
	found := false
	for _, r := range f {
		for _, p := range r.Parts {
			if !seen[p.Name] {
				seen[p.Name], names = true, append(names, p.Name)
			}
		}
		p, has := r.Part(name)
		if !has && !found {
			continue // not thought of yet
		}
		s := partStep{Revision: r.Name, Parent: r.Parent}
		runs, err := b.RunsOf(ctx, r.Name)
		if err != nil {
			return nil, err
		}
		s.Runs = ids(runs)
		if has {
			found = true
			s.Part, s.Origin = &p, f.Origin(r.Name, name)
		}
		steps = append(steps, s)
	}
	if !found {
		if len(names) == 0 {
			return nil, inputError(fmt.Errorf("no revision has a part %q", name), noRevisions)
		}
		return nil, usageError{&rig.NameError{What: "part", Name: name, Where: "in any revision", Known: names}}
	}
	return steps, nil
}

func (a *app) printPartSteps(name string, steps []partStep) {
	fmt.Fprintf(a.out, "%s over the revisions\n", name)
	for _, s := range steps {
		line := s.Revision
		if s.Parent != "" {
			line += " from " + s.Parent
		}
		line += ": "
		switch {
		case s.Part == nil:
			line += "no such part"
		case s.Origin != s.Revision:
			line += "as in " + s.Origin
		case s.Part.File == "":
			line += "no file"
		default:
			line += s.Part.File
		}
		say(a.out, "  ", line+"; "+runsWords(s.Runs))
		if s.Part == nil || s.Origin != s.Revision {
			continue
		}
		if s.Part.SHA256 != "" {
			fmt.Fprintf(a.out, "    %d bytes, SHA-256 %.16s…\n", s.Part.Bytes, s.Part.SHA256)
		}
		if w := s.Part.Words(); w != "" {
			say(a.out, "    ", "made of: "+w)
		}
	}
}

// hashLike is what may be the beginning of a SHA-256: 8 digits tell apart what a bench holds.
var hashLike = regexp.MustCompile(`^[0-9A-Fa-f]{8,64}$`)

// fileAnswer is what is known of a file.
type fileAnswer struct {
	Asked  string     `json:"asked"`
	SHA256 string     `json:"sha256,omitempty"` // whole, or the beginning that was given
	Bytes  *int64     `json:"bytes,omitempty"`
	Uses   []fileUse  `json:"uses"`
	Named  []book.Use `json:"same_name"` // parts made from another file of that name
	Runs   []string   `json:"runs"`
	path   string     // as a revision would keep it
}

type fileUse struct {
	Revision string   `json:"revision"`
	Part     string   `json:"part"`
	File     string   `json:"file"`
	SHA256   string   `json:"sha256"`
	Origin   string   `json:"origin"`
	Runs     []string `json:"runs"`
}

func (a *app) revFileCommand() *cobra.Command {
	asJSON := false
	cmd := &cobra.Command{
		Use:   "file file",
		Short: "which revisions, parts and runs were made with exactly this file",
		Long: `Read a file and say which parts of which revisions were made from exactly these
bytes, whatever the file was called, and which runs were made with them. In the
place of a file, the first 8 or more digits of its SHA-256 do as well. Of a file
that is in no revision but whose name is, it says that it has changed and how.`,
		Example: "  limbgauge rev file femur_b.stl\n  limbgauge rev file ba7816bf",
		Args:    usageArgs(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withBook(cmd.Context(), func(b *book.Book) error {
				ans, err := a.askFile(cmd.Context(), b, args[0])
				if err != nil {
					return err
				}
				if asJSON {
					return printJSON(a.out, ans)
				}
				a.printFile(ans)
				return nil
			})
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return cmd
}

func (a *app) askFile(ctx context.Context, b *book.Book, asked string) (fileAnswer, error) {
	ans := fileAnswer{Asked: asked, Uses: []fileUse{}, Named: []book.Use{}, Runs: []string{}}
	f, err := a.family(ctx, b)
	if err != nil {
		return ans, err
	}
	path := asked
	if _, err := os.Stat(path); err != nil {
		// A path as rev show prints it is meant from the bench.
		if at := filepath.Join(a.folder(), asked); exists(at) {
			path = at
		}
	}
	sum, size, err := book.HashFile(path)
	switch {
	case err == nil:
		ans.SHA256, ans.Bytes = sum, &size
		ans.path = a.fromBench(path)
		ans.Named = f.WithName(ans.path)
	case errors.Is(err, fs.ErrNotExist) && hashLike.MatchString(asked):
		ans.SHA256 = strings.ToLower(asked)
	case errors.Is(err, fs.ErrNotExist):
		if gone := f.WithName(asked); len(gone) > 0 {
			return ans, inputError(fmt.Errorf("%s is not there any more; part %s of revision %s was made from it", asked, gone[0].Part.Name, gone[0].Revision),
				fmt.Sprintf("it had %d bytes; ask by its hash instead: limbgauge rev file %.16s", gone[0].Part.Bytes, gone[0].Part.SHA256))
		}
		return ans, inputError(fmt.Errorf("there is no file %s", asked), "give a file, or the first 8 or more digits of its SHA-256")
	default:
		return ans, inputError(err, "give a file, or the first 8 or more digits of its SHA-256")
	}
	told := map[string]bool{}
	for _, u := range f.WithHash(ans.SHA256) {
		runs, err := b.RunsOf(ctx, u.Revision)
		if err != nil {
			return ans, err
		}
		ans.Uses = append(ans.Uses, fileUse{u.Revision, u.Part.Name, u.Part.File, u.Part.SHA256, f.Origin(u.Revision, u.Part.Name), ids(runs)})
		if told[u.Part.SHA256] {
			continue
		}
		told[u.Part.SHA256] = true
		with, err := b.RunsWithFile(ctx, u.Part.SHA256)
		if err != nil {
			return ans, err
		}
		ans.Runs = append(ans.Runs, ids(with)...)
	}
	ans.Named = withoutHash(ans.Named, ans.SHA256)
	// What a revision took over says nothing new.
	ans.Named = slices.DeleteFunc(ans.Named, func(u book.Use) bool { return f.Origin(u.Revision, u.Part.Name) != u.Revision })
	return ans, nil
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// withoutHash leaves out the parts that are made from the very file.
func withoutHash(uses []book.Use, sum string) []book.Use {
	out := []book.Use{}
	for _, u := range uses {
		if !strings.EqualFold(u.Part.SHA256, sum) {
			out = append(out, u)
		}
	}
	return out
}

func (a *app) printFile(ans fileAnswer) {
	what := "SHA-256 " + ans.SHA256
	if ans.Bytes != nil {
		what = fmt.Sprintf("%s, %d bytes, SHA-256 %.16s…", ans.Asked, *ans.Bytes, ans.SHA256)
	}
	if len(ans.Uses) == 0 {
		say(a.out, "", what+": no part of any revision was made from this file")
	} else {
		say(a.out, "", what+": "+runsWords(ans.Runs))
	}
	several := map[string]bool{}
	for _, u := range ans.Uses {
		several[u.SHA256] = true
	}
	for _, u := range ans.Uses {
		line := fmt.Sprintf("revision %s, part %s (%s)", u.Revision, u.Part, u.File)
		if u.Origin != u.Revision {
			line += ", as in " + u.Origin
		}
		if len(several) > 1 {
			line += fmt.Sprintf(", SHA-256 %.16s…", u.SHA256)
		}
		say(a.out, "  ", line+": "+runsWords(u.Runs))
	}
	if len(several) > 1 {
		fmt.Fprintln(a.out, "note: several files begin so; give more digits")
	}
	for _, u := range ans.Named {
		if ans.Bytes == nil {
			break
		}
		how := fmt.Sprintf("%d bytes then, %d now", u.Part.Bytes, *ans.Bytes)
		if u.Part.Bytes == *ans.Bytes {
			how = "the same size, other content"
		}
		from := "this file, which has changed since"
		if u.Part.File != ans.path {
			from = "another file of this name, " + u.Part.File
		}
		say(a.out, "  ", fmt.Sprintf("revision %s, part %s, was made from %s: %s, SHA-256 %.16s… then", u.Revision, u.Part.Name, from, how, u.Part.SHA256))
	}
	if len(ans.Uses) == 0 && len(ans.Named) > 0 {
		p := ans.Named[len(ans.Named)-1]
		fmt.Fprintf(a.out, "a revision of it: limbgauge rev add NAME --from %s --part %s=%s\n", quoteWord(p.Revision), quoteWord(p.Part.Name), quoteWord(ans.Asked))
	}
}
