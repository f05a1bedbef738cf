package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"limbgauge/analyze/book"
	"limbgauge/analyze/compare"
	"limbgauge/analyze/report"
	"limbgauge/analyze/trend"
	"limbgauge/cmd/limbgauge/web"
	"limbgauge/rig"
)

// passwordVariable names where the page's password is read from: what stands on a command line can be
// read by everybody on the computer.
const passwordVariable = "LIMBGAUGE_PASSWORD"

type serveOptions struct {
	lineOptions
	listen string
	hosts  []string
}

func (a *app) serveCommand() *cobra.Command {
	var o serveOptions
	cmd := &cobra.Command{
		Use:   "serve",
		Short: "show the bench as a local page: run joints, watch, read, compare",
		Long: `Serve the bench as a page in a browser: the stand live, with a stop that also the
space bar does, for sweeps and endurance tests; the runs; where motion is lost;
problems. Only this computer can open it, unless --listen says otherwise; then a
password is needed, taken from the variable ` + passwordVariable + `. What goes
over the network is not encrypted: use it only in a network you trust.

Motion is agreed to on the page, after the cautions, and ends when the page that
armed the stand is closed or silent for ` + web.Silence() + `. A stop by software is no safety device:
keep a switch in the servo's supply in reach.`,
		Example: `  limbgauge serve
  ` + passwordVariable + `=... limbgauge serve --listen 192.168.1.20:7117   (phone)`,
		Args: usageArgs(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error { return a.serve(cmd.Context(), o) },
	}
	cmd.Flags().StringVar(&o.listen, "listen", "127.0.0.1:7117", "address to serve at; port 0 takes any free one")
	cmd.Flags().StringArrayVar(&o.hosts, "host", nil, "a name this computer is known by in the network; may be repeated")
	cmd.Flags().StringVar(&o.port, "port", "", "serial port instead of the one in bench.toml")
	o.virtualFlags(cmd, 1)
	return cmd
}

func (a *app) serve(ctx context.Context, o serveOptions) error {
	if _, err := a.loadBench(); err != nil { // said here, not on every page
		return err
	}
	l, err := net.Listen("tcp", o.listen)
	if err != nil {
		return inputError(fmt.Errorf("serve the page: %w", err), "another program may use the port; --listen 127.0.0.1:0 takes a free one")
	}
	ready := func(at net.Addr) { fmt.Fprintf(a.out, "The bench is at http://%s - Ctrl-C ends it.\n", at) }
	err = web.Serve(ctx, l, web.Options{Desk: &desk{app: *a, o: o}, Hosts: o.hosts, Password: os.Getenv(passwordVariable), Now: a.now, Ready: ready})
	switch {
	case errors.Is(err, web.ErrOpen):
		return usageError{fmt.Errorf("--listen %s: %w; set %s, %d characters or more", o.listen, err, passwordVariable, web.PasswordLeast)}
	case errors.Is(err, web.ErrShort):
		return usageError{fmt.Errorf("%s: %w; set a longer one", passwordVariable, err)}
	}
	return err
}

// desk is what the pages ask of the commands.
type desk struct {
	app app // its copy per call writes nowhere
	o   serveOptions
}

// quiet returns an app that prints nothing and can not be asked: what is to be said, a page says.
func (d *desk) quiet() *app {
	a := d.app
	a.out, a.err, a.in, a.lines = io.Discard, io.Discard, strings.NewReader(""), nil
	return &a
}

func (d *desk) Bench() (*rig.Bench, error) {
	b, err := d.app.loadBench()
	if err == nil && d.o.port != "" {
		b.Stand.Port = d.o.port
	}
	return b, err
}

func (d *desk) Book(ctx context.Context) (*book.Book, error) {
	a := d.quiet()
	return a.openBook(ctx)
}

func (d *desk) options(s web.Sweep) sweepOptions {
	return sweepOptions{lineOptions: d.o.lineOptions, routine: s.Routine, runOptions: runOptions{revision: s.Revision, assembly: s.Assembly,
		newAssembly: s.NewAssembly, bare: s.Bare, note: s.Note, supplyV: s.SupplyV, ambientC: s.AmbientC}}
}

func (d *desk) Plan(ctx context.Context, s web.Sweep) (web.Plan, error) {
	if s.Endure != nil {
		return d.planEndurance(ctx, s)
	}
	a := d.quiet()
	o := d.options(s)
	p, err := a.planSweep(ctx, s.Joints, o)
	if err != nil {
		return web.Plan{}, err
	}
	return web.Plan{What: p.what, Notes: notesOf(p), Turns: turnsOf(p), Run: func(ctx context.Context, w web.Watch) (out web.Outcome, err error) {
		res, err := a.carryOut(ctx, p, o, w.Consent, w.Live)
		w.AtRest()
		if res.Dir == "" {
			return out, err
		}
		out.Run = res.Run
		h, judgeErr := a.judgeEnded(ctx, res, err)
		if out.Health = h; judgeErr != nil {
			err = judgeErr
		}
		return out, err
	}}, nil
}

// turnsOf says what each joint of a plan is going to do.
func turnsOf(p sweepPlan) (out []web.Turn) {
	for _, x := range p.cfg.Plans {
		t := web.Turn{Joint: p.cfg.Joints[x.Joint].Name, Bare: p.cfg.Info.Conditions.BareServo, TakesS: x.Routine.Duration(x.Routine.Moves[0].TargetDeg).Seconds()}
		t.LoDeg, t.HiDeg = reach(x.Routine)
		for _, m := range x.Routine.Moves {
			t.DegPerS = max(t.DegPerS, m.RateDegPerS)
			t.Jumps = t.Jumps || m.RateDegPerS == 0
		}
		out = append(out, t)
	}
	return out
}

// notesOf is what to know of a sweep beside what moves.
func notesOf(p sweepPlan) []string {
	notes := append(slices.Clone(p.notes), p.cfg.Info.Notes...)
	if tag := p.cfg.Info.Conditions.Assembly; tag != "" {
		as := "."
		if p.carried {
			as = ", as was said last; if it was put together anew since, say so."
		}
		notes = append(notes, "This is assembly "+tag+as)
	}
	if r := p.cfg.Info.Revision; r != "" {
		notes = append(notes, "It is kept under revision "+r+".")
	}
	return notes
}

func (d *desk) Report(ctx context.Context, run string) (*report.Document, error) {
	a := d.quiet()
	r, err := a.openRun([]string{run})
	if err != nil {
		return nil, err
	}
	h, err := a.judge(ctx, r, "")
	if err != nil {
		return nil, err
	}
	return a.reportOn(ctx, r, h)
}

func (d *desk) Trend(ctx context.Context, joints []string, all bool) (map[string]web.Course, error) {
	b, err := d.Book(ctx)
	if err != nil {
		return nil, err
	}
	defer b.Close()
	told := map[string]web.Course{}
	for _, j := range joints {
		trends, shown, err := trendsShown(ctx, b, j, all, trend.Options{})
		if err != nil {
			return nil, err
		}
		told[j] = web.Course{Trends: trends, All: shown, Verdict: j + ": " + verdictOf(jointTrend{joint: j, trends: trends}) + "."}
	}
	return told, nil
}

func (d *desk) Compare(ctx context.Context, from, to string) (map[string]compare.Result, error) {
	b, err := d.Book(ctx)
	if err != nil {
		return nil, err
	}
	defer b.Close()
	_, _, answers, err := compareAll(ctx, b, []string{from, to}, compareOptions{})
	told := map[string]compare.Result{}
	for _, c := range answers {
		told[c.joint] = c.res
	}
	return told, err
}

func (d *desk) Folder() string { return d.app.folder() }

func (d *desk) RunDir(run string) (string, error) { return d.app.runDir([]string{run}) }

func (d *desk) Hint(err error) string {
	if hint := hintOf(err); hint != "" {
		return hint
	}
	b, err2 := d.Bench()
	if err2 != nil {
		return ""
	}
	return hintOf(linkTrouble(err, b.Stand))
}
