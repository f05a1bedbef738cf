package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"path/filepath"

	"limbgauge/analyze/calibrate"
	"limbgauge/rig"
	"limbgauge/rig/record"
)

// torque makes the step torque.
func (k *calibrating) torque(ctx context.Context) error {
	made, err := k.made(k.j.Servo.Serial)
	if err != nil {
		return err
	}
	var points []rig.TorquePoint
	from := k.o.points
	switch {
	case k.o.points != "":
		if len(k.o.runs) > 0 || k.o.weights != "" {
			return usageError{errors.New("give --points, --run or --weights, only one of them")}
		}
		points, err = readWeights(k.o.points, k.j.Ratio(), k.c.Current)
	case len(k.o.runs) > 0:
		for _, id := range k.o.runs {
			r, err := k.app.calibrationRun(id)
			if err != nil {
				return err
			}
			from, made.Run = "run "+r.Dir, k.another(made.Run, r)
			p, err := k.weighed(r)
			if err != nil {
				return pointsError(from, err)
			}
			points = append(points, p...)
		}
	default:
		from = "the stand's readings"
		points, err = k.weigh(ctx, &made)
	}
	if err != nil {
		return pointsError(from, err)
	}
	currentU := 0.0
	if c := k.c.Current; c != nil && !math.IsNaN(c.ScaleU) {
		currentU = c.ScaleU
	}
	t, notes, err := calibrate.Torque(points, currentU)
	if err != nil {
		return pointsError(from, err)
	}
	if k.c.Current == nil {
		notes = append(notes, "The currents are as the sensor shows them: make the step current first if torque is to be read with another sensor.")
	}
	t.Made = made
	k.c.Torque = &t
	k.say("torque", notes)
	return nil
}

// weigh runs the joint under each weight.
func (k *calibrating) weigh(ctx context.Context, made *rig.Made) (points []rig.TorquePoint, err error) {
	if err := k.commanded(); err != nil {
		return nil, err
	}
	if k.o.weights == "" {
		return nil, usageError{errors.New("give --weights in kg and --lever in m, or --run or --points")}
	}
	masses, err := numbers("--weights", k.o.weights)
	if err != nil {
		return nil, err
	}
	if !(k.o.lever > 0 && k.o.lever < 2) {
		return nil, usageError{fmt.Errorf("--lever %g: give the distance of the weights from the joint's axis in m, as in 0.1", k.o.lever)}
	}
	if len(masses) < 2 {
		return nil, usageError{errors.New("--weights: give two at least, three tell the law of the current better")}
	}
	for _, m := range masses {
		if !(m > 0) {
			return nil, usageError{fmt.Errorf("--weights: %g kg is no weight", m)}
		}
		need := m * rig.Gravity * k.o.lever / k.j.Ratio()
		for _, r := range k.j.Servo.Rated {
			if need > weightMost*r.StallNm {
				return nil, usageError{fmt.Errorf("--weights: %g kg at %g m is %.2f N·m at the servo, more than %.0f %% of its stall torque of %g N·m; take less", m, k.o.lever, need, 100*weightMost, r.StallNm)}
			}
		}
	}
	for _, m := range masses {
		j := k.j
		load := rig.Load{MassKg: m, LeverM: k.o.lever + k.o.armKgM/m}
		if j.Load != nil {
			load.DownDeg = j.Load.DownDeg
		}
		j.Load = &load
		say(k.app.out, "", fmt.Sprintf("Servo supply off: hang %g kg at %g m on joint %s, nothing else, and tie it.", m, k.o.lever, j.Name))
		r, err := k.move(ctx, j, fmt.Sprintf("stops on both sides under %g kg, which swings with the arm: keep out from under it", m))
		if err != nil {
			return nil, err
		}
		p, err := k.weighed(r)
		if err != nil {
			return nil, err
		}
		points = append(points, p...)
		made.Run = k.another(made.Run, r)
	}
	return points, nil
}

func (k *calibrating) another(runs string, r *record.Run) string {
	if runs != "" {
		runs += ", "
	}
	return runs + filepath.ToSlash(k.relative(r.Dir))
}

// weighed takes the points of a run under its own load.
func (k *calibrating) weighed(r *record.Run) ([]rig.TorquePoint, error) {
	s, err := r.Raw(k.j.Name)
	if err != nil {
		return nil, err
	}
	return calibrate.TorqueFrom(s, setupOf(r, k.j), k.c)
}
