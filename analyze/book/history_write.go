package book

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"

	toml "github.com/pelletier/go-toml/v2"

	"limbgauge/rig/record"
)

// appendHistory adds one block and makes sure it is on the disk. The file is replaced by one that is
// longer: a block cut at the end of a line would read as a whole one that answers more than was
// meant. A torn last block is never overwritten; the file is refused until it is mended.
// The caller holds the book's write lock, so that no two programs append at once.
func appendHistory(dir string, block historyBlock) (err error) {
	path := filepath.Join(dir, HistoryFile)
	h, err := ReadHistory(dir)
	if err != nil {
		return err
	}
	if h.Torn != nil {
		return h.Torn
	}
	if err := block.check(); err != nil { // what is written must be readable again
		return err
	}
	for _, r := range block.Revision {
		if slices.ContainsFunc(h.Revisions, func(k Revision) bool { return k.Name == r.Name }) {
			return fmt.Errorf("revision %q is there already; choose another name", r.Name)
		}
	}
	body, err := toml.Marshal(block)
	if err != nil {
		return fmt.Errorf("write history: %w", err)
	}
	if again, err := decodeBlock(string(body)); err != nil || !sameHistory(again.history(), block.history()) {
		return fmt.Errorf("write history: %q can not be kept as text; leave out what is no plain character", strings.TrimSpace(string(body)))
	}
	// A link stays a link: what it points to is replaced.
	if real, err := filepath.EvalSymlinks(path); err == nil {
		path = real
	}
	text, err := os.ReadFile(path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("write history: %w", err)
	}
	if len(text) == 0 {
		text = []byte(historyHead)
	}
	text = append(text, "\n"+strings.TrimSpace(string(body))+"\n"...)
	if err := record.ReplaceFile(path, text); err != nil {
		return fmt.Errorf("write history: %w", err)
	}
	return nil
}

func (b historyBlock) history() (h History) {
	h.add(b)
	return h
}

// sameHistory says whether two histories say the same, whatever the time zone their times are
// written in.
func sameHistory(a, b History) bool {
	return reflect.DeepEqual(a.plain(), b.plain())
}

// plain returns a history with times in UTC and without empty lists.
func (h History) plain() (out History) {
	for _, r := range h.Revisions {
		r.Made = r.Made.UTC().Round(0)
		r.Answers, r.Parts = nilIfEmpty(r.Answers), slices.Clone(nilIfEmpty(r.Parts))
		for i, p := range r.Parts {
			r.Parts[i].Modified = p.Modified.UTC().Round(0)
			if len(p.Made) == 0 {
				r.Parts[i].Made = nil
			}
		}
		out.Revisions = append(out.Revisions, r)
	}
	for _, s := range h.Services {
		s.When = s.When.UTC().Round(0)
		s.Answers = nilIfEmpty(s.Answers)
		out.Services = append(out.Services, s)
	}
	for _, n := range h.Notes {
		n.When = n.When.UTC().Round(0)
		out.Notes = append(out.Notes, n)
	}
	return out
}

func nilIfEmpty[T any](s []T) []T {
	if len(s) == 0 {
		return nil
	}
	return s
}

const historyHead = `# Revisions of the leg, services and notes on problems. limbgauge only appends; you may edit by hand.
# After an edit the next command makes the book anew from this file and the run folders.
`
