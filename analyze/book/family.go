package book

import (
	"fmt"
	"strings"

	"limbgauge/rig"
)

// Family is every revision of a bench, in the order they were added.
type Family []Revision

// Find returns the revision of that name; the error is a *rig.NameError.
func (f Family) Find(name string) (Revision, error) {
	for _, r := range f {
		if r.Name == name {
			return r, nil
		}
	}
	return Revision{}, &rig.NameError{What: "revision", Name: name, Known: f.names(), Else: `"limbgauge rev add" adds one`}
}

func (f Family) names() (out []string) {
	for _, r := range f {
		out = append(out, r.Name)
	}
	return out
}

// Origin returns the revision in which a part became what it is in another one: as far back as each
// parent has the same.
func (f Family) Origin(revision, part string) string {
	r, err := f.Find(revision)
	if err != nil {
		return revision
	}
	here, ok := r.Part(part)
	seen := map[string]bool{}
	for ok && !seen[r.Name] {
		seen[r.Name] = true
		up, err := f.Find(r.Parent)
		if err != nil {
			break
		}
		there, has := up.Part(part)
		if !has || !SamePart(here, there) {
			break
		}
		r = up
	}
	return r.Name
}

// Troubles says what is wrong with the tree itself, as only a hand in history.toml can make it:
// parents that are not known, and revisions that come from themselves.
func (f Family) Troubles() []error {
	var out []error
	told := map[string]bool{}
	for _, r := range f {
		seen := map[string]bool{r.Name: true}
		way := []string{r.Name}
		for at := r; at.Parent != ""; {
			up, err := f.Find(at.Parent)
			if err != nil {
				if at.Name == r.Name {
					out = append(out, fmt.Errorf("%s: revision %q, named as the parent of %q, is not there", HistoryFile, r.Parent, r.Name))
				}
				break
			}
			if seen[up.Name] {
				if up.Name == r.Name && !told[r.Name] {
					for _, n := range way {
						told[n] = true
					}
					out = append(out, fmt.Errorf("%s: revision %s comes from itself (%s); correct from where it came", HistoryFile, r.Name, strings.Join(append(way, r.Name), " from ")))
				}
				break
			}
			seen[up.Name], at = true, up
			way = append(way, up.Name)
		}
	}
	return out
}

// PartDifference is one part of two revisions. A or B is nil where that revision has no such part.
type PartDifference struct {
	Name string `json:"name"`
	A    *Part  `json:"a"`
	B    *Part  `json:"b"`
	// What is "kept", "new file", "made another way", "added" or "left out".
	What string `json:"what"`
}

// Differences sets the parts of two revisions side by side, in the order of the second; what it left out
// comes last.
func Differences(a, b Revision) []PartDifference {
	out := []PartDifference{}
	for _, p := range b.Parts {
		d := PartDifference{Name: p.Name, B: &p, What: "added"}
		if was, ok := a.Part(p.Name); ok {
			d.A = &was
			switch {
			case SamePart(was, p):
				d.What = "kept"
			case sameFile(was, p):
				d.What = "made another way"
			default:
				d.What = "new file"
			}
		}
		out = append(out, d)
	}
	for _, p := range a.Parts {
		if _, ok := b.Part(p.Name); !ok {
			out = append(out, PartDifference{Name: p.Name, A: &p, What: "left out"})
		}
	}
	return out
}
