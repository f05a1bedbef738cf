package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"limbgauge/rig"
	"limbgauge/rig/record"
)

// calibrateOptions are shared by all steps; each uses those it has flags for.
type calibrateOptions struct {
	lineOptions
	consentOptions
	points string   // file of points
	point  []string // reference=reading
	at     string   // where to read
	model  string
	within float64
	motor  bool
	span   time.Duration
	runs   []string
	// of the weights
	weights string
	lever   float64
	armKgM  float64
	// of the file
	who    string
	serial string
	name   string
	from   string
	use    bool
}

func (a *app) calibrateCommand() *cobra.Command {
	var o calibrateOptions
	cmd := &cobra.Command{
		Use:   "calibrate joint",
		Short: "find what sensors and servo of a joint really show, and keep it",
		Long: `Compare what a joint's sensors show with a jig, a meter and weights, and keep the
points with what was fitted to them in calibrations/NAME.toml. With a joint alone, every
step is offered in turn; each is a command of its own as well:

  angle     zero and scale of an angle sensor against a jig, servo limp
  form      one and two waves per turn of an angle sensor, over most of a turn
  current   zero and gain of the current sensor against a meter or a resistor
  supply    the same for the voltage
  pulse     where the servo goes for a pulse, up and down      (moves the joint)
  torque    current under two or three weights, both sides     (moves the joint)

Readings come from the stand, from a file (--points) or from the command line
(--point), so a stand is not needed. The file is written once and never changed: a
step made anew makes a new file, which takes over the other steps. "--use" writes
its name into bench.toml; runs from then on name it, keep a copy, and are corrected by
it when they are judged. Their samples stay as the stand sent them.

A calibration belongs to the parts it was made with: give sensors and servo a
serial in bench.toml, and change nothing between calibration and run.

` + errorHelp(),
		Example: `  limbgauge calibrate knee
  limbgauge calibrate angle knee --at -60,-30,0,30,60 --within 0.1 --use
  limbgauge calibrate angle knee --points jig.csv --who "day shift"
  limbgauge calibrate list`,
		Args: usageArgs(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error { return a.calibrateAll(cmd.Context(), args[0], o) },
	}
	o.fileFlags(cmd)
	o.standFlags(cmd)
	o.motionFlags(cmd)
	o.weightFlags(cmd)
	for _, s := range stillSteps() {
		cmd.AddCommand(a.stillCommand(s))
	}
	cmd.AddCommand(a.pulseCommand(), a.torqueCommand(), a.calibrationListCommand(), a.calibrationShowCommand(), a.calibrationUseCommand())
	return cmd
}

func (o *calibrateOptions) fileFlags(cmd *cobra.Command) {
	cmd.Flags().StringVar(&o.who, "who", "", "who does it")
	cmd.Flags().StringVar(&o.serial, "serial", "", "what marks the sensor or servo; default: its serial in bench.toml")
	cmd.Flags().StringVar(&o.name, "name", "", "name of the new calibration; default: date, joint and a number")
	cmd.Flags().StringVar(&o.from, "from", "", `take over the other steps of this calibration; default: the one bench.toml names, "none" for none`)
	cmd.Flags().BoolVar(&o.use, "use", false, "write the new name into bench.toml")
}

func (o *calibrateOptions) standFlags(cmd *cobra.Command) {
	cmd.Flags().StringVar(&o.port, "port", "", "serial port instead of the one in bench.toml")
	cmd.Flags().DurationVar(&o.span, "read", 2*time.Second, "how long each reading is averaged")
	o.virtualFlags(cmd, 10)
	cmd.Flags().BoolVar(&o.yes, "yes", false, "virtual stand: ask nothing")
}

func (o *calibrateOptions) motionFlags(cmd *cobra.Command) {
	cmd.Flags().BoolVar(&o.handsClear, "hands-clear", false, "with --yes: arm a real stand too; you state that nobody can reach into it")
}

// calibrating is a calibration in the making.
type calibrating struct {
	app *app
	b   *rig.Bench
	j   rig.Joint
	o   calibrateOptions
	c   *rig.Calibration
}

// begin loads the bench and what the new calibration takes over.
func (a *app) begin(joint string, o calibrateOptions) (*calibrating, error) {
	b, err := a.loadBench()
	if err != nil {
		return nil, err
	}
	if o.port != "" {
		b.Stand.Port = o.port
	}
	j, err := jointOf(b, joint)
	if err != nil {
		return nil, err
	}
	if o.name != "" {
		if wrong := rig.CalibrationNameWrong(o.name); wrong != "" {
			return nil, usageError{fmt.Errorf("--name %s", wrong)}
		}
		if _, err := os.Stat(rig.CalibrationPath(a.folder(), o.name)); err == nil {
			return nil, usageError{fmt.Errorf("--name %q: there is a calibration of that name, and none is ever changed; give another", o.name)}
		}
	}
	k := &calibrating{app: a, b: b, j: j, o: o, c: &rig.Calibration{}}
	var base *rig.Calibration
	switch o.from {
	case "":
		base, err = b.CalibrationOf(j)
	case noCalibration:
	default:
		if base, err = a.loadCalibration(o.from); err == nil && base.Misfit(j) != "" {
			err = usageError{fmt.Errorf("--from %s: %s", base.Name, base.Misfit(j))}
		}
	}
	if err != nil {
		return nil, err
	}
	if base != nil {
		taken := *base
		k.c = &taken
		k.c.From = base.Name
	}
	k.c.Name, k.c.Path, k.c.Joint, k.c.Tool = "", "", j.Name, tool()
	return k, nil
}

// tool names this program and its version, for the file.
func tool() string {
	name := "limbgauge"
	if i, ok := debug.ReadBuildInfo(); ok && i.Main.Version != "" {
		name += " " + i.Main.Version
	}
	return name
}

// made is the head of a step made now.
func (k *calibrating) made(serial string) (rig.Made, error) {
	if k.o.serial != "" && serial != "" && k.o.serial != serial {
		return rig.Made{}, usageError{fmt.Errorf("--serial %q, but bench.toml says %q for joint %s; correct one of them", k.o.serial, serial, k.j.Name)}
	}
	if k.o.serial != "" {
		serial = k.o.serial
	}
	return rig.Made{Date: k.app.now().Truncate(time.Second), Who: k.o.who, Serial: serial}, nil
}

// finish writes the file and says how to use it, or uses it.
func (k *calibrating) finish() error {
	a := k.app
	dir := filepath.Dir(rig.CalibrationPath(a.folder(), "x"))
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("keep the calibration: %w", err)
	}
	k.c.Name = k.o.name
	for n := 1; k.c.Name == ""; n++ {
		name := fmt.Sprintf("%s-%s-%d", a.now().Format("2006-01-02"), fileWord(k.j.Name), n)
		if slices.ContainsFunc(k.b.Joints, func(j rig.Joint) bool { return j.Calibration == name }) {
			continue // the file may be lost; the name still means what it meant
		}
		if _, err := os.Stat(rig.CalibrationPath(a.folder(), name)); errors.Is(err, fs.ErrNotExist) {
			k.c.Name = name
		} else if err != nil {
			return fmt.Errorf("keep the calibration: %w", err)
		}
	}
	path, text := rig.CalibrationPath(a.folder(), k.c.Name), k.c.Encode()
	if _, err := rig.ParseCalibration(path, text); err != nil {
		return fmt.Errorf("the new calibration can not be read back and was not written: %w", err)
	}
	if err := record.ReplaceFile(path, text); err != nil {
		return fmt.Errorf("keep the calibration: %w", err)
	}
	fmt.Fprintf(a.out, "wrote %s\n", path)
	if k.o.use {
		return a.useInBench(k.j.Name, k.c.Name)
	}
	if k.j.Calibration != k.c.Name {
		fmt.Fprintf(a.out, "to correct runs by it: limbgauge calibrate use %s\n  or write below the name of joint %s in bench.toml: calibration = %q\n", k.c.Name, k.j.Name, k.c.Name)
	}
	return nil
}

// fileWord makes a joint's name fit for a file's name.
func fileWord(name string) string {
	return strings.Map(func(r rune) rune {
		if rig.CalibrationNameWrong("x"+string(r)) != "" {
			return '_'
		}
		return r
	}, name)
}

// useInBench writes a calibration's name into bench.toml, changing one line.
func (a *app) useInBench(joint, name string) error {
	b, err := a.loadBench()
	if err != nil {
		return err
	}
	data, err := os.ReadFile(b.Path)
	if err != nil {
		return fmt.Errorf("read bench file: %w", err)
	}
	text, err := rig.UseCalibration(b.Path, data, joint, name)
	if err != nil {
		return err
	}
	if err := record.ReplaceFile(b.Path, text); err != nil {
		return fmt.Errorf("write bench file: %w", err)
	}
	fmt.Fprintf(a.out, "joint %s in %s now names calibration %s\n", joint, b.Path, name)
	return nil
}

// say prints a step that was made, its points and what to know of it.
func (k *calibrating) say(key string, notes []string) {
	for _, s := range k.c.Steps() {
		if s.Key == key {
			say(k.app.out, "", stepTitle(key)+": "+stepWords(k.c, s))
			printPoints(k.app.out, k.c, key)
		}
	}
	for _, n := range notes {
		say(k.app.out, "  ", "Note: "+n)
	}
}

// ask prints a question and reads the answer; the end of input is an error.
func (k *calibrating) ask(ctx context.Context, question string) (string, error) {
	fmt.Fprint(k.app.out, question)
	line, err := k.app.readLine(ctx)
	if err != nil {
		return "", err
	}
	if ctx.Err() != nil {
		fmt.Fprintln(k.app.out)
		return "", errLeft
	}
	if !strings.HasSuffix(line, "\n") && line == "" {
		fmt.Fprintln(k.app.out)
		return "", errInputEnded
	}
	return strings.TrimSpace(line), nil
}

// errInputEnded says that nobody is there to answer.
var errInputEnded = kindError{err: errors.New("the input ended before the step did; nothing of it was written"), code: exitInput,
	hint: "answer at a terminal, or hand the points in with --points"}

// errLeft says that the user ended a step before it was done.
var errLeft = kindError{err: errors.New("left; nothing of this step was written"), code: exitStopped}

// knownModel refuses a --model that is none.
func knownModel(m string) error {
	return oneOfWords("model", m, string(rig.ModelZero), string(rig.ModelLine), string(rig.ModelCurve), string(rig.ModelWaves))
}
