package main

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"limbgauge/rig"
	"limbgauge/rig/virtual"
)

func (a *app) standCommand() *cobra.Command {
	var o lineOptions
	link, form, routine := "", rig.FormFrames, "quick"
	cmd := &cobra.Command{
		Use:   "stand",
		Short: "run the virtual stand on a port that any serial program can open",
		Long: `Run the stand made of physics on a pseudo-terminal, with every joint of bench.toml.
Give the path it prints to "limbgauge sweep --port" in a second terminal. It speaks
the same bytes as a real stand and runs until Ctrl-C.

It is there to learn and to try things with; what it shows proves nothing about a
real leg.

` + faultHelp() + "\n" + errorHelp(),
		Example: `  limbgauge stand --link ./stand --fault knee:belt_slack=0.8
  limbgauge sweep knee --port ./stand --yes --hands-clear`,
		Args: usageArgs(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return a.stand(cmd.Context(), o, link, form, routine)
		},
	}
	cmd.Flags().StringVar(&link, "link", "", "keep a symbolic link to the port at this path")
	o.virtualFlags(cmd, 1)
	cmd.Flags().StringVar(&form, "form", rig.FormFrames, `"frames", or "text" for a stand that only prints lines and moves by itself`)
	cmd.Flags().StringVar(&routine, "routine", "quick", "what a text stand does by itself")
	return cmd
}

func (a *app) stand(ctx context.Context, o lineOptions, link, form, routine string) error {
	b, err := a.loadBench()
	if err != nil {
		return err
	}
	truths, err := truthsOf(b.Joints, o)
	if err != nil {
		return err
	}
	opt := virtual.Options{Joints: b.Joints, Truths: truths, Speed: o.speed, Form: form, SampleHz: b.Stand.SampleHz}
	if form == rig.FormText {
		for _, j := range b.Joints {
			r, err := rig.BuiltinRoutine(routine, j)
			if err != nil {
				return usageError{err}
			}
			opt.Routines = append(opt.Routines, r)
		}
	}
	s, err := virtual.New(opt)
	if err != nil {
		return usageError{err}
	}
	err = s.ServePTY(ctx, virtual.PTY{Link: link, Ready: func(path string) {
		fmt.Fprintf(a.out, "virtual stand of leg %s with joints %s at %s\n", b.Leg.Name, jointNames(b.Joints), path)
		if form == rig.FormText {
			fmt.Fprintf(a.out, "it prints lines and moves by itself: limbgauge listen %s --port %s\n", b.Joints[0].Name, path)
		} else {
			fmt.Fprintf(a.out, "in a second terminal: limbgauge sweep %s --port %s\n", b.Joints[len(b.Joints)-1].Name, path)
		}
		fmt.Fprintln(a.out, "Ctrl-C ends it")
	}})
	if ctx.Err() != nil && errors.Is(err, ctx.Err()) {
		return nil // that is how it is meant to end
	}
	return err
}
