package book

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Making is what a person says of how a part was made. Without a key it is free text; an empty text
// takes away what the parent says.
type Making struct{ Part, Key, Text string }

// PartsFrom returns the parts of a new revision: those of its parent (nil for none), in their order,
// with the named ones in their place and the new ones behind them, but for those left out. Parts taken
// over keep what they were made of, and so does a named one whose file is the parent's; a new file
// starts with nothing said of it. The revision thus knows every part it has.
func PartsFrom(parent *Revision, named []Part, without []string, making []Making) ([]Part, error) {
	var out []Part
	if parent != nil {
		for _, p := range parent.Parts {
			p.Made = maps.Clone(p.Made)
			out = append(out, p)
		}
	}
	at := func(name string) int { return slices.IndexFunc(out, func(p Part) bool { return p.Name == name }) }
	for i, n := range named {
		if err := checkWord("part", n.Name); err != nil {
			return nil, err
		}
		if slices.ContainsFunc(named[:i], func(p Part) bool { return p.Name == n.Name }) {
			return nil, fmt.Errorf("part %q is named twice", n.Name)
		}
		if slices.Contains(without, n.Name) {
			return nil, fmt.Errorf("part %q is named and left out at once", n.Name)
		}
		k := at(n.Name)
		switch {
		case k < 0:
			out = append(out, n)
		case sameFile(out[k], n):
			n.MadeOf, n.Made = out[k].MadeOf, out[k].Made
			out[k] = n
		default:
			out[k] = n
		}
	}
	for _, w := range without {
		if parent == nil {
			return nil, fmt.Errorf("part %q can not be left out: without --from there is nothing to leave out", w)
		}
		k := at(w)
		if k < 0 {
			return nil, fmt.Errorf("part %q can not be left out: %s", w, partsWords(out))
		}
		out = slices.Delete(out, k, k+1)
	}
	return out, writeMaking(out, making)
}

// writeMaking writes down how parts were made.
func writeMaking(parts []Part, making []Making) error {
	seen := map[[2]string]bool{}
	for _, m := range making {
		k := slices.IndexFunc(parts, func(p Part) bool { return p.Name == m.Part })
		if k < 0 {
			return fmt.Errorf("part %q, said to be made of %q, is none of the revision's: %s", m.Part, m.Text, partsWords(parts))
		}
		if seen[[2]string{m.Part, m.Key}] {
			return fmt.Errorf("part %q: %s is said twice", m.Part, makingKey(m.Key))
		}
		seen[[2]string{m.Part, m.Key}] = true
		if m.Key == "" {
			parts[k].MadeOf = m.Text
			continue
		}
		if err := checkWord("key", m.Key); err != nil {
			return fmt.Errorf("part %q: %w", m.Part, err)
		}
		if m.Text == "" {
			delete(parts[k].Made, m.Key)
			continue
		}
		if parts[k].Made == nil {
			parts[k].Made = Fields{}
		}
		parts[k].Made[m.Key] = Field(m.Text)
	}
	return nil
}

func makingKey(key string) string {
	if key == "" {
		return "what it was made of"
	}
	return key
}

func partsWords(parts []Part) string {
	if len(parts) == 0 {
		return "there are no parts"
	}
	var names []string
	for _, p := range parts {
		names = append(names, p.Name)
	}
	return "there are " + strings.Join(names, ", ")
}

// sameFile says whether two parts come from the same file; of parts without a file their name is all
// there is.
func sameFile(a, b Part) bool {
	if a.SHA256 == "" && b.SHA256 == "" {
		return a.File == b.File
	}
	return strings.EqualFold(a.SHA256, b.SHA256)
}

// SamePart says whether a part is what another one is: the same file, made the same way.
func SamePart(a, b Part) bool {
	return sameFile(a, b) && a.MadeOf == b.MadeOf && maps.Equal(a.Made, b.Made)
}

// Words says what a part was made of and how, "" where nothing is known.
func (p Part) Words() string {
	var words []string
	for _, k := range slices.Sorted(maps.Keys(p.Made)) {
		words = append(words, k+" "+string(p.Made[k]))
	}
	if p.MadeOf != "" {
		words = append(words, p.MadeOf)
	}
	return strings.Join(words, ", ")
}

// Part returns the part of that name.
func (r Revision) Part(name string) (Part, bool) {
	for _, p := range r.Parts {
		if p.Name == name {
			return p, true
		}
	}
	return Part{}, false
}

var (
	likeRun   = regexp.MustCompile(`^[0-9]+$`)
	likeRange = regexp.MustCompile(`\.\.|,|^[0-9]+ *[-:] *[0-9]+$`)
)

// nameMost is how long a revision's name may be, so that tables can hold it.
const nameMost = 40

// CheckRevisionName refuses a name that could be taken for something else where revisions and runs are
// named side by side, or that no table can show. Names that are in history.toml already stay as they are.
func CheckRevisionName(name string) error {
	switch {
	case likeRun.MatchString(name):
		return fmt.Errorf("revision %q: a name of digits only is a run's; put a letter before it, such as R%s", name, name)
	case likeRange.MatchString(name):
		return fmt.Errorf("revision %q: this is how a list or a range of runs is written; leave out \"..\" and \",\"", name)
	case utf8.RuneCountInString(name) > nameMost:
		return fmt.Errorf("revision %q: the name is longer than %d characters; --why has room for more", name, nameMost)
	case strings.HasPrefix(name, "-"):
		return fmt.Errorf("revision %q: a name that begins with - reads as an option", name)
	}
	return checkPlain("revision", name)
}

// checkWord refuses a name that the command line could not name again.
func checkWord(what, name string) error {
	if strings.ContainsAny(name, "=:") {
		return fmt.Errorf("%s %q: = and : have a meaning of their own here; leave them out", what, name)
	}
	return checkPlain(what, name)
}

func checkPlain(what, name string) error {
	switch {
	case strings.TrimSpace(name) == "":
		return fmt.Errorf("%s %q: give it a name", what, name)
	case strings.TrimSpace(name) != name:
		return fmt.Errorf("%s %q: leave out the space at its end", what, name)
	case !utf8.ValidString(name) || strings.ContainsFunc(name, unicode.IsControl):
		return fmt.Errorf("%s %q: the name is no plain text", what, name)
	}
	return nil
}
