package ref

import (
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// later are worked checks of what this repository does not compute yet, with the reason.
var later = map[string]string{}

// The table of worked checks in ../shared/methods.md has an id for each. A test claims one by the word
// Check and the id, or Checks and several, in a comment of its own. Every id is claimed by a test, or
// named in later; no test claims what the table does not have.
func TestEveryWorkedCheckIsClaimed(t *testing.T) {
	path := filepath.Join(Root(t), "..", "shared", "methods.md")
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) && os.Getenv(RequireAll) != "1" {
		t.Skip("no table of worked checks beside the repository")
	}
	if err != nil {
		t.Fatal(err)
	}
	ids := tableIDs(string(text))
	if len(ids) < 60 {
		t.Fatalf("%d ids were read from %s: %v", len(ids), path, ids)
	}
	claims := claimedIDs(t)
	for _, id := range ids {
		switch why := later[id]; {
		case why == "" && len(claims[id]) == 0:
			t.Errorf("check %s: no test claims it", id)
		case why != "" && len(claims[id]) > 0:
			t.Errorf("check %s stands under later (%s), and %s claims it", id, why, claims[id][0])
		default:
			t.Logf("%-3s %s%s", id, strings.Join(claims[id], ", "), why)
		}
	}
	for id, at := range claims {
		if !slices.Contains(ids, id) {
			t.Errorf("%s claims check %s, which the table does not have", at[0], id)
		}
	}
	for id := range later {
		if !slices.Contains(ids, id) {
			t.Errorf("check %s stands under later, and the table does not have it", id)
		}
	}
}

var (
	tableRow = regexp.MustCompile(`(?m)^\| ((?:\d+[a-z]'?(?:-[a-z])? ?)+)\|`)
	idSpan   = regexp.MustCompile(`(\d+)([a-z])('?)(?:-([a-z]))?`)
	claimed  = regexp.MustCompile(`\bChecks? ((?:\d+[a-z]'?(?:, | and )?)+)`)
)

// tableIDs returns the ids of the first column, spans such as 4a-d written out, in order.
func tableIDs(text string) (ids []string) {
	for _, row := range tableRow.FindAllStringSubmatch(text, -1) {
		number := ""
		for _, m := range idSpan.FindAllStringSubmatch(row[1], -1) {
			number = m[1]
			last := m[2]
			if m[4] != "" {
				last = m[4]
			}
			for c := m[2][0]; c <= last[0]; c++ {
				ids = append(ids, number+string(c)+m[3])
			}
		}
	}
	return ids
}

// claimedIDs returns the tests that claim each id: only comments of a test function count, since a
// comment elsewhere runs nothing.
func claimedIDs(t *testing.T) map[string][]string {
	claims := map[string][]string{}
	err := filepath.WalkDir(Root(t), func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, "_test.go") {
			return err
		}
		fset := token.NewFileSet()
		f, err := parser.ParseFile(fset, path, nil, parser.ParseComments)
		if err != nil {
			return err
		}
		for _, decl := range f.Decls {
			fn, ok := decl.(*ast.FuncDecl)
			if !ok || !strings.HasPrefix(fn.Name.Name, "Test") {
				continue
			}
			from := fn.Pos()
			if fn.Doc != nil {
				from = fn.Doc.Pos()
			}
			for _, c := range f.Comments {
				if c.Pos() < from || c.End() > fn.End() {
					continue
				}
				for _, m := range claimed.FindAllStringSubmatch(c.Text(), -1) {
					for _, id := range idSpan.FindAllString(m[1], -1) {
						claims[id] = append(claims[id], filepath.Base(filepath.Dir(path))+"."+fn.Name.Name)
					}
				}
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return claims
}
