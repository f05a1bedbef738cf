package main

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"limbgauge/analyze/book"
	"limbgauge/analyze/health"
	"limbgauge/analyze/report"
	"limbgauge/rig"
	"limbgauge/rig/record"
	"limbgauge/rig/virtual"
)

// shelf holds the names a bench has, for a shell that completes them. What can not be read has no names:
// an error has no place on a line that is being typed. Nothing is written, and the book is taken as it
// lies there.
type shelf struct {
	app   *app
	ctx   context.Context
	typed string
	book  *book.Glance // once asked for; nil where there is none
	asked bool
}

func (a *app) shelf(cmd *cobra.Command) *shelf {
	ctx := cmd.Context()
	if ctx == nil {
		ctx = context.Background()
	}
	return &shelf{app: a, ctx: ctx}
}

// hasBook opens the book at the first call.
func (s *shelf) hasBook() bool {
	if !s.asked {
		s.asked = true
		s.book, _ = book.Peek(s.ctx, s.app.folder()) // nil with an error
	}
	return s.book != nil
}

func (s *shelf) close() {
	if s.book != nil {
		s.book.Close()
	}
}

func (s *shelf) benchJoints() []rig.Joint {
	b, err := s.app.loadBench()
	if err != nil {
		return nil
	}
	return b.Joints
}

func (s *shelf) joints() (out []cobra.Completion) {
	for _, j := range s.benchJoints() {
		kind := "direct"
		if j.Belt != nil {
			kind = "with a belt"
		}
		out = append(out, cobra.CompletionWithDesc(j.Name, kind))
	}
	return out
}

func (s *shelf) routines() (out []cobra.Completion) {
	for _, r := range rig.RoutineKinds() {
		out = append(out, cobra.CompletionWithDesc(r.Name, r.Words()))
	}
	return out
}

// runs offers the newest first.
func (s *shelf) runs() (out []cobra.Completion) {
	ids, err := record.IDs(s.app.folder())
	if err != nil {
		return nil
	}
	words := s.runWords()
	for _, id := range slices.Backward(ids) {
		out = append(out, cobra.CompletionWithDesc(id, words[id]))
	}
	return out
}

// runWords says of runs when they were made, with what, and what they found.
func (s *shelf) runWords() map[string]string {
	words := map[string]string{}
	list := s.bookRuns()
	if len(list) == 0 {
		return words
	}
	found, err := s.book.Found(s.ctx)
	if err != nil {
		return words
	}
	said := toldOf(found)
	for _, r := range list {
		w := r.Started.Local().Format("2006-01-02")
		for _, more := range []string{r.Revision, r.Routine} {
			if more != "" {
				w += " " + more
			}
		}
		for _, j := range r.Joints() {
			what, _ := said.of(r, j)
			w += "; " + j + ": " + what
		}
		words[r.ID] = w
	}
	return words
}

func (s *shelf) bookRuns() []book.Run {
	if !s.hasBook() {
		return nil
	}
	list, err := s.book.Runs(s.ctx)
	if err != nil {
		return nil
	}
	return list
}

func orNone(list []cobra.Completion) []cobra.Completion { return append(list, "none") }

func (s *shelf) runsOrNone() []cobra.Completion { return orNone(s.runs()) }

// sides are what may be compared: revisions, then runs.
func (s *shelf) sides() []cobra.Completion { return append(s.revisions(), s.runs()...) }

// history is the text file itself, which says it before the book does.
func (s *shelf) history() []book.Revision {
	h, err := book.ReadHistory(s.app.folder())
	if err != nil {
		return nil
	}
	return h.Revisions
}

// revisions offers the newest first.
func (s *shelf) revisions() (out []cobra.Completion) {
	for _, r := range slices.Backward(s.history()) {
		out = append(out, cobra.CompletionWithDesc(r.Name, shorten(r.Made.Local().Format("2006-01-02")+" "+oneLine(r.Why), 60)))
	}
	return out
}

func (s *shelf) partNames() (names []string) {
	for _, r := range slices.Backward(s.history()) {
		for _, p := range r.Parts {
			if !slices.Contains(names, p.Name) {
				names = append(names, p.Name)
			}
		}
	}
	return names
}

func (s *shelf) parts() []cobra.Completion { return s.partNames() }

func (s *shelf) filesOfParts() []cobra.Completion { return behind(s.partNames(), "=") }

func (s *shelf) madeOfParts() []cobra.Completion { return behind(s.partNames(), ":") }

func behind(names []string, mark string) (out []cobra.Completion) {
	for _, n := range names {
		out = append(out, n+mark)
	}
	return out
}

func (s *shelf) assemblies() (out []cobra.Completion) {
	for _, r := range slices.Backward(s.bookRuns()) {
		if tag := r.Assembly; tag != "" && !slices.Contains(out, tag) {
			out = append(out, tag)
		}
	}
	return out
}

func (s *shelf) problems() (out []cobra.Completion) {
	if !s.hasBook() {
		return nil
	}
	list, err := s.book.Problems(s.ctx)
	if err != nil {
		return nil
	}
	for _, p := range list {
		name := book.Ref{Joint: p.Joint, Cause: p.Cause}.String()
		out = append(out, cobra.CompletionWithDesc(name, fmt.Sprintf("problem %d, %s", p.ID, p.State)))
	}
	return out
}

func (s *shelf) problemsOrNone() []cobra.Completion { return orNone(s.problems()) }

// faultsOfJoints are the problems that can be opened.
func (s *shelf) faultsOfJoints() (out []cobra.Completion) {
	for _, j := range s.benchJoints() {
		for _, c := range health.Causes() {
			if c != health.None {
				out = append(out, cobra.CompletionWithDesc(book.Ref{Joint: j.Name, Cause: c}.String(), report.CauseTitle(c)))
			}
		}
	}
	return out
}

func (s *shelf) calibrations() (out []cobra.Completion) {
	for _, name := range s.app.calibrationNames() {
		if c, err := s.app.loadCalibration(name); err == nil {
			name = cobra.CompletionWithDesc(name, "joint "+c.Joint)
		}
		out = append(out, name)
	}
	return out
}

func (s *shelf) calibrationsOrNone() []cobra.Completion { return orNone(s.calibrations()) }

func (s *shelf) measures() (out []cobra.Completion) {
	for _, d := range health.Definitions() {
		out = append(out, cobra.CompletionWithDesc(d.Name, d.Title))
	}
	return out
}

func (s *shelf) causesAndMeasures() (out []cobra.Completion) {
	for _, c := range health.Causes() {
		if c != health.None {
			out = append(out, cobra.CompletionWithDesc(string(c), report.CauseTitle(c)))
		}
	}
	return append(out, s.measures()...)
}

func (s *shelf) margins() (out []cobra.Completion) {
	for _, d := range health.Definitions() {
		unit := d.Unit
		if unit == "1" {
			unit = "a pure number"
		}
		out = append(out, cobra.CompletionWithDesc(d.Name+"=", d.Title+", "+unit))
	}
	return out
}

// faults and errors are those of the virtual stand; behind joint: they are the joint's.
func (s *shelf) faults() (out []cobra.Completion) {
	for _, c := range virtual.Causes() {
		out = append(out, cobra.CompletionWithDesc(c.Name+"=", c.Meaning))
	}
	return s.ofJoints(out)
}

func (s *shelf) errors() (out []cobra.Completion) {
	for _, m := range virtual.Misreadings() {
		out = append(out, cobra.CompletionWithDesc(m.Name+"=", m.Meaning))
	}
	return s.ofJoints(out)
}

func (s *shelf) ofJoints(list []cobra.Completion) []cobra.Completion {
	joint, _, begun := strings.Cut(s.typed, ":")
	for i := range list {
		if begun {
			list[i] = joint + ":" + list[i]
		}
	}
	if !begun {
		for _, j := range s.benchJoints() {
			list = append(list, cobra.CompletionWithDesc(j.Name+":", "only at this joint"))
		}
	}
	return list
}

// ownFlags are the flags a command brings, with those it hands down.
func ownFlags(c *cobra.Command) (out []*pflag.Flag) {
	c.LocalFlags().VisitAll(func(f *pflag.Flag) { out = append(out, f) })
	return out
}
