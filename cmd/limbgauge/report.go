package main

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"limbgauge/analyze/book"
	"limbgauge/analyze/compare"
	"limbgauge/analyze/health"
	"limbgauge/analyze/lost"
	"limbgauge/analyze/report"
	"limbgauge/rig/record"
)

func (a *app) reportCommand() *cobra.Command {
	out, asJSON := "", false
	cmd := &cobra.Command{
		Use:   "report [run]",
		Short: "write a run's report, one HTML file",
		Long: `Write one HTML file that needs nothing else: verdict and findings with their next
test first, then each joint's measures against limits and curves, the problems of
the leg, conditions, cautions, method and source of each measure. Without a run,
of the newest.

Printed from a browser it makes three to four A4 pages, with leg, revision, run,
date and page number on each. What is folded away on the screen is not printed
unless it was opened before; the paper says what it leaves out.`,
		Example: "  limbgauge report 0042 --out knee.html",
		Args:    usageArgs(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			path, err := a.writeReport(cmd.Context(), args, out)
			if err != nil {
				return err
			}
			if asJSON {
				return printJSON(a.out, map[string]string{"wrote": path})
			}
			fmt.Fprintf(a.out, "wrote %s\n", path)
			return nil
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print the path as JSON")
	cmd.Flags().StringVar(&out, "out", "", "write to this file; default: report.html in the run's folder")
	return cmd
}

// writeReport judges the run anew, since the curves are not kept, and writes its report.
func (a *app) writeReport(ctx context.Context, args []string, out string) (string, error) {
	r, err := a.openRun(args)
	if err != nil {
		return "", err
	}
	h, err := a.judge(ctx, r, "")
	if err != nil {
		return "", err
	}
	if !r.Live {
		if err := a.keep(ctx, r, h); err != nil {
			return "", err
		}
	}
	d, err := a.reportOn(ctx, r, h)
	if err != nil {
		return "", err
	}
	if out == "" {
		out = filepath.Join(r.Dir, "report.html")
	}
	return out, report.WriteFile(out, d)
}

// reportOn gathers what there is to say of a run that was judged.
func (a *app) reportOn(ctx context.Context, r *record.Run, h health.Health) (*report.Document, error) {
	b, err := a.openBook(ctx)
	if err != nil {
		return nil, err
	}
	defer b.Close()
	d, err := document(ctx, b, r, h)
	if err != nil {
		return nil, err
	}
	if bench, err := a.loadBench(); err == nil { // without one the report says nothing of the foot
		d.ArmM = map[string]float64{}
		for _, j := range h.Joints {
			d.ArmM[j.Joint], _ = lost.Arm(bench.Leg.Geometry, j.Joint)
		}
	}
	return d, a.reportFiles(ctx, b, d)
}

// reportFiles says in a report which files of its revision are no longer what they were.
func (a *app) reportFiles(ctx context.Context, b *book.Book, d *report.Document) error {
	revs, err := b.Revisions(ctx)
	if err != nil || d.Revision == nil {
		return err
	}
	r, err := book.Family(revs).Find(d.Revision.Name)
	if err != nil {
		return err
	}
	for _, e := range book.LookAt(a.folder(), revs, true).Troubles(r) {
		d.Revision.Changed = append(d.Revision.Changed, e.Error())
	}
	return nil
}

// document gathers what a report shows.
func document(ctx context.Context, b *book.Book, r *record.Run, h health.Health) (*report.Document, error) {
	d := &report.Document{Health: h, Run: runFacts(r.Info)}
	d.Run.Calibration = calibrationFacts(r)
	revs, err := b.Revisions(ctx)
	if err != nil {
		return nil, err
	}
	for _, rev := range revs {
		if rev.Name == h.Revision {
			d.Revision = revisionFacts(rev)
		}
	}
	problems, err := b.Problems(ctx)
	if err != nil {
		return nil, err
	}
	for _, p := range problems {
		d.Problems = append(d.Problems, problemFacts(p))
	}
	if d.History, err = histories(ctx, b, h, revs); err != nil {
		return nil, err
	}
	if d.Revision != nil && d.Revision.Parent != "" {
		if d.Comparison, err = comparison(ctx, b, h, d.Revision.Parent, h.Revision); err != nil {
			return nil, err
		}
	}
	return d, nil
}

func runFacts(i record.Info) report.Run {
	f := report.Run{ID: i.Run, Leg: i.Leg, Revision: i.Revision, Routine: i.Routine, Started: i.Started, DurationS: i.DurationS(),
		Ended: ended(i.End), CutShort: i.End.How != record.Complete && i.End.How != record.Imported, ByHand: i.End.How == record.Stopped,
		Stand: standWords(i.Stand), Firmware: i.Stand.Firmware, SampleHz: i.Stand.SampleHz, Note: i.Conditions.Note}
	for _, j := range i.Joints {
		f.Joints = append(f.Joints, report.JointFacts{Joint: j.Setup.Name, Samples: j.Samples, Losses: j.Losses})
		if l := j.Setup.Load; l != nil {
			f.Conditions = append(f.Conditions, report.Fact{Name: "Load of " + j.Setup.Name, Value: fmt.Sprintf("%.3g kg at %.3g m", l.MassKg, l.LeverM)})
		}
	}
	if v := i.Conditions.SupplySetV; v != nil {
		f.Conditions = append(f.Conditions, report.Fact{Name: "Supply set", Value: fmt.Sprintf("%.2f V", *v)})
	}
	if v := i.Conditions.AmbientC; v != nil {
		f.Conditions = append(f.Conditions, report.Fact{Name: "Ambient", Value: fmt.Sprintf("%.1f °C", *v)})
	}
	if i.Conditions.Assembly != "" {
		f.Conditions = append(f.Conditions, report.Fact{Name: "Assembly", Value: i.Conditions.Assembly})
	}
	for _, n := range i.Notes {
		f.Conditions = append(f.Conditions, report.Fact{Name: "Remark", Value: n})
	}
	return f
}

func standWords(s record.Stand) string {
	words := []string{s.Port}
	for _, w := range []string{s.Name, s.Device} {
		if w != "" {
			words = append(words, w)
		}
	}
	if s.Protocol != "" {
		words = append(words, "protocol "+s.Protocol)
	}
	return strings.Join(words, ", ")
}

func revisionFacts(r book.Revision) *report.Revision {
	out := &report.Revision{Name: r.Name, Parent: r.Parent, Why: r.Why, Made: r.Made}
	for _, p := range r.Parts {
		name := p.Name
		if w := p.Words(); w != "" {
			name += " (" + w + ")"
		}
		out.Parts = append(out.Parts, report.Part{Name: name, File: p.File, Hash: p.SHA256, Size: p.Bytes})
	}
	return out
}

func problemFacts(p book.Problem) report.Problem {
	f := report.Problem{Joint: p.Joint, Cause: p.Cause, State: string(p.State), AnsweredBy: p.AnsweredBy, ClosedBy: p.ClosedBy}
	for i, c := range p.Changes {
		if i == 0 {
			f.OpenedBy = c.By
		}
		f.Evidence = append(f.Evidence, c.When.Local().Format("2006-01-02")+": "+changeWords(p, i))
	}
	return f
}

// histories gathers every measure that has a limit, over the runs of the leg, for the joints of
// this answer.
func histories(ctx context.Context, b *book.Book, h health.Health, revs []book.Revision) ([]report.History, error) {
	services, err := b.Services(ctx)
	if err != nil {
		return nil, err
	}
	var out []report.History
	for _, j := range h.Joints {
		var limited []health.Measure
		want := []string{book.NoMeasures}
		for _, m := range j.Measures {
			if !math.IsNaN(m.Limit) && m.Name != "lost_samples" {
				limited, want = append(limited, m), append(want, m.Name)
			}
		}
		past, err := b.History(ctx, j.Joint, want...)
		if err != nil {
			return nil, err
		}
		for _, m := range limited {
			if points := measured(past, m); len(points) >= 3 {
				out = append(out, history(j.Joint, m, points, revs, services))
			}
		}
	}
	return out, nil
}

// point is one run's value of a measure.
type point struct {
	run     book.Run
	measure health.Measure
}

// measured picks a measure from the runs that judged it. Runs of the bare servo are none of the joint.
func measured(past []book.JointPast, m health.Measure) (out []point) {
	for _, p := range past {
		if v, ok := p.Find(m.Name, m.Path); ok && !p.Run.Bare {
			out = append(out, point{p.Run, v})
		}
	}
	return out
}

func history(joint string, m health.Measure, points []point, revs []book.Revision, services []book.Service) report.History {
	hs := report.History{Joint: joint, Measure: m.Name, Path: m.Path, Limit: m.Limit}
	for i, p := range points {
		if i > 0 && p.run.Revision != points[i-1].run.Revision {
			hs.Marks = append(hs.Marks, report.Mark{Before: i, Label: "revision " + p.run.Revision})
		}
		hs.Points = append(hs.Points, report.Point{Run: p.run.ID, Measure: p.measure})
	}
	for _, s := range services {
		if s.Joint != "" && s.Joint != joint {
			continue
		}
		before := 0
		for before < len(points) && points[before].run.Started.Before(s.When) {
			before++
		}
		if before > 0 { // one before the first run marks nothing
			hs.Marks = append(hs.Marks, report.Mark{Before: before, Label: s.What, Service: true})
		}
	}
	return hs
}

// comparison sets a revision against its parent for the joints of an answer; nil when there is
// nothing to set.
func comparison(ctx context.Context, b *book.Book, h health.Health, from, to string) (*report.Comparison, error) {
	out := &report.Comparison{A: from, B: to}
	var rows []compare.Row
	runs, err := b.Runs(ctx)
	if err != nil {
		return nil, err
	}
	var sides [2]runSet
	for i, revision := range []string{from, to} {
		sides[i] = newRunSet(revision)
		for _, r := range runs {
			if r.Revision == revision {
				sides[i].add(r)
			}
		}
	}
	for _, j := range h.Joints {
		both, err := runsOf(ctx, b, j.Joint, sides, limitedMeasures())
		if err != nil {
			return nil, err
		}
		sa, sb := both[0], both[1]
		if len(sa) == 0 || len(sb) == 0 {
			continue
		}
		res := compare.Sides(sa, sb, compare.Options{A: from, B: to})
		out.RunsA, out.RunsB = max(out.RunsA, len(sa)), max(out.RunsB, len(sb))
		out.Says = append(out.Says, j.Joint+": "+res.Sentence)
		out.Notes = append(out.Notes, res.Notes...)
		rows = append(rows, res.Rows...)
	}
	// Reasons are numbered in the order they come: first those behind what differs, which are seen at once.
	var whys []string
	put := func(decided bool) []string {
		from := len(whys)
		for _, r := range rows {
			if mark := markOf(r.Verdict); (mark == health.Pass || mark == health.Fail) == decided {
				verdict := strings.TrimSpace(string(r.Verdict) + " " + footnote(&whys, r.Why))
				out.Rows = append(out.Rows, report.Difference{Joint: r.Joint, A: r.A, B: r.B, Diff: r.Diff, U: r.U, Verdict: verdict, Mark: mark})
			}
		}
		var said []string
		for i, why := range whys[from:] {
			said = append(said, fmt.Sprintf("[%d] %s", from+i+1, why))
		}
		return said
	}
	out.Reasons = put(true)
	out.Notes = append(out.Notes, put(false)...)
	if len(out.Rows) == 0 {
		return nil, nil
	}
	return out, nil
}

func markOf(v compare.Verdict) health.Verdict {
	return map[compare.Verdict]health.Verdict{compare.Better: health.Pass, compare.Worse: health.Fail, compare.Cannot: health.Unproven}[v]
}
