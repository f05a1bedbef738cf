package main

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"limbgauge/rig"
	"limbgauge/rig/link/port"
	"limbgauge/rig/record"
	"limbgauge/rig/virtual"
)

// lineOptions say how to reach a stand.
type lineOptions struct {
	port   string
	faults []string // of the virtual stand
	speed  float64  // of the virtual stand
	seed   uint64
}

// openLine opens the way to the stand the bench names, and says what it is.
func openLine(b *rig.Bench, joints []rig.Joint, o lineOptions) (io.ReadWriteCloser, record.Stand, error) {
	if o.port != "" {
		b.Stand.Port = o.port
	}
	st := record.Stand{Port: "serial", Device: b.Stand.Port, SampleHz: b.Stand.SampleHz}
	if b.Stand.Port == rig.PortVirtual {
		truths, err := truthsOf(joints, o.faults, o.seed)
		if err != nil {
			return nil, st, err
		}
		st.Port, st.Device = "virtual", ""
		line, err := virtual.Pipe(virtual.Options{Joints: joints, Truths: truths, Speed: o.speed})
		return line, st, err
	}
	if len(o.faults) > 0 {
		return nil, st, usageError{fmt.Errorf("--fault is for the virtual stand; this bench uses port %q", b.Stand.Port)}
	}
	line, err := port.Open(b.Stand.Port, b.Stand.Baud)
	return line, st, err
}

// truthsOf makes the virtual joints, with the faults asked for as joint:cause=size.
func truthsOf(joints []rig.Joint, faults []string, seed uint64) ([]virtual.Truth, error) {
	var out []virtual.Truth
	for i, j := range joints {
		out = append(out, virtual.Healthy(j, seed+uint64(i)))
	}
	for _, f := range faults {
		where, cause, ok := strings.Cut(f, ":")
		if !ok {
			where, cause = "", f
		}
		cause, size, given := strings.Cut(cause, "=")
		c, err := virtual.CauseByName(cause)
		if err != nil {
			return nil, usageError{err}
		}
		v := c.Typical
		if given {
			if v, err = strconv.ParseFloat(size, 64); err != nil {
				return nil, usageError{fmt.Errorf("--fault %q: the size %q is no number (it is %s in %s)", f, size, c.Meaning, c.Unit)}
			}
		}
		put := false
		for i, j := range joints {
			if where != "" && where != j.Name {
				continue
			}
			t, err := virtual.WithFault(out[i], cause, v)
			if err != nil {
				if where == "" && j.Belt == nil && len(joints) > 1 {
					continue // a fault for every joint that can have it
				}
				return nil, usageError{err}
			}
			out[i], put = t, true
		}
		if !put {
			return nil, usageError{fmt.Errorf("--fault %q: none of the joints %s can have it", f, jointNames(joints))}
		}
	}
	return out, nil
}

// faultHelp lists the faults of the virtual stand for a command's help.
func faultHelp() string {
	var b strings.Builder
	b.WriteString("Faults of the virtual stand, as [joint:]cause[=size]:\n")
	for _, c := range virtual.Causes() {
		unit := c.Unit
		if unit == "1" {
			unit = ""
		}
		fmt.Fprintf(&b, "  %-18s %5g %-8s %s\n", c.Name, c.Typical, unit, c.Meaning)
	}
	return b.String()
}
