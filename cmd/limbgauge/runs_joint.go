package main

import (
	"context"
	"fmt"
	"math"
	"strings"

	"limbgauge/analyze/book"
)

// jointRow is a run of one joint with its travel. A figure that is not known is null; of a total with
// runs that were not counted, at_least is true.
type jointRow struct {
	runRow
	Joint     string     `json:"joint"`
	Travel    *travelRow `json:"travel"`
	OfJoint   totalRow   `json:"joint_total"`
	OfBelt    *totalRow  `json:"belt_total"` // null for a joint without a belt
	uncounted bool
}

type travelRow struct {
	Deg       float64 `json:"travel_deg"`
	Reversals int     `json:"reversals"`
}

type totalRow struct {
	travelRow
	AtLeast   bool `json:"at_least"`
	Uncounted int  `json:"uncounted_runs"`
}

// jointRuns lists the runs of a joint with what it and its belt went through.
func (a *app) jointRuns(ctx context.Context, o runsOptions) error {
	return a.withBook(ctx, func(b *book.Book) error {
		past, err := b.History(ctx, o.joint, book.NoMeasures)
		if err != nil {
			return err
		}
		rows := []jointRow{}
		for _, p := range past {
			if o.revision == "" || p.Run.Revision == o.revision {
				rows = append(rows, jointRowOf(o.joint, p))
			}
		}
		if o.json {
			return printJSON(a.out, rows)
		}
		if len(rows) == 0 {
			return a.noRuns(ctx, o)
		}
		older := 0
		if most := o.most(); most > 0 && len(rows) > most {
			older = len(rows) - most
		}
		return a.printJointRuns(o.joint, rows[older:], older)
	})
}

func jointRowOf(joint string, p book.JointPast) jointRow {
	total := func(t book.Total) totalRow {
		return totalRow{travelRow{tenth(t.Deg), t.Reversals}, t.AtLeast(), t.Uncounted}
	}
	r := jointRow{Joint: joint, OfJoint: total(p.Travel.Joint), uncounted: p.Travel.Run == nil && !p.Run.Bare,
		runRow: runRow{Run: p.Run.ID, Started: p.Run.Started.Local().Format(minuteForm), Revision: p.Run.Revision, Routine: p.Run.Routine, Bare: p.Run.Bare,
			Ended: endWord(p.Run.Ended), State: string(p.Run.State), Samples: p.Run.Samples}}
	if t := p.Travel.Run; t != nil {
		r.Travel = &travelRow{tenth(t.Deg), t.Reversals}
	}
	if p.Travel.Belt != nil {
		t := total(*p.Travel.Belt)
		r.OfBelt = &t
	}
	return r
}

// tenth rounds to 0.1 deg; an encoder tells no more.
func tenth(deg float64) float64 { return math.Round(10*deg) / 10 }

func (a *app) printJointRuns(joint string, rows []jointRow, older int) error {
	say(a.out, "", joint+": travel in deg / reversals, of the run and in all")
	t := sheet{columns: []column{{title: "run"}, {title: "started"}, {title: "revision", least: 8}, {title: "routine", least: 8}, {title: "the run"}, {title: "the joint"}, {title: "its belt"}}}
	uncounted, least := false, false
	for _, r := range rows {
		run, belt := "not counted", ""
		if r.Travel != nil {
			run = r.Travel.words()
		}
		if r.Bare {
			run = "bare servo"
		}
		if r.OfBelt != nil {
			belt = r.OfBelt.words()
		}
		day, _, _ := strings.Cut(r.Started, " ")
		t.add(r.Run, day, r.Revision, r.Routine, run, r.OfJoint.words(), belt)
		uncounted, least = uncounted || r.uncounted, least || r.OfJoint.AtLeast
	}
	t.print(a.out)
	if uncounted {
		say(a.out, "", "not counted: the angle of the joint was not seen, or the run was sealed before travel was counted")
	}
	if least {
		fmt.Fprintln(a.out, "≥: at least, as some runs before were not counted")
	}
	a.sayMore(older)
	return nil
}

func (t travelRow) words() string { return fmt.Sprintf("%.0f / %d", t.Deg, t.Reversals) }

func (t totalRow) words() string {
	if t.AtLeast {
		return "≥ " + t.travelRow.words()
	}
	return t.travelRow.words()
}
