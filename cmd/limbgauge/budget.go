package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"limbgauge/analyze/book"
	"limbgauge/analyze/budget"
	"limbgauge/analyze/health"
	"limbgauge/rig"
	"limbgauge/rig/record"
)

// budgetOptions are what is asked for other than bench.toml states; NaN and 0 leave what it states.
type budgetOptions struct {
	legs                               int
	slope, duty, body, scale, fraction float64
	mu                                 float64
	asJSON, chart, gate                bool
	slopeGiven, frictionGiven          bool
}

func (a *app) budgetCommand() *cobra.Command {
	var o budgetOptions
	cmd := &cobra.Command{
		Use:   "budget",
		Short: "work out what the leg may carry",
		Long: `Work out the static torque of yaw, hip and knee over all places in which a foot
stands, the greatest body mass, the weakest joint, the torque of a swing and the
least belt tension, and set it beside what the bench has measured: voltage,
friction, torque use, belt tension.

It needs the tables [leg.geometry], [leg.link.*] and [robot] of bench.toml;
"limbgauge init" writes them with invented figures.`,
		Example: `  limbgauge budget
  limbgauge budget --legs 5 --slope 10 --map
  limbgauge budget --scale 1.85 --fraction 0.3 --json`,
		Args: usageArgs(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			o.slopeGiven, o.frictionGiven = cmd.Flags().Changed("slope"), cmd.Flags().Changed("friction")
			for _, f := range []string{"legs", "duty", "body", "scale", "fraction"} {
				if v := cmd.Flags().Lookup(f); v.Changed && (v.Value.String() == "0" || strings.HasPrefix(v.Value.String(), "-")) {
					return usageError{fmt.Errorf("--%s %s: give more than 0", f, v.Value)}
				}
			}
			return a.budget(cmd.Context(), o)
		},
	}
	f := cmd.Flags()
	f.IntVar(&o.legs, "legs", 0, "legs that stand at least; default: stance_legs of bench.toml")
	f.Float64Var(&o.slope, "slope", 0, "slope of the ground, in deg, in the worst direction")
	f.Float64Var(&o.duty, "duty", 0, "share of a step that each leg stands; 1 for standing still")
	f.Float64Var(&o.body, "body", 0, "mass of all that is no leg, in kg")
	f.Float64Var(&o.scale, "scale", 0, "mass of the whole robot on a scale, in kg")
	f.Float64Var(&o.fraction, "fraction", 0, "share of the stall torque that may be used; default: by the duty")
	f.Float64Var(&o.mu, "friction", 0, "friction between foot and ground; 0: feet do not push sideways")
	f.BoolVar(&o.chart, "map", false, "also draw the share of the stall torque over the places of the foot")
	f.BoolVar(&o.asJSON, "json", false, "print the answer as one JSON object")
	f.BoolVar(&o.gate, "gate", false, "exit with 6 unless the leg is shown to hold its body")
	return cmd
}

func (a *app) budget(ctx context.Context, o budgetOptions) error {
	res, s, err := a.answerBudget(ctx, o)
	if err != nil {
		return err
	}
	if o.asJSON {
		if err := printJSON(a.out, res); err != nil {
			return err
		}
	} else {
		a.printBudget(res)
		if o.chart {
			fmt.Fprint(a.out, "\n"+budget.Map(s, res))
		}
	}
	if o.gate && res.Verdict != budget.Holds {
		return kindError{err: errors.New("the leg is not shown to hold its body"), code: exitFault, hint: "the sentence and the notes of the answer say what it lacks"}
	}
	return nil
}

// answerBudget works the budget out, with what the bench has seen.
func (a *app) answerBudget(ctx context.Context, o budgetOptions) (res budget.Answer, s budget.Setup, err error) {
	b, err := a.loadBench()
	if err != nil {
		return res, s, err
	}
	seen, err := a.seen(ctx, b)
	if err != nil {
		return res, s, err
	}
	s, err = budget.Of(b, seen)
	var missing *budget.MissingError
	if errors.As(err, &missing) {
		fmt.Fprintf(a.err, "Add to %s, with your own figures:\n\n%s\n", b.Path, missing.Lines)
		return res, s, inputError(err, "the lines are above; \"limbgauge init\" in an empty folder shows all keys")
	}
	if err != nil {
		return res, s, err
	}
	s = o.apply(s)
	if res, err = budget.Budget(s, seen); err != nil {
		return res, s, usageError{err}
	}
	return res, s, nil
}

func (o budgetOptions) apply(s budget.Setup) budget.Setup {
	if o.legs > 0 {
		if o.legs != s.Stance && o.duty == 0 {
			s.Duty = 0 // that of bench.toml is of another gait
		}
		s.Stance = o.legs
	}
	for _, v := range []struct {
		from float64
		into *float64
	}{{o.duty, &s.Duty}, {o.body, &s.BodyKg}, {o.scale, &s.ScaleKg}, {o.fraction, &s.Fraction}} {
		if v.from > 0 {
			*v.into = v.from
		}
	}
	if o.body > 0 && o.scale == 0 {
		s.ScaleKg = 0 // another body than the one that was weighed
	}
	if o.slopeGiven {
		s.Slope = o.slope * math.Pi / 180
	}
	if o.frictionGiven {
		s.Mu = o.mu
	}
	return s
}

// seen looks up what the newest whole run says of each joint.
func (a *app) seen(ctx context.Context, b *rig.Bench) (map[string]budget.Seen, error) {
	bk, err := a.openBook(ctx)
	if err != nil {
		return nil, err
	}
	defer bk.Close()
	runs, err := bk.Runs(ctx)
	if err != nil {
		return nil, err
	}
	out := map[string]budget.Seen{}
	for _, r := range slices.Backward(runs) {
		if !r.Whole || !r.Judged || r.Bare || r.Leg != b.Leg.Name || r.Routine == rig.GaitName {
			continue
		}
		_, joints, _, err := bk.Run(ctx, r.ID)
		if err != nil {
			return nil, err
		}
		for _, h := range joints {
			if _, ok := out[h.Joint]; !ok {
				out[h.Joint] = budget.Seen{Run: r.ID, Volts: a.lowestVolts(r, h.Joint), Measures: h.Measures}
			}
		}
		if len(out) >= len(b.Joints) {
			break
		}
	}
	return out, nil
}

// lowestShare is the share of samples with a lower voltage than the one that counts as lasting: the
// odd spike is no voltage to work with [common practice].
const lowestShare = 0.01

// lowestVolts reads the voltage a joint had to work with in a run; NaN where the run can not tell.
func (a *app) lowestVolts(r book.Run, joint string) float64 {
	run, err := record.Open(record.RunDir(a.folder(), r.ID))
	if err != nil {
		return math.NaN()
	}
	s, err := run.Series(joint)
	if err != nil || len(s.Supply) == 0 {
		return math.NaN()
	}
	v := slices.DeleteFunc(slices.Clone(s.Supply), math.IsNaN)
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	return v[int(lowestShare*float64(len(v)-1))]
}

func (a *app) printBudget(res budget.Answer) {
	say(a.out, "", res.Sentence)
	fmt.Fprintln(a.out)
	say(a.out, "  ", fmt.Sprintf("Torques are for a robot of %.2f kg (%s): %d legs of %.3f kg; the leg that carries most bears %.3f of it.",
		float64(res.DemandKg), res.DemandFrom, res.Legs, res.LegKg, res.Share))

	t := sheet{indent: "  ", gap: 1, columns: []column{{title: "joint", least: 8}, {title: "peak", right: true}, {title: "no push", right: true}, {title: " out, below; hip,"},
		{title: "stall", right: true}, {title: "share of it", right: true}, {title: "allowed", right: true}, {title: "body", right: true}}}
	t.add("", "N·m", "N·m", " knee: mm; deg", "N·m", "", "", "kg")
	for _, r := range res.Joints {
		where := fmt.Sprintf("%.0f, %.0f; %.0f, %.0f", 1000*r.ReachM, 1000*r.HeightM, r.HipDeg, r.KneeDeg)
		share := num(r.Share, "%.2f")
		if !math.IsNaN(float64(r.Share)) {
			share += fmt.Sprintf(" ± %.2f", float64(r.ShareU))
		}
		t.add(r.Joint, fmt.Sprintf("%.3f", r.PeakNm), fmt.Sprintf("%.3f", r.Straight), " "+where, num(r.StallNm, "%.3f"), share, fmt.Sprintf("%.2f", res.Allowed), num(r.Body, "%.2f"))
	}
	fmt.Fprintln(a.out)
	t.print(a.out)
	say(a.out, "  ", "peak: feet push sideways up to slipping; no push: they do not. body: the greatest that this joint allows.")
	sayApart(a.out, "  ", fmt.Sprintf("greatest body %.2f ± %.2f kg; %.2f kg without sideways push. Its doubt:",
		float64(res.GreatestBodyKg), float64(res.BodyU), float64(res.StraightBodyKg)))
	for _, d := range res.Doubt {
		if d.Kg >= 0.005 {
			say(a.out, "  ", fmt.Sprintf("- %.2f kg from %s: %s", d.Kg, d.Of, d.How))
		}
	}
	a.printSwing(res)
	a.printBelts(res)
	a.printCompared(res)
	for _, w := range res.Warnings {
		head, lines, _ := strings.Cut(w, "\n")
		sayApart(a.out, "  ", "Note: "+head)
		if lines != "" {
			fmt.Fprint(a.out, "    "+strings.ReplaceAll(strings.TrimSpace(lines), "\n", "\n    ")+"\n")
		}
	}
	fmt.Fprintln(a.out, "\n  rests on:")
	for _, s := range res.Assumptions {
		say(a.out, "  ", "- "+s)
	}
}

func (a *app) printSwing(res budget.Answer) {
	if len(res.Joints) == 0 || math.IsNaN(float64(res.Joints[0].SwingNm)) {
		return
	}
	fmt.Fprintf(a.out, "\n  swing in %.2f s\n", res.SwingS)
	for _, r := range res.Joints {
		say(a.out, "  ", fmt.Sprintf("%s: %.3f N·m (weight alone %.3f), %s of stall torque, %s of speed", r.Joint, float64(r.SwingNm), float64(r.SwingOwn), num(r.SwingUse, "%.2f"), num(r.SwingSpeed, "%.2f")))
	}
	for _, s := range res.Savings {
		say(a.out, "  ", fmt.Sprintf("%.0f g moved from the %s's centre to the hip axis take %.1f mN·m (%.0f %%) off the hip, %.1f mN·m off the yaw",
			1000*s.Kg, s.Link, 1000*s.HipNm, 100*s.HipShare, 1000*s.YawNm))
	}
}

func (a *app) printBelts(res budget.Answer) {
	first := true
	for _, r := range res.Joints {
		if math.IsNaN(float64(r.Pull)) {
			continue
		}
		if first {
			fmt.Fprintln(a.out, "\n  belts")
			first = false
		}
		p := float64(r.Pull)
		say(a.out, "  ", fmt.Sprintf("%s: greatest pull %.0f N; a span goes slack below %.0f N of tension, against skipping %.0f to %.0f N", r.Joint, p, budget.TautShare*p, budget.SkipShare*p, budget.FullShare*p))
	}
}

func (a *app) printCompared(res budget.Answer) {
	if len(res.Compared) == 0 {
		sayApart(a.out, "  ", "The bench has no whole run of this leg yet, so nothing is compared: \"limbgauge sweep\" makes one.")
		return
	}
	t := sheet{indent: "  ", gap: 1, columns: []column{{title: "joint", least: 8}, {title: "beside the bench"}, {title: "budget", right: true}, {title: "bench", right: true}, {title: " run"}, {title: "verdict"}}}
	var words []string
	for _, c := range res.Compared {
		v := health.Measure{Name: measureOf(c.What), Value: float64(c.Bench), Uncertainty: float64(c.BenchU), Status: health.Status(c.Status)}
		unit := ""
		if c.Unit != "1" {
			unit = " " + c.Unit
		}
		t.add(c.Joint, c.What, num(c.Budget, "%.3g"), figure(v)+unit, " "+c.Run, c.Verdict)
		if c.Words != "" {
			words = append(words, fmt.Sprintf("%s, %s: %s", c.Joint, c.What, c.Words))
		}
	}
	fmt.Fprintln(a.out)
	t.print(a.out)
	for _, w := range words {
		say(a.out, "  ", w)
	}
}

// measureOf names the measure whose decimals a compared figure has.
func measureOf(what string) string {
	return map[string]string{"greatest torque": "load_torque_peak", "torque use on the bench": "torque_use", "belt tension": "belt_tension", "friction": "friction"}[what]
}

// num writes a figure that may be absent.
func num(n budget.Number, form string) string {
	if math.IsNaN(float64(n)) || math.IsInf(float64(n), 0) {
		return "-"
	}
	return fmt.Sprintf(form, float64(n))
}
