package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"limbgauge/analyze/calibrate"
	"limbgauge/rig"
	"limbgauge/rig/record"
	"limbgauge/rig/session"
	"limbgauge/rig/virtual"
)

func (a *app) stillCommand(s stillStep) *cobra.Command {
	var o calibrateOptions
	cmd := &cobra.Command{
		Use: s.use + " joint", Short: s.short, Example: s.example,
		Long: s.long + "\n\nNothing is armed in this step. Cut the servos' supply before you reach in where the\nstep does not need it; a limp leg falls: hold it.",
		Args: usageArgs(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			k, err := a.begin(args[0], o)
			if err != nil {
				return err
			}
			step := s
			if o.motor {
				step = s.forMotor()
			}
			if err := k.still(cmd.Context(), step); err != nil {
				return err
			}
			return k.finish()
		},
	}
	o.fileFlags(cmd)
	o.standFlags(cmd)
	cmd.Flags().StringVar(&o.points, "points", "", fmt.Sprintf("take the points from this CSV file, columns %s and %s", s.reference, s.reading))
	cmd.Flags().StringArrayVar(&o.point, "point", nil, "a point, as reference=reading; may be repeated")
	at := list(s.at)
	if s.at == nil {
		at = "five over the joint's range"
	}
	cmd.Flags().StringVar(&o.at, "at", "", fmt.Sprintf("where to read, in %s; default: %s", s.unit, at))
	cmd.Flags().Float64Var(&o.within, "within", s.within, "the reference is right within so many "+s.unit)
	if s.only == "" {
		cmd.Flags().StringVar(&o.model, "model", "", "zero, line, curve or waves; default: what the points show")
	}
	if s.angle {
		cmd.Flags().BoolVar(&o.motor, "motor", false, "the motor-side sensor")
	}
	return cmd
}

func list(v []float64) string {
	var out []string
	for _, x := range v {
		out = append(out, strconv.FormatFloat(x, 'g', -1, 64))
	}
	return strings.Join(out, ",")
}

// still makes one step from a file, from the command line or from the stand.
func (k *calibrating) still(ctx context.Context, s stillStep) error {
	if err := knownModel(k.o.model); err != nil {
		return err
	}
	within := k.o.within
	if math.IsNaN(within) { // not asked
		within = s.within
	}
	if !(within >= 0) || math.IsInf(within, 0) {
		return usageError{fmt.Errorf("--within %g: give what the reference is right within, 0 or more", within)}
	}
	if s.key == "motor_angle" && k.j.Sensors.MotorCounts == 0 {
		return usageError{fmt.Errorf("joint %s has no motor-side sensor (motor_counts is 0 in bench.toml)", k.j.Name)}
	}
	made, err := k.made(k.j.Sensors.Serial)
	if err != nil {
		return err
	}
	var points []rig.CalibrationPoint
	from := "the command line"
	switch {
	case k.o.points != "" && len(k.o.point) > 0:
		return usageError{errors.New("give --points or --point, not both")}
	case k.o.points != "":
		points, err = readReferences(k.o.points, s)
		from = k.o.points
	case len(k.o.point) > 0:
		points, err = typedPoints(k.o.point)
	default:
		points, err = k.readStand(ctx, s)
		from = "the stand's readings"
		if err != nil && len(points) > 0 {
			return errors.Join(err, k.keepPoints(s, points))
		}
	}
	if err != nil {
		return err
	}
	opt := calibrate.Options{Unit: s.unit, Angle: s.angle, Within: within, Model: rig.Model(k.o.model)}
	if s.only != "" {
		opt.Model = s.only
	}
	c, notes, err := calibrate.Correct(points, opt)
	if err != nil {
		err = inputError(fmt.Errorf("%s: %w", from, err), "no calibration was written")
		if k.o.points == "" && len(k.o.point) == 0 {
			err = errors.Join(err, k.keepPoints(s, points))
		}
		return err
	}
	c.Made, c.Mount = made, rig.MountOf(s.key, k.j)
	*k.c.Correction(s.key) = &c
	k.say(s.key, notes)
	return nil
}

// keepPoints writes readings of the stand that made no calibration to a file of points: somebody
// held a jig for each of them.
func (k *calibrating) keepPoints(s stillStep, points []rig.CalibrationPoint) error {
	dir := filepath.Dir(rig.CalibrationPath(k.app.folder(), "x"))
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("keep the readings: %w", err)
	}
	text := fmt.Sprintf("%s,%s,sd_%s,samples\n", s.reference, s.reading, s.reading[strings.LastIndexByte(s.reading, '_')+1:])
	for _, p := range points {
		text += fmt.Sprintf("%g,%g,%g,%d\n", p.Reference, p.Reading, p.SD, p.N)
	}
	path := filepath.Join(dir, fmt.Sprintf("readings-%s-%s-%s.csv", k.app.now().Format("2006-01-02-150405"), fileWord(k.j.Name), s.key))
	if err := record.ReplaceFile(path, []byte(text)); err != nil {
		return fmt.Errorf("keep the readings: %w", err)
	}
	fmt.Fprintf(k.app.err, "limbgauge: the %d readings are kept in %s; mend it and go on with --points\n", len(points), path)
	return nil
}

// typedPoints reads points of the command line.
func typedPoints(texts []string) ([]rig.CalibrationPoint, error) {
	var out []rig.CalibrationPoint
	for _, t := range texts {
		ref, reading, ok := strings.Cut(t, "=")
		x, errX := strconv.ParseFloat(strings.TrimSpace(ref), 64)
		y, errY := strconv.ParseFloat(strings.TrimSpace(reading), 64)
		if !ok || errX != nil || errY != nil {
			return nil, usageError{fmt.Errorf("--point %q: give reference=reading, two numbers without a unit, as in --point 30=28.7", t)}
		}
		out = append(out, rig.CalibrationPoint{Reference: x, Reading: y})
	}
	return out, nil
}

func numbers(flag, text string) ([]float64, error) {
	var out []float64
	for _, t := range strings.Split(text, ",") {
		v, err := strconv.ParseFloat(strings.TrimSpace(t), 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, usageError{fmt.Errorf("%s %q: %q is no number; separate numbers with commas and write no unit", flag, text, t)}
		}
		out = append(out, v)
	}
	return out, nil
}

// readStand walks through the places and averages a reading at each. Readings made before an error are
// returned with it.
func (k *calibrating) readStand(ctx context.Context, s stillStep) (points []rig.CalibrationPoint, err error) {
	places, err := k.places(s)
	if err != nil {
		return nil, err
	}
	if k.o.span < 100*time.Millisecond {
		return nil, usageError{fmt.Errorf("--read %s: a reading takes 100ms at least", k.o.span)}
	}
	isVirtual := k.b.Stand.Port == rig.PortVirtual
	if k.o.yes && !isVirtual {
		return nil, usageError{errors.New("--yes is for the virtual stand, whose jig sets itself; on a real one a person holds the joint and answers")}
	}
	reach := k.o.lineOptions
	if isVirtual {
		reach.hand = &virtual.Hand{}
	}
	joints, at := []rig.Joint{k.j}, 0
	hz := k.b.Stand.SampleHz
	if k.b.Stand.Form == rig.FormText && !isVirtual {
		joints, hz = k.b.Joints, 0
		for joints[at].Name != k.j.Name {
			at++
		}
	}
	line, _, err := k.app.openLine(k.b, joints, reach)
	if err != nil {
		return nil, err
	}
	stand, err := session.OpenStill(ctx, line, joints, hz)
	if err != nil {
		return nil, err
	}
	defer stand.Close()
	out := k.app.out
	say(out, "", "Nothing is armed in this step. A limp leg falls: hold it, and cut the servos' supply before you reach in where the step does not need it.")
	for i := 0; i < len(places); {
		v, skip, err := k.place(ctx, s, places[i])
		if err != nil {
			return points, err
		}
		if skip {
			i++
			continue
		}
		if isVirtual {
			s.hold(reach.hand, v)
		}
		r, err := stand.Read(ctx, at, k.o.span)
		if err != nil {
			return points, err
		}
		m := s.of(r)
		switch {
		case m.N == 0:
			return nil, inputError(fmt.Errorf("the stand sends no such reading of joint %s", k.j.Name), "look at the sensor and at the sketch")
		case m.SD > s.sane:
			why := fmt.Errorf("at %g %s the reading scatters by %.2g %s: the joint moved while it was read", v, s.unit, m.SD, s.unit)
			if k.o.yes {
				return nil, inputError(why, "hold it still")
			}
			fmt.Fprintf(out, "  %v; once more\n", why)
			continue
		}
		fmt.Fprintf(out, "  %g %s: reads %.4g %s, scatter %.2g, %d samples\n", v, s.unit, m.Mean, s.unit, m.SD, m.N)
		points = append(points, rig.CalibrationPoint{Reference: v, Reading: calibrate.Round(m.Mean), SD: calibrate.Round(m.SD), N: m.N})
		i++
	}
	return points, nil
}

// place asks for one place and returns where the reference really is.
func (k *calibrating) place(ctx context.Context, s stillStep, v float64) (at float64, skip bool, err error) {
	if k.o.yes {
		return v, false, nil
	}
	for {
		answer, err := k.ask(ctx, fmt.Sprintf(s.prompt+", then Enter; or type what it really is; s skips: ", v))
		switch {
		case err != nil:
			return 0, false, err
		case answer == "":
			return v, false, nil
		case answer == "s":
			return 0, true, nil
		}
		if x, err := strconv.ParseFloat(answer, 64); err == nil && !math.IsNaN(x) && !math.IsInf(x, 0) {
			return x, false, nil
		}
		fmt.Fprintf(k.app.out, "  %q is no number; write it without a unit\n", answer)
	}
}
