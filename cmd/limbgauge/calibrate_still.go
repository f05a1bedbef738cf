package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"limbgauge/analyze/calibrate"
	"limbgauge/rig"
	"limbgauge/rig/session"
	"limbgauge/rig/virtual"
)

// stillStep is a step that compares readings of a limp joint with a reference.
type stillStep struct {
	use, short, long, example string
	key                       string // of the file
	unit                      string // as printed
	at                        []float64
	within                    float64 // what the reference is taken to be right within
	only                      rig.Model
	angle                     bool
	sane                      float64 // scatter of a reading beyond which something moved
	reference, reading        string  // columns of a file of points
	prompt                    string  // with the value
	of                        func(session.Reading) session.Average
	hold                      func(h *virtual.Hand, v float64)
}

// jigWithin and meterShare are what a printed jig and a common multimeter are right within
// [common practice]; the builder who knows better says so.
const (
	jigWithinDeg = 0.1
	meterWithinA = 0.01
	meterWithinV = 0.02
)

func stillSteps() []stillStep {
	jig := func(h *virtual.Hand, v float64) { h.Jig(0, v) }
	angle := func(r session.Reading) session.Average { return r.Angle }
	return []stillStep{
		{use: "angle", short: "zero and scale of the angle sensor against a jig", key: "joint_angle", unit: "deg",
			at: []float64{-60, -30, 0, 30, 60}, within: jigWithinDeg, angle: true, sane: 0.5, reference: "jig_deg", reading: "reading_deg",
			prompt: "Set the joint into the jig at %g deg", of: angle, hold: jig,
			long: `Hold the joint in a jig at known angles, servo limp, and fit zero and scale. Two angles
give a line and nothing to check it by; three or more show how well a line holds; from
six on a curve is taken where the points show one.`,
			example: `  limbgauge calibrate angle knee --at -60,-30,0,30,60 --within 0.1
  limbgauge calibrate angle knee --motor --points jig.csv
  limbgauge calibrate angle knee --point -30=-28.1 --point 0=2.0 --point 30=32.2`},
		{use: "form", short: "waves per turn of an angle sensor (off-centre magnet)", key: "joint_angle", unit: "deg",
			at: []float64{-165, -135, -105, -75, -45, -15, 15, 45, 75, 105, 135, 165}, within: jigWithinDeg, angle: true, sane: 0.5, only: rig.ModelWaves,
			reference: "jig_deg", reading: "reading_deg", prompt: "Set the sensor to %g deg", of: angle, hold: jig,
			long: `Turn the sensor through most of a turn, off the joint if need be, and fit the one and two
waves per turn of an off-centre magnet. Below 270 deg waves cannot be told from scale,
and the step is refused: "angle" then gives a line or a curve for the range there is.`,
			example: "  limbgauge calibrate form knee --points turn.csv"},
		{use: "current", short: "zero and gain of the current sensor", key: "current", unit: "A",
			at: []float64{0, 0.5, 1}, within: meterWithinA, sane: math.Inf(1), reference: "meter_a", reading: "reading_a",
			prompt: "Unplug the servo and let %g A flow in its place, as a meter shows", of: func(r session.Reading) session.Average { return r.Current },
			hold: func(h *virtual.Hand, v float64) { h.Draw(0, v) },
			long: `Compare the current sensor with a meter: 0 A with the servo unplugged gives the zero, a
resistor in its place (watch its power) the gain. In a file of points, resistor_ohm
and supply_v may stand for meter_a. The zero alone: --at 0 --model zero.`,
			example: "  limbgauge calibrate current knee --point 0=0.004 --point 1.02=1.061"},
		{use: "supply", short: "zero and gain of the voltage", key: "supply", unit: "V",
			at: []float64{5, 6, 7}, within: meterWithinV, sane: math.Inf(1), reference: "meter_v", reading: "reading_v",
			prompt: "Set the supply to %g V, as a meter at the servo's plug shows", of: func(r session.Reading) session.Average { return r.Supply },
			hold: func(h *virtual.Hand, v float64) {
				h.Draw(0, 0)
				h.Supply(v)
			},
			long:    "Compare the voltage the stand reads with a meter at the servo's plug, servo unplugged.",
			example: "  limbgauge calibrate supply knee --point 5.01=4.93 --point 7.22=7.11"},
	}
}

// forMotor turns a step of the joint's angle sensor into one of the motor side's.
func (s stillStep) forMotor() stillStep {
	s.key, s.of = "motor_angle", func(r session.Reading) session.Average { return r.Motor }
	return s
}

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
	cmd.Flags().StringVar(&o.at, "at", "", fmt.Sprintf("where to read, in %s; default: %s", s.unit, list(s.at)))
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
		return inputError(fmt.Errorf("%s: %w", from, err), "nothing was written; the points stand as they were given")
	}
	c.Made = made
	*k.c.Correction(s.key) = &c
	k.say(s.key, notes)
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

// places reads --at.
func (k *calibrating) places(s stillStep) ([]float64, error) {
	if k.o.at == "" {
		return s.at, nil
	}
	return numbers("--at", k.o.at)
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

// readStand walks through the places and averages a reading at each.
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
	line, _, err := openLine(k.b, joints, reach)
	if err != nil {
		return nil, err
	}
	stand, err := session.OpenStill(ctx, line, joints, hz)
	if err != nil {
		return nil, err
	}
	defer stand.Close()
	out := k.app.out
	fmt.Fprint(out, wrap("Nothing is armed in this step. A limp leg falls: hold it, and cut the servos' supply before you reach in where the step does not need it.", "", pageWidth))
	for i := 0; i < len(places); {
		v, skip, err := k.place(ctx, s, places[i])
		if err != nil {
			return nil, err
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
			return nil, err
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
