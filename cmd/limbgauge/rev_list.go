package main

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"unicode"

	"github.com/spf13/cobra"

	"limbgauge/analyze/book"
)

// revisionRow is a revision with what the bench knows beside it.
type revisionRow struct {
	book.Revision
	Runs  int            `json:"runs"`
	Files []book.FileNow `json:"files"`
}

// revisionRows gathers what lists show of revisions.
func (a *app) revisionRows(ctx context.Context, b *book.Book, f book.Family) ([]revisionRow, error) {
	runs, err := b.Runs(ctx)
	if err != nil {
		return nil, err
	}
	with := map[string]int{}
	for _, r := range runs {
		with[r.Revision]++
	}
	look := book.LookAt(a.folder(), f, false)
	rows := []revisionRow{}
	for _, r := range f {
		rows = append(rows, revisionRow{r, with[r.Name], look.Now(r)})
	}
	return rows, nil
}

// filesWords says in few words what became of a revision's files.
func filesWords(files []book.FileNow) string {
	n := map[string]int{}
	for _, f := range files {
		word := string(f.State)
		if f.Of != "" {
			word = "of " + f.Of + " now"
		}
		n[word]++
	}
	var words []string
	for _, w := range slices.Sorted(maps.Keys(n)) {
		if w != string(book.FileSame) && w != string(book.FileNone) {
			words = append(words, fmt.Sprintf("%d %s", n[w], w))
		}
	}
	switch {
	case len(words) > 0:
		return strings.Join(words, ", ")
	case n[string(book.FileSame)] == 0:
		return "none"
	}
	return "as added"
}

func (a *app) revListCommand() *cobra.Command {
	cmd := a.listCommand("list", "list revisions, how many runs each has, and whether files changed", func(ctx context.Context, b *book.Book, asJSON bool) error {
		f, err := a.family(ctx, b)
		if err != nil {
			return err
		}
		rows, err := a.revisionRows(ctx, b, f)
		if err != nil {
			return err
		}
		if asJSON {
			return printJSON(a.out, rows)
		}
		if len(rows) == 0 {
			fmt.Fprintln(a.out, noRevisions)
			return nil
		}
		t := sheet{columns: []column{{title: "revision", least: 8}, {title: "from", least: 8}, {title: "added"}, {title: "parts"}, {title: "runs"}, {title: "files", least: 8}, {title: "why", least: 8}}}
		for _, r := range rows {
			t.add(r.Name, r.Parent, r.Made.Local().Format("2006-01-02"), fmt.Sprint(len(r.Parts)), fmt.Sprint(r.Runs), filesWords(r.Files), oneLine(r.Why))
		}
		t.print(a.out)
		a.hintFiles(rows)
		return nil
	})
	cmd.Example = "  limbgauge rev list\n  limbgauge rev list --json"
	return cmd
}

const noRevisions = `no revisions yet; "limbgauge rev add A --part NAME=FILE" adds one`

// hintFiles says which command tells more of files that are no longer what they were.
func (a *app) hintFiles(rows []revisionRow) {
	for _, r := range rows {
		for _, n := range r.Files {
			if n.Trouble() != nil {
				fmt.Fprintf(a.out, "\nfiles are no longer as added: \"limbgauge rev show %s\" says which and how\n", quoteWord(r.Name))
				return
			}
		}
	}
}

// quoteWord writes a name as the shell takes it.
func quoteWord(s string) string {
	if strings.ContainsFunc(s, func(r rune) bool {
		return !strings.ContainsRune("-_./+@%", r) && !unicode.IsLetter(r) && !unicode.IsDigit(r)
	}) {
		return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'"
	}
	return s
}

// oneLine puts a text on one line.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

func (a *app) revTreeCommand() *cobra.Command {
	cmd := a.listCommand("tree", "which revision came from which, why, and how many runs each has", func(ctx context.Context, b *book.Book, asJSON bool) error {
		f, err := a.family(ctx, b)
		if err != nil {
			return err
		}
		rows, err := a.revisionRows(ctx, b, f)
		if err != nil {
			return err
		}
		t := treeOf(rows)
		if asJSON {
			return printJSON(a.out, t)
		}
		if len(rows) == 0 {
			fmt.Fprintln(a.out, noRevisions)
			return nil
		}
		for _, n := range t {
			a.printBranch(n, "", "")
		}
		a.hintFiles(rows)
		return nil
	})
	cmd.Example = "  limbgauge rev tree"
	return cmd
}

// branch is a revision with those that came from it.
type branch struct {
	Name     string    `json:"name"`
	Why      string    `json:"why,omitempty"`
	Made     string    `json:"made"`
	Parts    int       `json:"parts"`
	Changed  int       `json:"changed"` // parts that are not the parent's
	Runs     int       `json:"runs"`
	Files    string    `json:"files"`
	Children []*branch `json:"children"`
}

// treeOf arranges revisions below their parents. One whose parent is not known, and one of a ring that
// a hand made, stands at the root, so that every revision is shown once.
func treeOf(rows []revisionRow) []*branch {
	nodes := map[string]*branch{}
	byName := map[string]revisionRow{}
	for _, r := range rows {
		nodes[r.Name] = &branch{Name: r.Name, Why: oneLine(r.Why), Made: r.Made.Local().Format("2006-01-02"), Parts: len(r.Parts), Runs: r.Runs, Files: filesWords(r.Files), Children: []*branch{}}
		byName[r.Name] = r
	}
	roots := []*branch{}
	for _, r := range rows {
		n := nodes[r.Name]
		up, ok := byName[r.Parent]
		if ok {
			for _, d := range book.Differences(up.Revision, r.Revision) {
				if d.What != "kept" {
					n.Changed++
				}
			}
		}
		if !ok || comesFromItself(byName, r.Name) {
			roots = append(roots, n)
			continue
		}
		nodes[r.Parent].Children = append(nodes[r.Parent].Children, n)
	}
	return roots
}

func comesFromItself(rows map[string]revisionRow, name string) bool {
	seen := map[string]bool{}
	for at := rows[name].Parent; at != "" && !seen[at]; at = rows[at].Parent {
		if at == name {
			return true
		}
		seen[at] = true
	}
	return false
}

// printBranch prints a revision and below it those that came from it. head stands before its own line,
// under before all that follow.
func (a *app) printBranch(n *branch, head, under string) {
	line := fmt.Sprintf("%s  %s, %s", n.Name, n.Made, count(n.Parts, "part"))
	if n.Changed > 0 {
		line += fmt.Sprintf(" (%d changed)", n.Changed)
	}
	line += ", " + count(n.Runs, "run")
	if n.Files != "as added" && n.Files != "none" {
		line += ", files: " + n.Files
	}
	bar := under + "   "
	if len(n.Children) > 0 {
		bar = under + "|  "
	}
	p := pageOf(a.out)
	fmt.Fprintln(a.out, shorten(p.text(head+line), p.width))
	if n.Why != "" {
		for text := range strings.Lines(wrap(p.text(n.Why), "", max(p.width-len(bar), 20))) {
			fmt.Fprintln(a.out, strings.TrimRight(bar+strings.TrimSpace(text), " "))
		}
	}
	for i, c := range n.Children {
		if i < len(n.Children)-1 {
			a.printBranch(c, under+"|- ", under+"|  ")
			continue
		}
		a.printBranch(c, under+"`- ", under+"   ")
	}
}
