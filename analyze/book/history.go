package book

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"limbgauge/analyze/health"
	"limbgauge/rig"
)

// HistoryFile is the name of the text file beside the book.
const HistoryFile = "history.toml"

// History is what the text file says, in the order of the file.
type History struct {
	Revisions []Revision
	Services  []Service
	Notes     []Note
	// Torn is the trouble with the last block of a file that was cut while it was written; nil for
	// a whole file. All other blocks are used.
	Torn *HistoryError
}

// Revision is a state of the leg's design.
type Revision struct {
	Name    string    `toml:"name" json:"name"`
	Parent  string    `toml:"parent,omitempty" json:"parent,omitempty"`
	Made    time.Time `toml:"made" json:"made"`
	Why     string    `toml:"why,omitempty" json:"why,omitempty"`
	Answers []string  `toml:"answers,omitempty" json:"answers,omitempty"` // "joint/cause"; empty: all that is open
	Parts   []Part    `toml:"part,omitempty" json:"parts"`
}

// Part is one part of a revision and the file it was made from, as it was when the revision was added.
type Part struct {
	Name   string `toml:"name" json:"name"`
	File   string `toml:"file,omitempty" json:"file,omitempty"`
	SHA256 string `toml:"sha256,omitempty" json:"sha256,omitempty"`
	Bytes  int64  `toml:"bytes,omitempty" json:"bytes,omitempty"`
	// Modified is when the file was last written, by the file's own time; zero where that was not kept.
	Modified time.Time `toml:"modified,omitzero" json:"modified,omitzero"`
	MadeOf   string    `toml:"made_of,omitempty" json:"made_of,omitempty"` // free text
	Made     Fields    `toml:"made,omitempty" json:"made,omitempty"`       // material, walls, infill, whatever is worth keeping
}

// Fields say by name what a part was made of and how.
type Fields map[string]Field

// Field is one such value. A hand may write a number for it: it is kept as it stands.
type Field string

// UnmarshalText takes the value as it was written.
func (f *Field) UnmarshalText(text []byte) error {
	*f = Field(text)
	return nil
}

// Service is something done to the leg without a redesign.
type Service struct {
	ID      int       `toml:"-" json:"id"` // its place in the file, from 1
	When    time.Time `toml:"when" json:"when"`
	What    string    `toml:"what" json:"what"`
	Joint   string    `toml:"joint,omitempty" json:"joint,omitempty"`
	Part    string    `toml:"part,omitempty" json:"part,omitempty"`
	Answers []string  `toml:"answers,omitempty" json:"answers,omitempty"`
	// Replaced is true where the part is a new one: what it went through is counted from here.
	Replaced bool `toml:"replaced,omitempty" json:"replaced,omitempty"`
}

// Note is what a person says of a problem.
type Note struct {
	When  time.Time    `toml:"when" json:"when"`
	Joint string       `toml:"joint" json:"joint"`
	Cause health.Cause `toml:"cause" json:"cause"`
	State State        `toml:"state,omitempty" json:"state,omitempty"`
	Part  string       `toml:"part,omitempty" json:"part,omitempty"`
	Path  health.Path  `toml:"path,omitempty" json:"path,omitempty"`
	Run   string       `toml:"run,omitempty" json:"run,omitempty"` // that shows it
	Text  string       `toml:"text" json:"text"`
}

// HistoryError is what is wrong with the text file, where, and what to do.
type HistoryError struct {
	Path    string
	Line    int
	Problem string
}

// Error names file, line, trouble and remedy.
func (e *HistoryError) Error() string {
	return fmt.Sprintf("%s:%d: %s; correct the block by hand, or delete it - nothing else depends on its place", e.Path, e.Line, e.Problem)
}

// ParseRef reads "joint/cause".
func ParseRef(s string) (Ref, error) {
	joint, cause, ok := strings.Cut(s, "/")
	if !ok || joint == "" || cause == "" {
		return Ref{}, fmt.Errorf("%s names no problem; write joint/cause, such as knee/belt_slack", strconv.Quote(s))
	}
	var known []string
	for _, c := range health.Causes()[1:] {
		if string(c) == cause {
			return Ref{joint, c}, nil
		}
		known = append(known, string(c))
	}
	return Ref{}, &rig.NameError{What: "cause", Name: cause, Known: known}
}

// String is the inverse of ParseRef.
func (r Ref) String() string { return r.Joint + "/" + string(r.Cause) }

// AnswersNone stands in the place of the problems that a revision or service answers where it answers
// none of those that are open.
const AnswersNone = "none"

func refs(list []string) []Ref {
	var out []Ref
	for _, s := range list {
		if s == AnswersNone {
			out = append(out, Ref{})
		}
		if r, err := ParseRef(s); err == nil {
			out = append(out, r)
		}
	}
	return out
}

// events turns the history into the events that problems live by.
func (h History) events() []Event {
	var out []Event
	for _, r := range h.Revisions {
		out = append(out, RevisionEvent{When: r.Made, Name: r.Name, Parent: r.Parent, Answers: refs(r.Answers)})
	}
	for _, s := range h.Services {
		out = append(out, ServiceEvent{When: s.When, ID: s.ID, What: s.What, Joint: s.Joint, Answers: refs(s.Answers)})
	}
	for _, n := range h.Notes {
		out = append(out, NoteEvent{When: n.When, Ref: Ref{n.Joint, n.Cause}, State: n.State, Text: n.Text, Part: n.Part, Path: n.Path, Run: n.Run})
	}
	return out
}
