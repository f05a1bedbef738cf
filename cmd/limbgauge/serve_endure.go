package main

import (
	"context"
	"strings"

	"limbgauge/analyze/endurance"
	"limbgauge/analyze/health"
	"limbgauge/analyze/report"
	"limbgauge/cmd/limbgauge/web"
)

// planEndurance makes an endurance test ready that a page asks for, by the rules of the command.
func (d *desk) planEndurance(ctx context.Context, s web.Sweep) (web.Plan, error) {
	a := d.quiet()
	e, err := a.planEndurance(ctx, s.Joints[0], endureOptions{sweepOptions: d.options(s), cycles: s.Endure.Cycles, checkEvery: s.Endure.CheckEvery,
		runCycles: runCycles, warmUp: warmUp, heatMost: endurance.HeatMost, tempMost: endurance.TempMostC})
	if err != nil {
		return web.Plan{}, err
	}
	lo, hi := span(e.knots)
	turns := append([]web.Turn{{Joint: e.joint.Name, LoDeg: lo, HiDeg: hi, DegPerS: fastest(e), TakesS: e.plan.Left(e.count).Seconds()}}, turnsOf(e.sweep)...)
	return web.Plan{What: e.what(), Notes: notesOf(e.sweep), Turns: turns, Many: true, Run: func(ctx context.Context, w web.Watch) (web.Outcome, error) {
		last := ""
		e.out = sayer(func(text string) { last = text; w.Say(text) })
		e.live, e.consent, e.between = w.Live, w.Consent, w.Between
		stop, err := e.toItsEnd(ctx)
		w.AtRest()
		out := web.Outcome{Run: e.lastRun}
		if e.count.LastCheck != "" && e.last.Joint != "" {
			out.Run, out.Health = e.count.LastCheck, health.Health{Run: e.count.LastCheck, Joints: []health.Joint{e.last}}
		}
		if out.Said = last; stop != nil {
			out.Said, out.Next = strings.Join(e.endWords(stop), " "), report.Sentence(stop.Rule.Next)
		}
		return out, err
	}}, nil
}

// fastest is the greatest rate of a test's gait, deg/s.
func fastest(e *endurer) (most float64) {
	for i, k := range e.knots[1:] {
		if s := (k.At - e.knots[i].At) * e.plan.Cycle.Seconds(); s > 0 {
			most = max(most, max(k.Deg-e.knots[i].Deg, e.knots[i].Deg-k.Deg)/s)
		}
	}
	return most
}

// sayer hands on what a test prints, a sentence at a time.
type sayer func(string)

func (s sayer) Write(p []byte) (int, error) {
	if text := strings.Join(strings.Fields(string(p)), " "); text != "" {
		s(text)
	}
	return len(p), nil
}
