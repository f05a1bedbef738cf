package book

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	toml "github.com/pelletier/go-toml/v2"

	"limbgauge/analyze/health"
)

type historyBlock struct {
	Revision []Revision `toml:"revision,omitempty"`
	Service  []Service  `toml:"service,omitempty"`
	Note     []Note     `toml:"note,omitempty"`
}

// ReadHistory reads the text file of a bench folder; a missing file is an empty history. A block
// that cannot be read is an error, unless it is the last one: then it is told in Torn and the rest
// is used.
func ReadHistory(dir string) (History, error) {
	path := filepath.Join(dir, HistoryFile)
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return History{}, nil
	}
	if err != nil {
		return History{}, fmt.Errorf("read history: %w", err)
	}
	return parseHistory(path, string(data))
}

// parseHistory reads the text as a whole, so that a hand may write whatever the format allows. Only
// where that fails it is cut into blocks, to find the one to blame and to save the others.
func parseHistory(path, text string) (History, error) {
	text = strings.TrimPrefix(text, "\ufeff") // some editors put it there
	all, err := decodeBlock(text)
	if err == nil {
		err = all.check()
	}
	if err == nil {
		err = all.unique()
	}
	if err == nil {
		var h History
		h.add(all)
		return h, nil
	}
	h, blockErr := parseBlocks(path, text)
	if blockErr == nil && h.Torn == nil { // each block by itself is good
		blockErr = &HistoryError{Path: path, Line: lineIn(err), Problem: plainError(err, text)}
	}
	return h, blockErr
}

func decodeBlock(text string) (one historyBlock, err error) {
	dec := toml.NewDecoder(strings.NewReader(text))
	dec.DisallowUnknownFields()
	return one, dec.Decode(&one)
}

// add takes a block's entries in; services are numbered by their place.
func (h *History) add(b historyBlock) {
	h.Revisions = append(h.Revisions, b.Revision...)
	for _, s := range b.Service {
		s.ID = len(h.Services) + 1
		h.Services = append(h.Services, s)
	}
	h.Notes = append(h.Notes, b.Note...)
}

func (b historyBlock) unique() error {
	seen := map[string]bool{}
	for _, r := range b.Revision {
		if seen[r.Name] {
			return fmt.Errorf("name: revision %q stands there twice", r.Name)
		}
		seen[r.Name] = true
	}
	return nil
}

func parseBlocks(path, text string) (History, error) {
	var h History
	seen := map[string]bool{}
	blocks := splitBlocks(text)
	for i, b := range blocks {
		one, err := decodeBlock(b.text)
		if err == nil && len(one.Revision)+len(one.Service)+len(one.Note) == 0 {
			err = errors.New("this is no [[revision]], [[service]] or [[note]]")
		}
		if err == nil {
			err = one.check()
		}
		if err != nil {
			bad := &HistoryError{Path: path, Line: b.line + lineIn(err), Problem: plainError(err, b.text)}
			if i == len(blocks)-1 {
				h.Torn = bad
				break
			}
			return h, bad
		}
		for _, r := range one.Revision {
			if seen[r.Name] {
				return h, &HistoryError{Path: path, Line: b.line + 1, Problem: fmt.Sprintf("name: revision %q stands there twice", r.Name)}
			}
			seen[r.Name] = true
		}
		h.add(one)
	}
	return h, nil
}

type textBlock struct {
	line int // of its first line, from 0
	text string
}

// splitBlocks cuts the file at its block heads, so that one torn block does not cost the others.
func splitBlocks(text string) []textBlock {
	var out []textBlock
	var b strings.Builder
	start, inside := 0, false
	for i, ln := range strings.SplitAfter(text, "\n") {
		// A head may itself be torn, so any table but a part's begins a block; so do the zeros that a
		// power cut may leave where text should be.
		t := strings.TrimSpace(ln)
		head := strings.HasPrefix(t, "[") && !ofPart(t) || strings.ContainsRune(t, 0)
		if head {
			if inside {
				out = append(out, textBlock{start, b.String()})
			}
			b.Reset()
			start, inside = i, true
		}
		if inside {
			b.WriteString(ln)
		} else if t := strings.TrimSpace(ln); t != "" && !strings.HasPrefix(t, "#") {
			// Anything before the first head is a block of its own and will not parse as one.
			b.WriteString(ln)
			start, inside = i, true
		}
	}
	if inside {
		out = append(out, textBlock{start, b.String()})
	}
	return out
}

// ofPart says whether a line is the head of a part, or of what a part was made of: they belong to the
// block of their revision.
func ofPart(line string) bool {
	head := strings.ReplaceAll(line, " ", "")
	return strings.HasPrefix(head, "[[revision.part]]") || strings.HasPrefix(head, "[revision.part.made]")
}

func (b historyBlock) check() error {
	for _, r := range b.Revision {
		if r.Name == "" || r.Made.IsZero() {
			return fmt.Errorf("a revision needs name and made")
		}
		if err := checkAnswerNames(r.Answers); err != nil {
			return err
		}
	}
	for _, s := range b.Service {
		if s.What == "" || s.When.IsZero() {
			return fmt.Errorf("a service needs what and when")
		}
		if err := checkAnswerNames(s.Answers); err != nil {
			return err
		}
	}
	for _, n := range b.Note {
		if n.Joint == "" || n.Cause == "" || n.When.IsZero() {
			return fmt.Errorf("a note needs joint, cause and when")
		}
		if _, err := ParseRef(n.Joint + "/" + string(n.Cause)); err != nil {
			return fmt.Errorf("cause: %w", err)
		}
		if !slices.Contains(health.Paths(), n.Path) {
			return fmt.Errorf("path: %q is none; known are %s, %s and %s", n.Path, health.Servo, health.Transmission, health.Total)
		}
		if n.State != "" && !slices.Contains(states, n.State) {
			return fmt.Errorf("state: %q is none; known are %v", n.State, states)
		}
	}
	return nil
}

var states = []State{Open, Answered, Cured, Returned}

// checkAnswerNames refuses a name that is none: left out, it would turn an answer to one problem
// into an answer to all.
func checkAnswerNames(answers []string) error {
	for _, a := range answers {
		if a == AnswersNone && len(answers) == 1 {
			continue
		}
		if _, err := ParseRef(a); err != nil {
			return fmt.Errorf("answers: %w", err)
		}
	}
	return nil
}

func lineIn(err error) int {
	var de *toml.DecodeError
	if errors.As(err, &de) {
		row, _ := de.Position()
		return row
	}
	var sm *toml.StrictMissingError
	if errors.As(err, &sm) && len(sm.Errors) > 0 {
		row, _ := sm.Errors[0].Position()
		return row
	}
	return 1
}

func plainError(err error, block string) string {
	var sm *toml.StrictMissingError
	if errors.As(err, &sm) && len(sm.Errors) > 0 {
		return "unknown key " + strings.Join(sm.Errors[0].Key(), ".")
	}
	var de *toml.DecodeError
	if errors.As(err, &de) {
		row, _ := de.Position()
		if lines := strings.Split(block, "\n"); row >= 1 && row <= len(lines) && strings.Contains(err.Error(), "struct field") {
			key, _, _ := strings.Cut(lines[row-1], "=")
			return strings.TrimSpace(key) + ": the value is of the wrong kind"
		}
	}
	said := strings.TrimPrefix(err.Error(), "toml: ")
	if de != nil && len(de.Key()) > 0 {
		said = strings.Join(de.Key(), ".") + ": " + said
	}
	return said
}
