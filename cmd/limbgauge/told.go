package main

import (
	"cmp"
	"fmt"
	"slices"

	"limbgauge/analyze/book"
	"limbgauge/analyze/health"
	"limbgauge/analyze/report"
)

// told is what runs found first, by run and joint.
type told map[[2]string]book.Found

func toldOf(list []book.Found) told {
	t := told{}
	for _, f := range list {
		t[[2]string{f.Run, f.Joint}] = f
	}
	return t
}

// of says in a few words what a run found of a joint, and how much it matters.
func (t told) of(r book.Run, joint string) (words, severity string) {
	f, ok := t[[2]string{r.ID, joint}]
	switch {
	case r.Bare:
		return "bare servo", ""
	case !r.Judged:
		return "not judged", ""
	case !ok && !r.Whole:
		return endWord(r.Ended), ""
	case !ok:
		return "no fault found", string(health.SeverityOK)
	}
	return fmt.Sprintf("%s, %s", f.Severity, report.CauseTitle(f.Cause)), string(f.Severity)
}

// run says what a run found of all its joints: of the gravest, and of how many more.
func (t told) run(r book.Run) (words, severity string) {
	var found []book.Found
	joints := r.Joints()
	for _, j := range joints {
		if f, ok := t[[2]string{r.ID, j}]; ok {
			found = append(found, f)
		}
	}
	if len(found) == 0 || r.Bare || !r.Judged {
		return t.of(r, "")
	}
	gravest := slices.MaxFunc(found, func(a, b book.Found) int { return cmp.Compare(weight(a.Severity), weight(b.Severity)) })
	words, severity = t.of(r, gravest.Joint)
	if len(joints) > 1 {
		words += " (" + gravest.Joint + ")" // last: a narrow column cuts it first
	}
	if n := len(found) - 1; n > 0 {
		words += fmt.Sprintf(" and %d more", n)
	}
	return words, severity
}

// weight orders severities.
func weight(s health.Severity) int {
	return slices.Index([]health.Severity{health.SeverityOK, health.SeverityHint, health.SeverityWarning, health.SeverityFault}, s)
}
