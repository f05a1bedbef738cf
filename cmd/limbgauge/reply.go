package main

import (
	"context"
	"fmt"
	"io"
	"slices"

	"golang.org/x/term"

	"limbgauge/analyze/book"
	"limbgauge/analyze/health"
	"limbgauge/analyze/report"
	"limbgauge/rig/record"
)

// reply is all that is answered of a run: its health, and what came of it. As JSON it is the health with
// some more keys.
type reply struct {
	health.Health
	Ended    string              `json:"ended,omitempty"` // how the run did, with the reason
	Notes    map[string][]string `json:"notes,omitempty"` // by joint
	Problems []problemNews       `json:"problems,omitempty"`
	Trends   []trendNews         `json:"trends,omitempty"`
	run      record.Info         // zero for a log from elsewhere
}

// problemNews is what a run changed in a problem.
type problemNews struct {
	ID    int          `json:"id"`
	Joint string       `json:"joint"`
	Cause health.Cause `json:"cause"`
	State book.State   `json:"state"`
	Why   string       `json:"why"`
}

func (p problemNews) String() string {
	is := "is " + string(p.State)
	if p.State == book.Answered {
		is = "is not proven cured"
	}
	return fmt.Sprintf("problem %d, %s %s, %s: %s", p.ID, p.Joint, report.CauseTitle(p.Cause), is, p.Why)
}

// trendNews is a trend warning that a run raised.
type trendNews struct {
	Joint   string      `json:"joint"`
	Measure string      `json:"measure"`
	Path    health.Path `json:"path"`
	Text    string      `json:"text"`
}

// takeNews asks the book what the run changed. Where the book can not be had the run is kept all the same,
// and the book says its trouble when it is asked.
func (a *app) takeNews(ctx context.Context, re *reply) {
	b, err := a.openBook(ctx)
	if err != nil {
		return
	}
	defer b.Close()
	if list, err := b.Problems(ctx); err == nil {
		re.Problems = problemNewsOf(list, re.Health)
	}
	re.Trends = trendNewsOf(ctx, b, re.Health)
}

// problemNewsOf returns the problems of whose life a run's answer is the newest step.
func problemNewsOf(list []book.Problem, h health.Health) (out []problemNews) {
	for _, p := range list {
		last := p.Changes[len(p.Changes)-1]
		asked := slices.ContainsFunc(h.Joints, func(j health.Joint) bool { return j.Joint == p.Joint })
		if asked && last.By == "run "+h.Run {
			out = append(out, problemNews{p.ID, p.Joint, p.Cause, p.State, last.Why})
		}
	}
	return out
}

// trendNewsOf returns the trend warnings that a run was the first to raise.
func trendNewsOf(ctx context.Context, b *book.Book, h health.Health) (out []trendNews) {
	r, _, ok, err := b.Run(ctx, h.Run)
	if !ok || err != nil {
		return nil
	}
	for _, j := range h.Joints {
		stand, err := standing(ctx, b, j.Joint, r.Routine)
		if err != nil {
			return out
		}
		for _, w := range stand {
			if w.First == h.Run {
				out = append(out, trendNews{j.Joint, w.Measure, w.Path, w.Text})
			}
		}
	}
	return out
}

// sayTrends tells of each joint the first of its warnings, and how many more there are.
func sayTrends(w io.Writer, list []trendNews) {
	for i, t := range list {
		if i > 0 && list[i-1].Joint == t.Joint {
			continue
		}
		more, n := "", -1
		for _, o := range list {
			if o.Joint == t.Joint {
				n++
			}
		}
		if n > 0 {
			more = fmt.Sprintf(", and %s more", count(n, "warning"))
		}
		say(w, "", fmt.Sprintf("trend, %s: %s%s; \"limbgauge trend %s\" shows it", t.Joint, t.Text, more, t.Joint))
	}
}

// answerForm says how an answer is printed.
type answerForm struct {
	json bool
	gate bool // a fault becomes an exit code
	all  bool // of every measure that was not seen why
	// short leaves out what has no limit, where anything has one: after a sweep the verdict is to stay on
	// the screen.
	short bool
	// broken says that the run did not come to its end.
	broken bool
	byHand bool // a person stopped it
}

// answer prints what is answered of a run, and turns a fault into an exit code where that was asked for.
func (a *app) answer(re reply, form answerForm) error {
	if re.run.Run != "" && re.run.End.How != record.Imported {
		re.Ended = ended(re.run.End)
	}
	for _, j := range re.Joints {
		if len(j.Notes) > 0 {
			if re.Notes == nil {
				re.Notes = map[string][]string{}
			}
			re.Notes[j.Joint] = j.Notes
		}
	}
	if form.json {
		if err := printJSON(a.out, re); err != nil {
			return err
		}
	} else {
		a.printReply(re, form)
	}
	if !form.gate {
		return nil
	}
	for _, j := range re.Joints {
		for _, f := range j.Findings {
			if f.Severity == health.SeverityFault {
				return kindError{err: fmt.Errorf("joint %q has a fault: %s", j.Joint, f.Cause), code: exitFault, hint: "its findings name the part and what to do next; without --gate a fault is an answer like others"}
			}
		}
	}
	return nil
}

// printReply writes a reply for people. One that a terminal's screen does not hold ends with its verdicts,
// so that they stand where the eye is.
func (a *app) printReply(re reply, form answerForm) {
	w := &counter{to: a.out}
	if form.broken = re.Ended != "" && re.run.End.How != record.Complete; form.broken {
		form.byHand = re.run.End.How == record.Stopped
		say(w, "", fmt.Sprintf("Run %s did not come to its end (%s): it holds %.1f s, and what comes later in its routine was not measured.", re.Run, re.Ended, re.run.DurationS()))
	}
	printHealth(w, re.Health, form)
	if len(re.Problems)+len(re.Trends) > 0 {
		fmt.Fprintln(w)
	}
	for _, p := range re.Problems {
		say(w, "", p.String())
	}
	sayTrends(w, re.Trends)
	if fd, ok := terminalOf(w); ok {
		if _, rows, err := term.GetSize(fd); err == nil && w.lines >= rows {
			fmt.Fprintln(w)
			printVerdicts(w, re.Health, form)
		}
	}
}

// printVerdicts writes a line for each joint.
func printVerdicts(w io.Writer, h health.Health, form answerForm) {
	title := h.Leg
	if h.Run != "" {
		title += ", run " + h.Run
	}
	say(w, "", title+", in short:")
	t := sheet{indent: "  ", columns: []column{{title: "joint", least: 8}, {title: "verdict", least: 24}, {title: "part", least: 8}}}
	for _, j := range h.Joints {
		t.add(j.Joint, form.headline(styleOf(w), j), j.Findings[0].Part)
	}
	t.print(w)
}
