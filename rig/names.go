package rig

import (
	"fmt"
	"strings"
)

// NameError says that there is nothing of a name, what was most likely meant, and what there is.
type NameError struct {
	What  string // of what kind it would be: joint, routine
	Name  string
	Where string   // it would be, such as "in bench.toml"; may be empty
	Known []string // names there are
	Else  string   // what to do where nothing known was meant; may be empty
}

// fewNames is how many names are told beside the one that was most likely meant.
const fewNames = 8

// Error names the nearest name, and all that there are where they are few or none is near.
func (e *NameError) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "there is no %s %q", e.What, e.Name)
	if e.Where != "" {
		b.WriteString(" " + e.Where)
	}
	near := Nearest(e.Name, e.Known)
	if near != "" {
		fmt.Fprintf(&b, "; did you mean %s?", near)
	}
	switch {
	case len(e.Known) == 0 && e.Else == "":
		b.WriteString("; there is none yet")
	case near == "" && len(e.Known) > 0:
		b.WriteString("; there are: " + strings.Join(e.Known, ", "))
	case near != "" && len(e.Known) > 1 && len(e.Known) <= fewNames:
		b.WriteString(" There are: " + strings.Join(e.Known, ", "))
	}
	if e.Else != "" {
		b.WriteString("; " + e.Else)
	}
	return b.String()
}

// Nearest returns the known name that a mistyped one was most likely meant to be, or "": one that the name is
// the beginning of, or the least letters away from it, a third of them at most.
func Nearest(name string, known []string) string {
	low := strings.ToLower(name)
	best, least := "", 1+max(2, len(name)/3)
	for _, k := range known {
		d := editDistance(low, strings.ToLower(k))
		if len(low) >= 2 && strings.HasPrefix(strings.ToLower(k), low) {
			d = min(d, 1)
		}
		if d < least && d < max(len(k), len(name)) { // else no letter of them is the same
			best, least = k, d
		}
	}
	return best
}
