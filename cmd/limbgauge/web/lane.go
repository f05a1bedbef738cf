package web

import (
	"fmt"
	"html/template"
	"slices"
	"strings"
	"time"

	"limbgauge/analyze/book"
)

// laneRuns is how many of the newest runs a lane shows.
const laneRuns = 60

// The marks of a lane, about their own middle.
const (
	markLooked = `<circle class="n-run" r="2.5"/>`
	markShows  = `<path class="n-shows" d="M0 -7L7 0L0 7L-7 0z"/>`
	markCured  = `<circle class="n-cured" r="5.5"/>`
)

// sample is a mark with what it stands for.
type sample struct {
	Mark template.HTML
	Word string
}

// legend explains the marks of all lanes.
func legend() []sample {
	return []sample{
		{markShows, "shows the problem"},
		{markLooked, "looked at the joint without showing it"},
		{`<line class="n-open" x1="-8" x2="8" y1="0" y2="0"/>`, "open"},
		{`<line class="n-answered" x1="-8" x2="8" y1="0" y2="0"/>`, "answered, waits for proof"},
		{markCured, "cured"},
	}
}

// lane draws the life of a problem over the leg's newest runs, oldest to the left: a dot for every run
// that looked at the joint, a diamond where it shows the problem, a thick line while it is open, a broken
// one while an answer waits for its proof, a ring where it was cured, and a labelled vertical where a
// revision came on the stand. The words beside it say the same. Across it is measured in shares of its width, down in the
// reader's letters.
func lane(p book.Problem, runs []book.Run) template.HTML {
	if len(runs) == 0 {
		return ""
	}
	at := func(i float64) float64 { return 100 * (i + 0.5) / float64(len(runs)) }
	var b strings.Builder
	b.WriteString(`<svg class="lane" aria-hidden="true" focusable="false"><line class="n-way" x1="0%" x2="100%" y1="2.125rem" y2="2.125rem"/>`)
	labelled := -100.0
	for i, r := range runs {
		if i > 0 && r.Revision != runs[i-1].Revision {
			x := at(float64(i) - 0.5)
			fmt.Fprintf(&b, `<line class="n-revision" x1="%.2f%%" x2="%.2f%%" y1="0.25rem" y2="3.125rem"/>`, x, x)
			if x-labelled > labelShare && x < 100-labelShare/2 {
				fmt.Fprintf(&b, `<svg x="%.2f%%" overflow="visible"><text x="0.3rem" y="0.9rem">%s</text></svg>`, x, template.HTMLEscapeString(short(r.Revision)))
				labelled = x
			}
		}
	}
	for _, s := range stays(p, runs) {
		fmt.Fprintf(&b, `<line class="n-%s" x1="%.2f%%" x2="%.2f%%" y1="2.125rem" y2="2.125rem"/>`, s.state, at(s.from), at(s.to))
	}
	for i, r := range runs {
		mark := markLooked
		switch {
		case p.ClosedBy == "run "+r.ID:
			mark = markCured
		case slices.Contains(p.Shows, r.ID):
			mark = markShows
		case !slices.Contains(r.Joints(), p.Joint):
			continue
		}
		fmt.Fprintf(&b, `<svg x="%.2f%%" y="2.125rem" width="1rem" height="1rem" viewBox="0 0 16 16" overflow="visible">%s</svg>`, at(float64(i)), mark)
	}
	fmt.Fprintf(&b, `<text x="0" y="4.125rem">%s</text><text class="n-end" x="100%%" y="4.125rem">%s</text></svg>`, template.HTMLEscapeString(runs[0].ID), template.HTMLEscapeString(runs[len(runs)-1].ID))
	return template.HTML(b.String())
}

// short cuts a name that would not fit over a lane.
func short(name string) string {
	if r := []rune(name); len(r) > 12 {
		return string(r[:11]) + "…"
	}
	return name
}

// stay is how long a problem was in one state, as positions among the runs.
type stay struct {
	state    book.State
	from, to float64
}

// stays lists where among the runs a problem was open or waited for proof.
func stays(p book.Problem, runs []book.Run) (out []stay) {
	for i, c := range p.Changes {
		from, to := position(c, runs), float64(len(runs))-0.5
		if i+1 < len(p.Changes) {
			to = position(p.Changes[i+1], runs)
		}
		if c.State != book.Cured && from < to {
			out = append(out, stay{c.State, from, to})
		}
	}
	return out
}

// position is where among the runs a change happened: at the run that made it, between two where
// something else did.
func position(c book.Change, runs []book.Run) float64 {
	if id, ok := strings.CutPrefix(c.By, "run "); ok {
		if i := slices.IndexFunc(runs, func(r book.Run) bool { return r.ID == id }); i >= 0 {
			return float64(i)
		}
	}
	return float64(before(runs, c.When)) - 0.5
}

// before counts the runs that began before a time.
func before(runs []book.Run, t time.Time) (n int) {
	for _, r := range runs {
		if r.Started.Before(t) {
			n++
		}
	}
	return n
}
