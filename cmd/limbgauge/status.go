package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"limbgauge/analyze/book"
	"limbgauge/rig/record"
)

// status says what the bench in this folder holds: runs that were cut first, then what is open.
func (a *app) status(ctx context.Context) error {
	if _, err := os.Stat(filepath.Join(a.folder(), benchFile)); errors.Is(err, os.ErrNotExist) {
		fmt.Fprintf(a.out, "There is no bench in this folder.\n\n"+
			"  limbgauge demo    makes a finished one to look at, without hardware\n"+
			"  limbgauge init    writes a bench.toml to start from\n"+
			"  limbgauge help    lists all commands\n")
		return nil
	}
	b, err := a.loadBench()
	if err != nil {
		return err
	}
	fmt.Fprintf(a.out, "leg %s, joints %s, stand on port %s\n", b.Leg.Name, jointNames(b.Joints), b.Stand.Port)
	bk, outside, err := a.openBookBeside(ctx)
	if err != nil {
		return err
	}
	defer bk.Close()
	runs, err := bk.Runs(ctx)
	if err != nil {
		return err
	}
	fmt.Fprintf(a.out, "%d runs\n", len(runs)+len(outside))
	for _, e := range outside {
		if e.Err != nil {
			fmt.Fprintf(a.out, "  run %s can not be read: %v\n", e.ID, e.Err)
			continue
		}
		fmt.Fprintf(a.out, "  run %s is being recorded\n", e.ID)
	}
	for _, r := range runs {
		if r.State == record.Recording {
			a.sayUnsealed(r.ID)
		}
	}
	revs, err := bk.Revisions(ctx)
	if err != nil {
		return err
	}
	if n := len(revs); n > 0 { // runs are made with the newest unless they name another
		r := revs[n-1]
		fmt.Fprintf(a.out, "revision %s is the newest of %d\n", r.Name, n)
		for _, e := range book.LookAt(a.folder(), revs, false).Troubles(r) {
			fmt.Fprint(a.out, wrap(e.Error(), "  ", pageWidth))
		}
	}
	problems, err := bk.Problems(ctx)
	if err != nil {
		return err
	}
	open := 0
	for _, p := range problems {
		if p.State != book.Cured {
			open++
			fmt.Fprintf(a.out, "  problem %d: %s %s, %s\n", p.ID, p.Joint, p.Cause, p.State)
		}
	}
	if open == 0 {
		fmt.Fprintln(a.out, "no open problems")
	}
	return nil
}

// sayUnsealed tells of a run that was cut, and where.
func (a *app) sayUnsealed(id string) {
	r, err := record.Open(record.RunDir(a.folder(), id))
	if err != nil {
		fmt.Fprintf(a.out, "  run %s was cut and can not be read: %v\n", id, err)
		return
	}
	fmt.Fprintf(a.out, "  run %s was cut: it holds %.1f s, %d samples; \"limbgauge seal %s\" keeps them, \"limbgauge analyze %s\" judges them\n",
		id, r.Info.DurationS(), r.Info.Samples(), id, id)
	for _, d := range r.Damage {
		fmt.Fprintf(a.out, "    %v\n", d)
	}
}
