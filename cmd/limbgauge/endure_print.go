package main

import (
	"fmt"
	"math"
	"strings"
	"time"

	"limbgauge/analyze/endurance"
	"limbgauge/analyze/health"
)

// hours writes a long time as h:mm h, a short one as m:ss min.
func hours(d time.Duration) string {
	if d < time.Hour {
		return clock(d) + " min"
	}
	m := int(d.Round(time.Minute).Minutes())
	return fmt.Sprintf("%d:%02d h", m/60, m%60)
}

// progress says how far the test is.
func (e *endurer) progress() string {
	text := fmt.Sprintf("%d", e.count.Cycles)
	if e.plan.Cycles > 0 {
		text += fmt.Sprintf(" of %d", e.plan.Cycles)
	}
	text += " cycles"
	if left := e.left(); left > 0 {
		text += ", left " + hours(left)
	}
	return text
}

// left is how long the test still takes, check sweeps with it, by the stand's clock.
func (e *endurer) left() time.Duration {
	left := e.plan.Left(e.count)
	if left <= 0 {
		return left
	}
	r := e.sweep.cfg.Plans[0].Routine
	checks := 1 + (int(left/e.plan.Cycle)+e.count.SinceCheck-1)/e.plan.CheckEvery
	return left + time.Duration(checks)*(e.o.coolDown+r.Duration(r.Moves[0].TargetDeg))
}

func (e *endurer) sayGait(r endurance.Run) {
	text := fmt.Sprintf("%s  gait %d cycles  %s", r.ID, r.Cycles, e.progress())
	if h := e.guard.Heat(); !math.IsNaN(h) {
		text += fmt.Sprintf("  heat %.2f", h)
	}
	if t := e.guard.TempC(); !math.IsNaN(t) {
		text += fmt.Sprintf("  %.0f °C", t)
	}
	fmt.Fprintln(e.out, text)
}

// shownInChecks are the measures that a check's line tells, the first three that were seen and have a limit.
var shownInChecks = []string{"belt_tension", "play", "compliance", "friction", "torque_use", "reversal_error"}

func (e *endurer) sayCheck(run string) {
	say(e.out, "", fmt.Sprintf("%s  %s at %d cycles: %s; %s", run, e.o.routine, e.count.Cycles, headline(e.last), strings.Join(checkFigures(e.last), ", ")))
}

func checkFigures(j health.Joint) (out []string) {
	for _, name := range shownInChecks {
		for _, path := range []health.Path{health.NoPath, health.Transmission, health.Total} {
			m, ok := j.Find(name, path)
			if !ok || m.Status == health.NotObservable || math.IsNaN(m.Limit) || len(out) == 3 {
				continue
			}
			unit := ""
			if m.Unit != "1" {
				unit = " " + m.Unit
			}
			d, _ := health.DefinitionOf(name)
			out = append(out, strings.ToLower(d.Title[:1])+d.Title[1:]+" "+figure(m)+unit)
			break
		}
	}
	return out
}

// endured is the answer of an endurance test.
type endured struct {
	Joint     string   `json:"joint"`
	Rule      string   `json:"rule"`
	Why       string   `json:"why"`
	Next      string   `json:"next"`
	Cycles    int      `json:"cycles"`
	GaitHours float64  `json:"gait_hours"`
	Checks    int      `json:"checks"`
	LastRun   string   `json:"last_run"`
	LastCheck string   `json:"last_check"`
	Figures   []string `json:"last_check_figures"`
}

// endWords says by what the test ended, and how far it came.
func (e *endurer) endWords(s *endurance.Stop) []string {
	return []string{
		fmt.Sprintf("Ended by rule %q (%s): %s.", s.Rule.Key, s.Rule.When, strings.TrimSuffix(s.Why, ".")),
		fmt.Sprintf("Joint %s has done %d cycles in %s of gait, with %s.", e.joint.Name, e.count.Cycles, hours(e.count.Took), count(e.count.Checks, "check sweep")),
	}
}

// finish says how the test ended and what to do next.
func (e *endurer) finish(printer *app, s *endurance.Stop) error {
	if e.o.json {
		return printJSON(printer.out, endured{e.joint.Name, string(s.Rule.Key), s.Why, s.Rule.Next, e.count.Cycles, e.count.Took.Hours(), e.count.Checks,
			e.lastRun, e.count.LastCheck, checkFigures(e.last)})
	}
	fmt.Fprintln(printer.out)
	for _, text := range e.endWords(s) {
		say(printer.out, "", text)
	}
	say(printer.out, "", "Next: "+s.Rule.Next+".")
	return nil
}
