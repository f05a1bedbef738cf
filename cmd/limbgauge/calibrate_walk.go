package main

import (
	"context"
	"errors"
	"fmt"
	"math"

	"limbgauge/rig"
)

// calibrateAll offers every step in turn and keeps what was made.
func (a *app) calibrateAll(ctx context.Context, joint string, o calibrateOptions) error {
	if o.serial != "" {
		return usageError{errors.New("--serial goes with one step; for all of them state the serials of sensors and servo in bench.toml")}
	}
	o.within = math.NaN() // each step has its own
	k, err := a.begin(joint, o)
	if err != nil {
		return err
	}
	type step struct {
		title string
		do    func(context.Context) error
	}
	var steps []step
	for _, s := range stillSteps() {
		if s.only == rig.ModelWaves { // a sensor taken off its joint is no part of the walk
			continue
		}
		steps = append(steps, step{s.use + ": " + s.short, func(ctx context.Context) error { return k.still(ctx, s) }})
		if s.use == "angle" && k.j.Sensors.MotorCounts > 0 {
			m := s.forMotor()
			steps = append(steps, step{"angle --motor: " + m.short + ", motor side", func(ctx context.Context) error { return k.still(ctx, m) }})
		}
	}
	steps = append(steps, step{"pulse: " + pulseShort, k.pulse})
	if o.weights != "" {
		steps = append(steps, step{"torque: " + torqueShort, k.torque})
	}
	done := 0
	for _, s := range steps {
		fmt.Fprintf(a.out, "\n%s\n", s.title)
		if !o.yes {
			answer, err := k.ask(ctx, "Enter does it, s skips it, q ends: ")
			if err != nil || answer == "q" {
				break
			}
			if answer == "s" {
				continue
			}
		}
		if err := s.do(ctx); err != nil {
			// What was made before stands; the step that failed is said and can be made alone.
			if o.yes || ctx.Err() != nil {
				if done > 0 {
					return errors.Join(err, k.finish())
				}
				return err
			}
			printError(a.err, err)
			continue
		}
		done++
	}
	if done == 0 {
		return inputError(errors.New("no step was made, nothing was written"), `"limbgauge help calibrate" lists the steps; each is a command of its own`)
	}
	if o.weights == "" {
		fmt.Fprintln(a.out, "torque was left out: it needs --weights and --lever")
	}
	return k.finish()
}
