package main

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"limbgauge/analyze/book"
)

// nextAssembly returns the next free tag of a revision's assemblies, REVISION-NUMBER; numbers that a
// builder gave out by hand in the same form count.
func nextAssembly(runs []book.Run, revision string) string {
	prefix := revision
	if prefix == "" {
		prefix = "assembly"
	}
	last := 0
	for _, r := range runs {
		number, ok := strings.CutPrefix(r.Assembly, prefix+"-")
		if n, err := strconv.Atoi(number); ok && err == nil {
			last = max(last, n)
		}
	}
	return fmt.Sprintf("%s-%d", prefix, last+1)
}

// lastAssembly returns the tag that was named last among the runs of every one of the joints with a
// revision, "" where they differ or there is none.
func lastAssembly(runs []book.Run, leg, revision string, joints []string) (tag string) {
	for i, joint := range joints {
		last := ""
		for _, r := range slices.Backward(runs) {
			if r.Assembly != "" && r.Leg == leg && r.Revision == revision && slices.Contains(r.Joints(), joint) {
				last = r.Assembly
				break
			}
		}
		if i > 0 && last != tag {
			return ""
		}
		tag = last
	}
	return tag
}

// carryAssembly takes a run without a tag for one of the assembly named last, and says so: whoever puts
// the leg together anew says that. Of the bare servo there is no assembly.
func (a *app) carryAssembly(ctx context.Context, p *sweepPlan) error {
	info := &p.cfg.Info
	if info.Conditions.Assembly != "" || info.Conditions.BareServo {
		return nil
	}
	b, err := a.openBook(ctx)
	if err != nil {
		return err
	}
	defer b.Close()
	runs, err := b.Runs(ctx)
	if err != nil {
		return err
	}
	var joints []string
	for _, plan := range p.cfg.Plans {
		joints = append(joints, p.cfg.Joints[plan.Joint].Name)
	}
	if info.Conditions.Assembly = lastAssembly(runs, info.Leg, info.Revision, joints); info.Conditions.Assembly != "" {
		p.carried = true
		fmt.Fprintf(a.err, "This is assembly %s, as was said last; if it was put together anew: --new-assembly\n", info.Conditions.Assembly)
	}
	return nil
}
