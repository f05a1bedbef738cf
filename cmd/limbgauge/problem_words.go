package main

import (
	"context"
	"fmt"
	"strings"

	"limbgauge/analyze/book"
	"limbgauge/analyze/report"
)

// problemSentence says in one sentence how problems stand, and what came of the newest revision.
func (a *app) problemSentence(ctx context.Context, b *book.Book, list []book.Problem) (string, error) {
	n := map[book.State]int{}
	for _, p := range list {
		n[p.State]++
	}
	var words []string
	for _, w := range []struct {
		state     book.State
		one, many string
	}{{book.Open, "is open", "are open"}, {book.Returned, "came back", "came back"}, {book.Answered, "waits for proof", "wait for proof"}, {book.Cured, "is cured", "are cured"}} {
		k := n[w.state]
		if k == 0 {
			continue
		}
		said := fmt.Sprint(k)
		if len(words) == 0 {
			said = count(k, "problem")
		}
		if k == 1 {
			said += " " + w.one
		} else {
			said += " " + w.many
		}
		words = append(words, said)
	}
	s := joinWords(words) + "."
	revs, err := b.Revisions(ctx)
	if err != nil || len(revs) == 0 {
		return s, err
	}
	out, err := b.OutcomeOf(ctx, revs[len(revs)-1].Name)
	if err != nil {
		return s, err
	}
	if len(out.Cured)+len(out.Brought)+len(out.NotCured) > 0 {
		s += " " + outcomeSentence(out)
	}
	return s, nil
}

func joinWords(words []string) string {
	if n := len(words); n > 1 {
		return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
	}
	return strings.Join(words, "")
}

func problemNames(list []book.Problem) string {
	var names []string
	for _, p := range list {
		name := p.Joint + " " + report.CauseTitle(p.Cause)
		if p.State == book.Cured && len(p.Before) > 0 {
			name += " (or " + joinWords(p.Before) + " before it did)"
		}
		names = append(names, name)
	}
	return joinWords(names)
}

// outcomeSentence says what came of a revision.
func outcomeSentence(o book.Outcome) string {
	var words []string
	for _, w := range []struct {
		verb string
		list []book.Problem
	}{{"cured", o.Cured}, {"did not cure", o.NotCured}, {"brought", o.Brought}} {
		if len(w.list) > 0 {
			words = append(words, w.verb+" "+problemNames(w.list))
		}
	}
	s := "Revision " + o.Revision + " "
	switch {
	case len(words) > 0:
		s += strings.Join(words, "; it ") + "."
	case len(o.Waiting) > 0:
		s += "has proven nothing yet."
	default:
		return s + "answered no problem and brought none that is known."
	}
	if len(o.Waiting) > 0 {
		s += " Not proven yet: " + problemNames(o.Waiting) + "."
	}
	return s
}

// stateWords says where a problem stands and by what.
func stateWords(p book.Problem) string {
	switch p.State {
	case book.Answered:
		return "answered by " + p.AnsweredBy + ", not proven yet"
	case book.Cured:
		line := "cured, proven by " + p.ClosedBy
		if p.ClosedBy == "hand" {
			line = "closed by hand, not proven by a run"
		}
		if p.AnsweredBy != "" && p.AnsweredBy != "hand" {
			line += " after " + p.AnsweredBy
		}
		return line
	case book.Returned:
		last := p.Changes[len(p.Changes)-1]
		for _, c := range p.Changes {
			if c.State == book.Returned {
				last = c
			}
		}
		line := "returned by " + last.By
		if p.AnsweredBy != "" && p.AnsweredBy != "hand" {
			line += " after " + p.AnsweredBy
		}
		return line
	}
	return "open since " + p.Changes[0].When.Local().Format("2006-01-02") + ", by " + p.Changes[0].By
}

// changeWords says one step of a problem's life.
func changeWords(p book.Problem, i int) string {
	c := p.Changes[i]
	head := string(c.State) + " by " + c.By
	if i > 0 && p.Changes[i-1].State == c.State {
		switch {
		case c.By == "hand":
			head = "noted by hand"
		case strings.HasPrefix(c.By, "run "):
			head = "not proven by " + c.By
		}
	}
	return head + ": " + c.Why
}
