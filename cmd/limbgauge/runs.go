package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"limbgauge/analyze/book"
	"limbgauge/rig/record"
)

func (a *app) runsCommand() *cobra.Command {
	var o runsOptions
	cmd := &cobra.Command{
		Use:   "runs",
		Short: "list the runs of the bench",
		Long: `List the runs of the bench, the newest last, with what each found: the newest 30
unless --all is given.
With --joint, what the runs did with that joint: the travel and the reversals of the
run, then those of the joint since its first run and of its belt since it was new,
both up to and with that run. Runs of the bare servo move neither.`,
		Example: "  limbgauge runs\n  limbgauge runs --revision B --all\n  limbgauge runs --joint knee",
		Args:    usageArgs(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if _, err := os.Stat(filepath.Join(a.folder(), "runs")); errors.Is(err, os.ErrNotExist) { // no place for a book either
				if o.json {
					return printJSON(a.out, []runRow{})
				}
				return a.noRuns(cmd.Context(), o)
			}
			if o.joint != "" {
				return a.jointRuns(cmd.Context(), o)
			}
			return a.runs(cmd.Context(), o)
		},
	}
	cmd.Flags().BoolVar(&o.all, "all", false, "all runs instead of the newest 30")
	cmd.Flags().StringVar(&o.joint, "joint", "", "only runs of this joint, with its travel")
	cmd.Flags().StringVarP(&o.revision, "revision", "r", "", "only runs of this revision")
	cmd.Flags().BoolVar(&o.json, "json", false, "print all of them as JSON")
	return cmd
}

type runsOptions struct {
	all, json       bool
	joint, revision string
}

// newestRuns is how many runs are listed unless all are asked for.
const newestRuns = 30

// most returns how many runs are to be listed, 0 for all.
func (o runsOptions) most() int {
	if o.all || o.json {
		return 0
	}
	return newestRuns
}

// which says which runs are listed, for whoever finds none.
func (o runsOptions) which() string {
	s := ""
	if o.joint != "" {
		s += " of joint " + o.joint
	}
	if o.revision != "" {
		s += " of revision " + o.revision
	}
	return s
}

func (a *app) runs(ctx context.Context, o runsOptions) error {
	rows, all, err := a.listed(ctx, o)
	if err != nil {
		return err
	}
	if o.json {
		return printJSON(a.out, rows)
	}
	if len(rows) == 0 {
		return a.noRuns(ctx, o)
	}
	st := styleOf(a.out)
	t := sheet{columns: []column{{title: "run"}, {title: "started"}, {title: "rev", least: 4}, {title: "joints", least: 6}, {title: "routine", least: 8}, {title: "verdict", least: 26}}}
	for _, r := range rows {
		if r.Error != "" {
			t.add(r.Run, "can not be read: "+r.Error)
			continue
		}
		if r.Bare {
			r.Routine += ", bare servo"
		}
		t.add(r.Run, r.Started, r.Revision, strings.Join(r.Joints, " "), r.Routine, r.verdictIn(st))
	}
	t.print(a.out)
	a.sayMore(all - len(rows))
	return nil
}

func (a *app) sayMore(n int) {
	switch {
	case n == 1:
		fmt.Fprintln(a.out, "one older run is not shown; --all shows it")
	case n > 1:
		fmt.Fprintf(a.out, "%d older runs are not shown; --all shows them\n", n)
	}
}

func (a *app) noRuns(ctx context.Context, o runsOptions) error {
	if b, err := a.loadBench(); err == nil && o.joint != "" {
		if _, err := jointOf(b, o.joint); err != nil {
			return err
		}
	}
	if o.revision != "" && exists(filepath.Join(a.folder(), benchFile)) {
		err := a.withBook(ctx, func(b *book.Book) error {
			revs, err := b.Revisions(ctx)
			if err != nil {
				return err
			}
			_, err = revisionOf(revs, o.revision)
			return err
		})
		if err != nil {
			return err
		}
	}
	if which := o.which(); which != "" {
		return inputError(fmt.Errorf("there are no runs%s", which), `"limbgauge runs" lists what there is`)
	}
	fmt.Fprintln(a.out, `no runs yet; "limbgauge sweep JOINT" makes one`)
	return nil
}

type runRow struct {
	Run      string   `json:"run"`
	Started  string   `json:"started,omitempty"`
	Revision string   `json:"revision,omitempty"`
	Joints   []string `json:"joints,omitempty"`
	Routine  string   `json:"routine,omitempty"`
	Bare     bool     `json:"bare_servo,omitempty"`
	Ended    string   `json:"ended,omitempty"`
	State    string   `json:"state,omitempty"`
	Samples  int      `json:"samples,omitempty"`
	Error    string   `json:"error,omitempty"`
	// Findings are what the run names first of each joint; a joint without a fault has none.
	Findings []book.Found `json:"findings,omitempty"`
	// verdict says it in a few words, and severity how much it matters.
	verdict, severity string
}

// verdictIn says what a run found, behind how it ended where it did not come to its end.
func (r runRow) verdictIn(st style) string {
	words := st.as(r.severity, r.verdict)
	switch {
	case words == "" || words == r.Ended:
		return st.as(r.Ended, r.Ended)
	case r.Ended == string(record.Complete) || r.Ended == string(record.Imported):
		return words
	}
	return st.as(r.Ended, r.Ended) + "; " + words
}

const minuteForm = "2006-01-02 15:04"

// listed returns the runs to be listed, and how many there are in all. The book knows those that have
// ended; the others, and all of a bench whose book can not be had, are read from their folders.
func (a *app) listed(ctx context.Context, o runsOptions) (rows []runRow, all int, err error) {
	b, outside, err := a.openBookBeside(ctx)
	if err != nil {
		fmt.Fprintf(a.err, "limbgauge: note: without the book, every run folder was read: %v\n", err)
		entries, err := record.List(a.folder())
		rows = rowsOf(entries, o.revision)
		all = len(rows)
		if most := o.most(); most > 0 {
			rows = rows[max(0, all-most):]
		}
		return rows, all, err
	}
	defer b.Close()
	list, all, err := b.Newest(ctx, o.most(), o.revision)
	if err != nil {
		return nil, 0, err
	}
	found, err := b.Found(ctx, list)
	if err != nil {
		return nil, 0, err
	}
	said := toldOf(found)
	rows = []runRow{}
	for _, r := range list {
		row := runRow{Run: r.ID, Started: r.Started.Local().Format(minuteForm), Revision: r.Revision, Joints: r.Joints(), Routine: r.Routine, Bare: r.Bare,
			Ended: endWord(r.Ended), State: string(r.State), Samples: r.Samples}
		if r.State == record.Recording {
			row.Ended = notSealed
		}
		row.verdict, row.severity = said.run(r)
		for _, j := range row.Joints {
			if f, ok := said[[2]string{r.ID, j}]; ok {
				row.Findings = append(row.Findings, f)
			}
		}
		rows = append(rows, row)
	}
	beside := rowsOf(outside, o.revision)
	rows, all = append(rows, beside...), all+len(beside)
	slices.SortStableFunc(rows, func(a, b runRow) int {
		return cmp.Or(cmp.Compare(len(a.Run), len(b.Run)), strings.Compare(a.Run, b.Run))
	})
	return rows, all, err
}

// rowsOf lists run folders; of a revision, where one is named.
func rowsOf(entries []record.Entry, revision string) []runRow {
	rows := []runRow{}
	for _, e := range entries {
		if revision != "" && e.Info.Revision != revision {
			continue
		}
		r := runRow{Run: e.ID}
		if e.Err != nil {
			r.Error = e.Err.Error()
			rows = append(rows, r)
			continue
		}
		r.Started = e.Info.Started.Local().Format(minuteForm)
		r.Revision, r.Routine, r.State, r.Samples = e.Info.Revision, e.Info.Routine, string(e.Info.State), e.Info.Samples()
		r.Ended, r.Bare = string(e.Info.End.How), e.Info.Conditions.BareServo
		switch {
		case e.Live:
			r.Ended = "running"
		case e.Info.State == record.Recording:
			r.Ended = notSealed
		}
		for _, j := range e.Info.Joints {
			r.Joints = append(r.Joints, j.Setup.Name)
		}
		rows = append(rows, r)
	}
	return rows
}

const notSealed = "cut, not sealed"

// endWord returns how a run ended, without why.
func endWord(ended string) string {
	how, _, _ := strings.Cut(ended, ":")
	return how
}
