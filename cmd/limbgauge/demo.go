package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"limbgauge/analyze/book"
	"limbgauge/analyze/endurance"
	"limbgauge/analyze/health"
	"limbgauge/analyze/report"
	"limbgauge/rig"
	"limbgauge/rig/record"
	"limbgauge/rig/session"
	"limbgauge/rig/virtual"
)

func (a *app) demoCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "demo [folder]",
		Example: "  limbgauge demo\n  limbgauge demo scout",
		Short:   "play the story of one knee on the virtual stand",
		Long: `Make a bench of its own and play twelve weeks of it on the virtual stand: the knee
of a six-legged greenhouse scout, whose belt loosens; a service that holds only for a
while; a redesign that cures it and brings a trouble of its own. Every run is
recorded, sealed and judged as a real one would be. Nothing moves.`,
		Args: usageArgs(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			folder := "limbgauge-demo"
			if len(args) == 1 {
				folder = args[0]
			}
			return a.demo(cmd.Context(), folder)
		},
	}
}

// scene is one step of the story. Exactly one of run, service, revision, endure is set.
type scene struct {
	week     float64
	say      string
	run      *demoRun
	service  *book.Service
	revision *demoRevision
	endure   *endureOptions
}

// demoRun is one run with what the joint really is at that time. All of it is invented.
type demoRun struct {
	joint    string
	assembly string
	tensionN float64 // of the belt; 0 with slackDeg: a belt without tension
	slackDeg float64
	partDeg  float64 // compliance of the printed part, deg/N·m
}

type demoRevision struct {
	name, parent, why string
	parts             []demoPart
	leverM            float64 // of what hangs on the knee, as the builder measured it
	inertia           float64
}

type demoPart struct {
	name, file string
	wallsMM    float64
}

// story is the life of the knee of leg fore-left over twelve weeks.
func story() []scene {
	knee := func(assembly string, tension, slack, part float64) *demoRun {
		return &demoRun{joint: "knee", assembly: assembly, tensionN: tension, slackDeg: slack, partDeg: part}
	}
	run := func(week float64, say string, r *demoRun) scene { return scene{week: week, say: say, run: r} }
	tension := func(week float64) scene {
		return scene{week: week, service: &book.Service{What: "belt re-tensioned", Joint: "knee", Part: "belt"}}
	}
	return []scene{
		{week: 0, revision: &demoRevision{name: "A", why: "first print", parts: []demoPart{{"femur", "femur_a.stl", 2}, {"tibia", "tibia_a.stl", 2}}, leverM: 0.11, inertia: 0.0073}},
		run(0, "The leg is assembled and swept for the first time.", &demoRun{joint: "hip", assembly: "a1", tensionN: 55, partDeg: 1}),
		run(0, "", knee("a1", 36, 0, 1.5)),
		run(1, "A sweep each week; the belt loses a twentieth of its tension from one to the next.", knee("a1", 34.2, 0, 1.5)),
		run(2, "", knee("a1", 32.5, 0, 1.5)),
		run(3, "", knee("a1", 30.9, 0, 1.5)),
		run(4, "", knee("a1", 29.3, 0, 1.5)),
		run(5, "", knee("a1", 27.9, 0, 1.5)),
		run(6, "", knee("a1", 26.5, 0, 1.5)),
		run(7, "", knee("a1", 25.1, 0, 1.5)),
		tension(7.1),
		run(7.2, "The service helped.", knee("a2", 34, 0, 1.6)),
		run(8, "But it does not hold: the printed femur bends under the belt's pull.", knee("a2", 18, 0, 1.8)),
		tension(8.1),
		run(8.2, "", knee("a3", 32, 0, 1.8)),
		run(9, "Nor does it the second time.", knee("a3", 11, 0, 1.8)),
		run(10, "", knee("a3", 0, 0.75, 1.9)),
		{week: 10.5, revision: &demoRevision{name: "B", parent: "A", why: "femur with a rib along the belt and twice the wall; tibia 40 mm longer to clear the hoses",
			parts: []demoPart{{"femur", "femur_b.stl", 4}, {"tibia", "tibia_b.stl", 2}}, leverM: 0.15, inertia: 0.0130}},
		run(11, "Revision B, put together three times.", knee("b1", 61, 0, 0.8)),
		run(11.5, "", knee("b2", 57, 0, 0.8)),
		run(12, "", knee("b3", 59, 0, 0.8)),
		{week: 12.1, say: "An endurance test of it: its gait again and again, with a check sweep every 50 cycles.",
			endure: &endureOptions{cycles: 200, checkEvery: 50, runCycles: 50, warmUp: 20, heatMost: endurance.HeatMost, tempMost: endurance.TempMostC,
				sweepOptions: sweepOptions{routine: "check", runOptions: runOptions{assembly: "b3", note: "demo, virtual stand"},
					lineOptions: lineOptions{seed: 1}, consentOptions: consentOptions{yes: true}}}},
	}
}

func (a *app) demo(ctx context.Context, folder string) error {
	if list, err := os.ReadDir(folder); err == nil && len(list) > 0 {
		return inputError(fmt.Errorf("%s is there already and is not empty", folder), "give another folder, or remove that one")
	}
	begin := time.Now()
	first := begin.AddDate(0, 0, -12*7-1).Truncate(time.Hour)
	d := *a // the story has a clock and a folder of its own
	d.bench = folder
	say(a.out, "", "A greenhouse scout with six legs; leg fore-left; its knee over twelve weeks. The stand is virtual: nothing moves here. On a real stand the cautions come first.")
	fmt.Fprintln(a.out)
	fmt.Fprintf(a.out, "  %-5s %-5s %-3s %-5s %-21s %-15s %s\n", "week", "run", "rev", "joint", "belt tension, N", "play, deg", "verdict")
	revision, newest := "", ""
	for _, s := range story() {
		s := s
		d.now = func() time.Time { return first.Add(time.Duration(s.week * 7 * 24 * float64(time.Hour))) }
		if s.say != "" {
			say(a.out, "  ", s.say)
		}
		var err error
		switch {
		case s.revision != nil:
			revision = s.revision.name
			err = d.demoRevision(ctx, *s.revision)
		case s.service != nil:
			err = d.demoService(ctx, *s.service)
		case s.endure != nil:
			err = d.demoEndurance(ctx, *s.endure)
		default:
			newest, err = d.demoScene(ctx, s, revision)
		}
		if err != nil {
			return fmt.Errorf("demo, week %g: %w", s.week, err)
		}
	}
	return d.demoEnd(ctx, folder, newest)
}

func (a *app) demoRevision(ctx context.Context, r demoRevision) error {
	text, err := demoBench(r.leverM, r.inertia)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Join(a.folder(), "parts"), 0o755); err != nil {
		return err
	}
	if err := record.ReplaceFile(filepath.Join(a.folder(), benchFile), []byte(text)); err != nil {
		return err
	}
	var named []string
	var making []book.Making
	for _, p := range r.parts {
		path := filepath.Join(a.folder(), "parts", p.file)
		if err := record.ReplaceFile(path, []byte(tubeSTL(p.name+"_"+r.name, p.wallsMM))); err != nil {
			return err
		}
		named = append(named, p.name+"="+path)
		making = append(making, book.Making{Part: p.name, Key: "material", Text: "PETG"}, book.Making{Part: p.name, Key: "wall", Text: fmt.Sprintf("%g mm", p.wallsMM)})
	}
	files, err := a.partsOf(named)
	if err != nil {
		return err
	}
	parts, err := book.PartsFrom(nil, files, nil, making)
	if err != nil {
		return err
	}
	b, err := a.openBook(ctx)
	if err != nil {
		return err
	}
	defer b.Close()
	say(a.out, "  ", fmt.Sprintf("Revision %s: %s.", r.name, r.why))
	return b.AddRevision(ctx, book.Revision{Name: r.name, Parent: r.parent, Made: a.now(), Why: r.why, Parts: parts})
}

func (a *app) demoService(ctx context.Context, s book.Service) error {
	s.When = a.now()
	b, err := a.openBook(ctx)
	if err != nil {
		return err
	}
	defer b.Close()
	fmt.Fprintf(a.out, "  Service: %s.\n", s.What)
	_, err = b.AddService(ctx, s)
	return err
}

// demoEndurance repeats the knee's gait until a rule ends it, and tells how it ended.
func (a *app) demoEndurance(ctx context.Context, o endureOptions) error {
	quiet := *a
	quiet.out, quiet.err = io.Discard, io.Discard
	err := quiet.endureTo(ctx, a, "knee", o)
	var told kindError
	if errors.As(err, &told) && told.code == exitFault {
		return nil // ended by a rule, as it says
	}
	return err
}

// demoScene records, judges and keeps one run, and prints it as a line. It returns the run.
func (a *app) demoScene(ctx context.Context, s scene, revision string) (string, error) {
	b, err := a.loadBench()
	if err != nil {
		return "", err
	}
	j, ok := b.JointByName(s.run.joint)
	if !ok {
		return "", fmt.Errorf("there is no joint %q", s.run.joint)
	}
	routine, err := rig.BuiltinRoutine("assembly", j)
	if err != nil {
		return "", err
	}
	line, err := virtual.Pipe(virtual.Options{Joints: []rig.Joint{j}, Truths: []virtual.Truth{truthOf(j, *s.run, uint64(10*s.week)+3)}})
	if err != nil {
		return "", err
	}
	info, err := a.info(ctx, b, runOptions{revision: revision, assembly: s.run.assembly, note: "demo, virtual stand"}, routine.Name)
	if err != nil {
		line.Close()
		return "", err
	}
	info.Stand.Port = "virtual"
	res, err := session.Run(ctx, session.Config{Line: line, Joints: []rig.Joint{j}, Plans: []session.Plan{{Routine: routine}},
		SampleHz: b.Stand.SampleHz, Consent: session.Agreed(), Bench: a.folder(), Info: info})
	if err != nil {
		return "", err
	}
	h, err := a.judgeEnded(ctx, res, nil)
	if err != nil {
		return "", err
	}
	fmt.Fprintf(a.out, "  %-5.1f %-5s %-3s %-5s %-21s %-15s %s\n", s.week, res.Run, revision, s.run.joint,
		demoCell(h.Joints[0], "belt_tension"), demoCell(h.Joints[0], "play"), demoVerdict(h.Joints[0]))
	re := reply{Health: h}
	a.takeNews(ctx, &re)
	sayTrends(a.out, re.Trends)
	return res.Run, nil
}

func demoCell(j health.Joint, name string) string {
	m, ok := j.Find(name, health.Transmission)
	if !ok {
		return ""
	}
	return cell(m)
}

func demoVerdict(j health.Joint) string {
	var words []string
	for _, f := range j.Findings {
		if f.Cause == health.None {
			return "no fault"
		}
		words = append(words, string(f.Severity)+": "+report.CauseTitle(f.Cause))
	}
	return strings.Join(words, ", ")
}

// shownBy returns the first run that showed a cause.
func shownBy(problems []book.Problem, c health.Cause) string {
	for _, p := range problems {
		if p.Cause == c && len(p.Shows) > 0 {
			return p.Shows[0]
		}
	}
	return ""
}

// demoEnd sums the story up, with a report of its newest whole run: the endurance test after it leaves runs of
// parts, and may end one by its rule.
func (a *app) demoEnd(ctx context.Context, folder, newest string) error {
	b, err := a.openBook(ctx)
	if err != nil {
		return err
	}
	defer b.Close()
	fmt.Fprintln(a.out)
	say(a.out, "", "What revision B was made for and what it may cost were named before any of its runs: belt tension and torque use.")
	if err := a.compareIn(ctx, b, []string{"A", "B"}, compareOptions{joint: "knee", measures: []string{"belt_tension", "torque_use"}}); err != nil {
		return err
	}
	problems, err := b.Problems(ctx)
	if err != nil {
		return err
	}
	fmt.Fprintln(a.out, "\nProblems:")
	if err := a.printProblems(ctx, b, problems, false); err != nil {
		return err
	}
	fmt.Fprintln(a.out, "\nWhat the leg may carry, with the torque that the bench has seen:")
	answer, _, err := a.answerBudget(ctx, budgetOptions{})
	if err != nil {
		return err
	}
	say(a.out, "", answer.Sentence)
	path, err := a.writeReport(ctx, []string{newest}, filepath.Join(folder, "report.html"))
	if err != nil {
		return err
	}
	fmt.Fprintf(a.out, "\nOpen %s in a browser. Then try, in %s:\n", path, folder)
	for _, c := range [][2]string{
		{"limbgauge trend knee --stretch 1", "the belt's first weeks"},
		{"limbgauge problem list --history", "what each problem went through"},
		{"limbgauge analyze " + shownBy(problems, health.BeltSlack), "the run in which play had opened"},
		{"limbgauge sweep knee --yes --fault creep=4", "a virtual run with a fault put in"},
		{"limbgauge serve", "all of it as a page"},
	} {
		fmt.Fprintf(a.out, "  %-44s %s\n", c[0], c[1])
	}
	return nil
}
