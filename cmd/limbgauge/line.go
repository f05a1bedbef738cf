package main

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"limbgauge/rig"
	"limbgauge/rig/link/port"
	"limbgauge/rig/record"
	"limbgauge/rig/virtual"
)

// lineOptions say how to reach a stand.
type lineOptions struct {
	port   string
	faults []string // of the virtual stand, as the rest
	errors []string
	speed  float64
	seed   uint64
	hand   *virtual.Hand // what holds its joints; nil for nothing
	// bareServo takes belt and part off the virtual joints.
	bareServo bool
	// wear grows with age; draw, where it is not 0, seeds the sensors' noise, so that runs of one joint
	// differ as runs do.
	wear virtual.Faults
	age  virtual.Age
	draw uint64
}

// pace is how many times as fast as real the stand's time goes, 0 where nobody knows.
func (o lineOptions) pace(b *rig.Bench) float64 {
	if b.Stand.Port != rig.PortVirtual {
		return 1
	}
	return o.speed
}

// takes says how long something of the stand's takes at its pace.
func (o lineOptions) takes(b *rig.Bench, d time.Duration) string {
	switch pace := o.pace(b); pace {
	case 1:
		return clock(d)
	case 0:
		return clock(d) + " of its time"
	default:
		return fmt.Sprintf("%s (%s of its time)", clock(time.Duration(float64(d)/pace)), clock(d))
	}
}

// virtualFlags are those of the virtual stand.
func (o *lineOptions) virtualFlags(cmd *cobra.Command, speed float64) {
	cmd.Flags().StringArrayVar(&o.faults, "fault", nil, "virtual stand: a fault, as [joint:]cause[=size]; may be repeated")
	cmd.Flags().StringArrayVar(&o.errors, "error", nil, "virtual stand: an error that calibration finds, as [joint:]name=size; may be repeated")
	cmd.Flags().Float64Var(&o.speed, "speed", speed, "virtual stand: times real time, 0 for as fast as it goes")
	cmd.Flags().Uint64Var(&o.seed, "seed", 1, "virtual stand: which of many like joints")
}

// openLine opens the way to the stand the bench names, and says what it is.
func (a *app) openLine(b *rig.Bench, joints []rig.Joint, o lineOptions) (io.ReadWriteCloser, record.Stand, error) {
	if o.port != "" {
		b.Stand.Port = o.port
	}
	st := record.Stand{Port: "serial", Device: b.Stand.Port, SampleHz: b.Stand.SampleHz}
	if b.Stand.Port == rig.PortVirtual {
		truths, err := truthsOf(joints, o)
		if err != nil {
			return nil, st, err
		}
		st.Port, st.Device = "virtual", ""
		if o.bareServo {
			joints, truths = bareServos(joints, truths)
		}
		line, err := virtual.Pipe(virtual.Options{Joints: joints, Truths: truths, Speed: o.speed, Hand: o.hand})
		return line, st, err
	}
	if len(o.faults)+len(o.errors) > 0 {
		return nil, st, usageError{fmt.Errorf("--fault and --error are for the virtual stand; this bench uses port %q", b.Stand.Port)}
	}
	a.device = b.Stand.Port
	if a.open != nil {
		line, err := a.open(b.Stand.Port, b.Stand.Baud)
		return line, st, err
	}
	line, err := port.Open(b.Stand.Port, b.Stand.Baud)
	return line, st, err
}

// bareServos takes belt and part off joints.
func bareServos(joints []rig.Joint, truths []virtual.Truth) (bj []rig.Joint, bt []virtual.Truth) {
	for i, j := range joints {
		bj, bt = append(bj, j.BareServo()), append(bt, truths[i].BareServo())
	}
	return bj, bt
}

// truthsOf makes the virtual joints, with the faults asked for as joint:cause=size and the errors as
// joint:name=size.
func truthsOf(joints []rig.Joint, o lineOptions) ([]virtual.Truth, error) {
	var out []virtual.Truth
	for i, j := range joints {
		out = append(out, virtual.Healthy(j, o.seed+uint64(i)))
	}
	for _, e := range o.errors {
		where, name, size, given := parseFault(e)
		v, err := strconv.ParseFloat(size, 64)
		if err != nil || !given {
			return nil, usageError{fmt.Errorf("--error %q: give a size, as in joint_zero_deg=2.5", e)}
		}
		if err := put(joints, out, where, "--error "+e, func(t virtual.Truth) (virtual.Truth, error) { return virtual.WithMisreading(t, name, v) }); err != nil {
			return nil, err
		}
	}
	for _, f := range o.faults {
		where, cause, size, given := parseFault(f)
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
		if err := put(joints, out, where, "--fault "+f, func(t virtual.Truth) (virtual.Truth, error) { return virtual.WithFault(t, cause, v) }); err != nil {
			return nil, err
		}
	}
	for i := range out {
		var err error
		if out[i], err = o.wear.After(out[i], o.age); err != nil {
			return nil, usageError{err}
		}
		if o.draw != 0 {
			out[i].Seed = o.draw + uint64(i)
		}
	}
	return out, nil
}

// parseWear reads what a part of the virtual stand loses with use, as cause=SIZE,PER_CYCLE.
func parseWear(text string) (virtual.Fault, error) {
	_, cause, size, given := parseFault(text)
	first, rate, two := strings.Cut(size, ",")
	f := virtual.Fault{Cause: cause}
	if _, err := virtual.CauseByName(cause); err != nil {
		return f, usageError{err}
	}
	var err, err2 error
	f.Size, err = strconv.ParseFloat(first, 64)
	f.PerCycle, err2 = strconv.ParseFloat(rate, 64)
	if !given || !two || err != nil || err2 != nil {
		return f, usageError{fmt.Errorf("--wear %q: give the size at first and its change per cycle, as in belt_tension_low=40,-0.002", text)}
	}
	return f, nil
}

// parseFault takes [joint:]name[=size] apart.
func parseFault(text string) (joint, name, size string, given bool) {
	joint, name, ok := strings.Cut(text, ":")
	if !ok {
		joint, name = "", text
	}
	name, size, given = strings.Cut(name, "=")
	return joint, name, size, given
}

// put changes the truth of the joint named, of all that can have the change when none is.
func put(joints []rig.Joint, truths []virtual.Truth, where, what string, change func(virtual.Truth) (virtual.Truth, error)) error {
	if where != "" && !slices.Contains(namesOf(joints), where) {
		return usageError{fmt.Errorf("%s: %w", what, &rig.NameError{What: "joint", Name: where, Where: "in this run", Known: namesOf(joints)})}
	}
	done := false
	for i, j := range joints {
		if where != "" && where != j.Name {
			continue
		}
		t, err := change(truths[i])
		if err != nil {
			if where == "" && j.Belt == nil && len(joints) > 1 {
				continue // a fault for every joint that can have it
			}
			return usageError{err}
		}
		truths[i], done = t, true
	}
	if !done {
		return usageError{fmt.Errorf("%s: none of the joints %s can have it", what, jointNames(joints))}
	}
	return nil
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

// errorHelp lists the errors of the virtual stand that a calibration finds.
func errorHelp() string {
	var b strings.Builder
	b.WriteString("Errors of the virtual stand that a calibration finds, as [joint:]name=size:\n")
	for _, m := range virtual.Misreadings() {
		fmt.Fprintf(&b, "  %-18s %s\n", m.Name, m.Meaning)
	}
	return b.String()
}
