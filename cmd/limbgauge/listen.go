package main

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"limbgauge/rig"
	"limbgauge/rig/link/port"
	"limbgauge/rig/record"
	"limbgauge/rig/session"
)

type listenOptions struct {
	runOptions
	port string
	span time.Duration
	json bool
	gate bool
}

func (a *app) listenCommand() *cobra.Command {
	var o listenOptions
	cmd := &cobra.Command{
		Use:   "listen joint...",
		Short: "record a stand that only prints its samples as lines",
		Long: `Record a stand of the text form: one line of line protocol per sample, as a
hand-written sketch prints it (firmware-protocol/SPEC.md, section on the text form).
Nothing is commanded: what moves the joint is the sketch's own affair, so keep
clear of the leg. Ctrl-C ends the recording and judges it.`,
		Example: `  limbgauge listen knee --port /dev/ttyUSB0 --for 60s`,
		Args:    usageArgs(cobra.MinimumNArgs(1)),
		RunE:    func(cmd *cobra.Command, args []string) error { return a.listen(cmd.Context(), args, o) },
	}
	o.flags(cmd)
	cmd.Flags().StringVar(&o.port, "port", "", "serial port instead of the one in bench.toml")
	cmd.Flags().DurationVar(&o.span, "for", 0, "how long, such as 90s or 3m; default: until Ctrl-C")
	cmd.Flags().BoolVar(&o.json, "json", false, "print the answer as one JSON object")
	cmd.Flags().BoolVar(&o.gate, "gate", false, "exit with 6 when a joint has a fault")
	return cmd
}

func (a *app) listen(ctx context.Context, names []string, o listenOptions) error {
	b, err := a.loadBench()
	if err != nil {
		return err
	}
	if o.port != "" {
		b.Stand.Port = o.port
	}
	if b.Stand.Port == rig.PortVirtual {
		return usageError{fmt.Errorf(`there is no port to listen to: give --port, or try "limbgauge stand --form text"`)}
	}
	cfg := session.ListenConfig{For: o.span, Bench: a.folder()}
	for _, n := range names {
		j, err := jointOf(b, n)
		if err != nil {
			return err
		}
		if o.bare {
			j = j.BareServo()
		}
		cfg.Joints = append(cfg.Joints, j)
	}
	for _, j := range b.Joints {
		if !slices.Contains(names, j.Name) {
			cfg.Others = append(cfg.Others, j)
		}
	}
	constants, err := calibrationsOf(b, cfg.Joints)
	if err != nil {
		return err
	}
	a.device = b.Stand.Port
	if err := port.There(b.Stand.Port); err != nil {
		return err
	}
	a.cautions()
	say(a.err, "", "Nothing is commanded from here: the stand may move the joint by itself at any moment.")
	if cfg.Line, err = port.Open(b.Stand.Port, b.Stand.Baud); err != nil {
		return err
	}
	if cfg.Info, err = a.info(ctx, b, o.runOptions, "listen"); err != nil {
		cfg.Line.Close()
		return err
	}
	cfg.Info.Stand, cfg.Info.Calibrations = record.Stand{Port: "text", Device: b.Stand.Port}, constants
	res, err := a.watch(1, func(live *session.Live) (session.Result, error) {
		cfg.Live = live
		return session.Listen(ctx, cfg)
	})
	return a.afterSweep(ctx, res, err, sweepOptions{json: o.json, gate: o.gate})
}
