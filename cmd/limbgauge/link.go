package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
	"limbgauge/rig/link"
	"limbgauge/rig/link/find"
	"limbgauge/rig/link/port"
	"limbgauge/rig/virtual"
)

type linkOptions struct {
	port    string
	baud    int
	hz      float64
	seconds float64
	json    bool
}

func (a *app) linkCommand() *cobra.Command {
	var o linkOptions
	cmd := &cobra.Command{
		Use:   "link",
		Short: "say who is at the port and how well the line works; nothing moves",
		Long: `Say who is at the port: firmware and protocol, channels, the sample rate reached,
how evenly samples are taken and arrive, what is lost, how the stand's clock runs,
and what each sensor shows. Nothing is armed and nothing moves; turn a joint by
hand meanwhile to see its angle change.

Where no stand answers, it finds out what is there instead (another baud rate, a
board in its boot loader, a sketch that prints lines, nothing) and says what to do.
Each of these has an exit code of its own: "limbgauge help exit-codes". No
bench.toml is needed.`,
		Example: `  limbgauge link
  limbgauge link --port /dev/ttyUSB0 --seconds 30
  limbgauge link --port /dev/ttyACM0 --baud 115200 --json`,
		Args: usageArgs(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error { return a.link(cmd.Context(), o) },
	}
	cmd.Flags().StringVar(&o.port, "port", "", "serial port instead of the one in bench.toml")
	cmd.Flags().IntVar(&o.baud, "baud", 0, "baud rate instead of the one in bench.toml")
	cmd.Flags().Float64Var(&o.hz, "hz", 0, "samples per second and joint instead of sample_hz in bench.toml")
	cmd.Flags().Float64Var(&o.seconds, "seconds", 5, "how long to listen; the clock needs 3, and is known the better the longer")
	cmd.Flags().BoolVar(&o.json, "json", false, "print the answer as one JSON object, also when there is trouble")
	return cmd
}

func (a *app) link(ctx context.Context, o linkOptions) error {
	if !(o.seconds > 0 && o.seconds <= 86400) {
		return usageError{fmt.Errorf("--seconds %g: give more than 0 and at most 86400", o.seconds)}
	}
	if o.hz != 0 && !(o.hz >= 1 && o.hz <= math.MaxUint16 && o.hz == math.Trunc(o.hz)) {
		return usageError{fmt.Errorf("--hz %g: give a whole number from 1 on", o.hz)}
	}
	b, err := a.benchOrNone(o)
	if err != nil {
		return err
	}
	rep := linkReport{Port: b.Stand.Port, Form: b.Stand.Form, AskedHz: b.Stand.SampleHz, bench: b}
	if b.Stand.Port != rig.PortVirtual {
		rep.Baud = b.Stand.Baud
	}
	v := linkVisit{app: a, o: o, b: b, rep: &rep}
	if b.Stand.Form == rig.FormText && b.Stand.Port != rig.PortVirtual {
		err = v.listen(ctx)
	} else {
		err = v.converse(ctx)
	}
	if ctx.Err() != nil && errors.Is(err, ctx.Err()) {
		err = kindError{err: errors.New("stopped before anybody was met"), code: exitStopped}
	}
	err = linkTrouble(err, b.Stand)
	if o.json {
		rep.trouble(err)
		return errors.Join(printJSON(a.out, rep), err)
	}
	if rep.Firmware != "" || len(rep.Joints) > 0 {
		rep.print(a.out)
	}
	return err
}

// benchOrNone reads bench.toml; where there is none, the stand speaks for itself.
func (a *app) benchOrNone(o linkOptions) (*rig.Bench, error) {
	b, err := a.loadBench()
	if err != nil {
		path := a.bench
		if filepath.Ext(path) != ".toml" {
			path = filepath.Join(path, benchFile)
		}
		if _, statErr := os.Stat(path); !errors.Is(statErr, fs.ErrNotExist) {
			return nil, err
		}
		b = &rig.Bench{Stand: rig.DefaultStand()}
		b.Stand.Port = rig.PortAuto
	}
	if o.port != "" {
		b.Stand.Port = o.port
	}
	if o.baud != 0 {
		b.Stand.Baud = o.baud
	}
	if o.hz != 0 {
		b.Stand.SampleHz = o.hz
	}
	if b.Stand.Port == rig.PortVirtual && len(b.Joints) == 0 {
		return nil, usageError{errors.New(`the virtual stand needs joints: "limbgauge init" writes a bench.toml`)}
	}
	return b, nil
}

// linkVisit is one look at a line.
type linkVisit struct {
	app *app
	o   linkOptions
	b   *rig.Bench
	rep *linkReport
	rec find.Recorder
}

// quiet says a word about what goes on, to somebody who watches.
func (v *linkVisit) said(text string) {
	if f, ok := v.app.err.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		fmt.Fprintf(v.app.err, "%s ...\n", text)
	}
}

func (v *linkVisit) span() time.Duration {
	return time.Duration(v.o.seconds * float64(time.Second))
}

// converse meets a stand that speaks frames and watches it. What was seen is reported even when the
// stand goes away meanwhile.
func (v *linkVisit) converse(ctx context.Context) (err error) {
	met, err := find.Meet(ctx, find.Options{
		Open: v.open, Baud: v.b.Stand.Baud, Said: v.said,
		Link: link.Options{Joints: v.b.Joints, Rest: true, Limp: true, Arrived: v.rec.Arrived},
	})
	if err != nil {
		return err
	}
	defer func() {
		if cerr := met.Close(); err == nil {
			err = cerr
		}
	}()
	v.rep.met(met)
	hz := min(v.b.Stand.SampleHz, float64(met.Stand().MaxHz))
	v.rep.TakenHz = hz
	start := met.Setup
	if len(v.b.Joints) == 0 {
		start = met.Sample
	}
	if len(met.Joints()) == 0 {
		return errNoChannels
	}
	if err := start(ctx, hz); err != nil {
		return err
	}
	v.said(fmt.Sprintf("listening for %g s", v.o.seconds))
	seen := find.Watch(ctx, met, len(met.Joints()), v.span(), met.AskTime)
	if seen.Err == nil {
		// The end of the stream tells what was lost last; a stand that can not end it says so below.
		seen.Err = met.StopSampling(context.WithoutCancel(ctx))
	}
	if seen.Err == nil {
		seeMagnets(ctx, met)
	}
	v.rep.State = met.Status().State.String()
	v.rep.watched(seen, v.rec.Since(seen.Began), met.Joints(), met.Losses(), hz)
	v.rep.counted(met)
	return seenError(seen, met.Joints(), v.rep)
}

// A stand looks at magnets while nothing is sampled, one after the other: this is time enough for all.
const (
	magnetsWait  = 600 * time.Millisecond
	magnetsEvery = 50 * time.Millisecond
)

// seeMagnets waits until the stand has told of every magnet that its angle sensors look at, or for long enough.
func seeMagnets(ctx context.Context, met *find.Met) {
	if !met.Stand().TellsMagnets() {
		return
	}
	ctx, cancel := context.WithTimeout(ctx, magnetsWait)
	defer cancel()
	for met.AskStatus(ctx) == nil && !magnetsKnown(met) {
		select {
		case <-time.After(magnetsEvery):
		case <-ctx.Done():
		}
	}
}

func magnetsKnown(met *find.Met) bool {
	told := met.Status().Magnets
	for i, j := range met.Joints() {
		has := met.Stand().Channels[j.Channel].Has
		if has&wire.HasAngle != 0 && told[i].Joint == wire.MagnetUnknown || has&wire.HasMotor != 0 && told[i].Motor == wire.MagnetUnknown {
			return false
		}
	}
	return true
}

var errNoChannels = errors.New("the stand has no channels: its firmware was built without joints")

// seenError is what went wrong while a stand was watched.
func seenError(s find.Seen, joints []rig.Joint, rep *linkReport) error {
	if s.Err != nil && (s.Trip == nil || s.Trip.Reason.String() == "reset") {
		return s.Err // of a restart, the error knows the reason
	}
	if s.Trip != nil {
		e := &link.TrippedError{Trip: *s.Trip}
		if s.Trip.Joint >= 0 {
			e.Joint = joints[s.Trip.Joint].Name
		}
		return e
	}
	return rep.sensorError()
}

// open opens the port, or the virtual stand in its place.
func (v *linkVisit) open(baud int) (port.Line, error) {
	if v.b.Stand.Port != rig.PortVirtual {
		return port.Open(v.b.Stand.Port, baud)
	}
	truths, err := truthsOf(v.b.Joints, lineOptions{seed: 1})
	if err != nil {
		return nil, err
	}
	pipe, err := virtual.Pipe(virtual.Options{Joints: v.b.Joints, Truths: truths, Speed: 1})
	return noRate{pipe}, err
}

// noRate is a line without a baud rate.
type noRate struct{ io.ReadWriteCloser }

// Retune implements port.Line.
func (noRate) Retune(int) error { return nil }

// listen watches a stand of the text form; when it prints nothing that can be read, what is there is
// looked for as for any other.
func (v *linkVisit) listen(ctx context.Context) error {
	line, err := port.Open(v.b.Stand.Port, v.b.Stand.Baud)
	if err != nil {
		return err
	}
	feed := link.ListenTo(line, link.Options{Joints: v.b.Joints, Arrived: v.rec.Arrived})
	v.said(fmt.Sprintf("listening for %g s", v.o.seconds))
	// A stand that was reset by the opening starts to print a little later.
	seen := find.Watch(ctx, feed, len(v.b.Joints), max(v.span(), textLeast), nil)
	losses := feed.Losses()
	if err := feed.Close(); err != nil && seen.Err == nil {
		seen.Err = err
	}
	v.rep.BadLines = len(seen.BadLines)
	var quiet *link.QuietError
	if errors.As(seen.Err, &quiet) && !readable(seen.BadLines) {
		return v.otherThanText(ctx, seen.Err)
	}
	v.rep.watched(seen, v.rec.Since(seen.Began), v.b.Joints, losses, 0)
	for _, b := range seen.BadLines[:min(len(seen.BadLines), badLinesShown)] {
		v.rep.note("line %d was skipped (%s: %s): %s", b.Number, b.Reason, b.Detail, b.Text)
	}
	return seenError(seen, v.b.Joints, v.rep)
}

const (
	textLeast     = 6 * time.Second // longer than a text stand may be silent before it counts as silent
	badLinesShown = 3
)

// readable says whether bad lines were lines at all, so that the baud rate is right.
func readable(bad []*link.BadLine) bool {
	for _, b := range bad {
		if b.Reason != link.LineSyntax && b.Reason != link.LineTooLong {
			return true
		}
	}
	return false
}

// otherThanText finds out what is there when no lines come.
func (v *linkVisit) otherThanText(ctx context.Context, quiet error) error {
	met, err := find.Meet(ctx, find.Options{Open: v.open, Baud: v.b.Stand.Baud, Said: v.said, Link: link.Options{Rest: true}})
	if err == nil {
		return errors.Join(errSpeaksFrames, met.Close())
	}
	var none *link.NoHelloError
	if errors.As(err, &none) && none.Heard == link.HeardText {
		return quiet // it has begun to print meanwhile, or prints what we can not use
	}
	return err
}

var errSpeaksFrames = errors.New(`the stand speaks frames, and bench.toml says form = "text"`)
