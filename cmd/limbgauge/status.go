package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"

	"limbgauge/analyze/book"
	"limbgauge/analyze/health"
	"limbgauge/analyze/report"
	"limbgauge/rig/record"
)

// benchStatus is what a bench holds: runs that were cut first, then what is open.
type benchStatus struct {
	Bench    bool     `json:"bench"` // the folder is one
	Leg      string   `json:"leg,omitempty"`
	Joints   []string `json:"joints,omitempty"`
	Port     string   `json:"port,omitempty"`
	Runs     int      `json:"runs"`
	Newest   string   `json:"newest_run,omitempty"`
	Trouble  []string `json:"trouble"` // cut runs, runs that can not be read, with what to do
	Revision string   `json:"revision,omitempty"`
	Files    []string `json:"file_trouble"`
	// Problems are those that are not cured.
	Problems []statusProblem `json:"problems"`
	// Verdicts are what the newest run that was judged says of each joint.
	Verdicts  []statusVerdict `json:"verdicts"`
	revisions int
}

type statusVerdict struct {
	Joint    string `json:"joint"`
	Run      string `json:"run"` // "": there is none
	Date     string `json:"date,omitempty"`
	Revision string `json:"revision,omitempty"`
	// Finding is the first that the run names.
	Finding *health.Finding `json:"finding,omitempty"`
	answer  health.Joint
}

type statusProblem struct {
	ID    int          `json:"id"`
	Joint string       `json:"joint"`
	Cause health.Cause `json:"cause"`
	State book.State   `json:"state"`
}

func (a *app) status(ctx context.Context, asJSON bool) error {
	s, err := a.gatherStatus(ctx)
	if err != nil {
		return err
	}
	if asJSON {
		return printJSON(a.out, s)
	}
	a.printStatus(s)
	return nil
}

func (a *app) gatherStatus(ctx context.Context) (s benchStatus, err error) {
	s.Trouble, s.Files, s.Problems, s.Verdicts = []string{}, []string{}, []statusProblem{}, []statusVerdict{}
	if _, err := os.Stat(filepath.Join(a.folder(), benchFile)); errors.Is(err, os.ErrNotExist) {
		return s, nil
	}
	b, err := a.loadBench()
	if err != nil {
		return s, err
	}
	s.Bench, s.Leg, s.Port = true, b.Leg.Name, b.Stand.Port
	for _, j := range b.Joints {
		s.Joints = append(s.Joints, j.Name)
	}
	bk, outside, err := a.openBookBeside(ctx)
	if err != nil {
		return s, err
	}
	defer bk.Close()
	runs, err := bk.Runs(ctx)
	if err != nil {
		return s, err
	}
	s.Runs = len(runs) + len(outside)
	for _, e := range outside {
		if e.Err != nil {
			s.Trouble = append(s.Trouble, fmt.Sprintf("run %s can not be read: %v", e.ID, e.Err))
			continue
		}
		s.Trouble = append(s.Trouble, fmt.Sprintf("run %s is being recorded", e.ID))
	}
	ids, err := record.IDs(a.folder())
	if err != nil {
		return s, err
	}
	if len(ids) > 0 {
		s.Newest = ids[len(ids)-1]
	}
	for _, r := range runs {
		if r.State == record.Recording {
			s.Trouble = append(s.Trouble, a.wordsOfCut(r.ID)...)
		}
	}
	if s.Verdicts, err = newestVerdicts(ctx, bk, runs, s.Joints); err != nil {
		return s, err
	}
	revs, err := bk.Revisions(ctx)
	if err != nil {
		return s, err
	}
	if s.revisions = len(revs); s.revisions > 0 { // runs are made with the newest unless they name another
		r := revs[s.revisions-1]
		s.Revision = r.Name
		for _, e := range book.LookAt(a.folder(), revs, false).Troubles(r) {
			s.Files = append(s.Files, e.Error())
		}
	}
	problems, err := bk.Problems(ctx)
	for _, p := range problems {
		if p.State != book.Cured {
			s.Problems = append(s.Problems, statusProblem{p.ID, p.Joint, p.Cause, p.State})
		}
	}
	return s, err
}

// newestVerdicts looks up what the newest run of each joint says that came to its end and was judged, those of
// the bare servo left out.
func newestVerdicts(ctx context.Context, b *book.Book, runs []book.Run, joints []string) ([]statusVerdict, error) {
	newest := map[string]book.Run{}
	for i := len(runs) - 1; i >= 0 && len(newest) < len(joints); i-- {
		if r := runs[i]; r.Judged && r.Whole && !r.Bare {
			for _, j := range r.Joints() {
				if _, ok := newest[j]; !ok && slices.Contains(joints, j) {
					newest[j] = r
				}
			}
		}
	}
	out := []statusVerdict{}
	for _, j := range joints {
		r, ok := newest[j]
		if !ok {
			out = append(out, statusVerdict{Joint: j})
			continue
		}
		_, answers, _, err := b.Run(ctx, r.ID)
		if err != nil { // the run's own file is damaged, which is no reason to say nothing of the bench
			answers = nil
		}
		v := statusVerdict{Joint: j, Run: r.ID, Date: r.Started.Local().Format(time.DateOnly), Revision: r.Revision}
		if i := slices.IndexFunc(answers, func(a health.Joint) bool { return a.Joint == j }); i >= 0 && len(answers[i].Findings) > 0 {
			v.answer = answers[i]
			v.Finding = &v.answer.Findings[0]
		}
		out = append(out, v)
	}
	return out, nil
}

func (a *app) printStatus(s benchStatus) {
	if !s.Bench {
		fmt.Fprintf(a.out, "There is no bench in this folder.\n\n"+
			"  limbgauge demo    makes a finished one to look at, without hardware\n"+
			"  limbgauge init    writes a bench.toml to start from\n"+
			"  limbgauge help    lists all commands\n")
		return
	}
	st := styleOf(a.out)
	say := func(indent, text string) { say(a.out, indent, text) }
	say("", fmt.Sprintf("leg %s, stand on port %s, %s", s.Leg, s.Port, count(s.Runs, "run")))
	fmt.Fprintln(a.out)
	t := sheet{indent: "  ", columns: []column{{title: "joint", least: 8}, {title: "run"}, {title: "date"}, {title: "rev", least: 4}, {title: "newest verdict", least: 24}}}
	for _, v := range s.Verdicts {
		words := "not run to its end yet"
		switch {
		case v.Finding != nil:
			words = headlineIn(st, v.answer)
		case v.Run != "":
			words = fmt.Sprintf("the answer is gone; \"limbgauge analyze %s\" makes it anew", v.Run)
		}
		t.add(v.Joint, v.Run, v.Date, v.Revision, words)
	}
	t.print(a.out)
	fmt.Fprintln(a.out)
	for _, t := range s.Trouble {
		say("  ", t)
	}
	if s.Revision != "" {
		say("", fmt.Sprintf("revision %s is the newest of %d", s.Revision, s.revisions))
	}
	for _, f := range s.Files {
		say("  ", f)
	}
	for _, p := range s.Problems {
		say("", fmt.Sprintf("problem %d, %s %s: %s", p.ID, p.Joint, report.CauseTitle(p.Cause), st.as(string(p.State), string(p.State))))
	}
	switch {
	case len(s.Problems) > 0:
		say("", `"limbgauge problem list" says what proves them cured`)
	case s.Runs == 0:
		say("", fmt.Sprintf("next: \"limbgauge sweep %s\"", s.Joints[0]))
	default:
		say("", st.good("no open problems"))
	}
}

// wordsOfCut tells of a run that was cut, and where.
func (a *app) wordsOfCut(id string) []string {
	r, err := record.Open(record.RunDir(a.folder(), id))
	if err != nil {
		return []string{fmt.Sprintf("run %s was cut and can not be read: %v", id, err)}
	}
	out := []string{fmt.Sprintf("run %s was cut: it holds %.1f s, %d samples; \"limbgauge seal %s\" keeps them, \"limbgauge analyze %s\" judges them",
		id, r.Info.DurationS(), r.Info.Samples(), id, id)}
	for _, d := range r.Damage {
		out = append(out, d.Error())
	}
	return out
}
