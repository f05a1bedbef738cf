package main

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
)

// print writes the report for people.
func (r *linkReport) print(w io.Writer) {
	row := func(name, format string, args ...any) {
		const indent = "         "
		p := pageOf(w)
		text := wrap(p.text(fmt.Sprintf(format, args...)), indent, p.width)
		fmt.Fprintf(w, "%-9s%s", name, text[len(indent):])
	}
	where := r.Port
	if r.Baud > 0 {
		where = fmt.Sprintf("%s at %d baud", r.Port, r.Baud)
	}
	row("port", "%s", where)
	if r.Firmware != "" {
		row("stand", "%s, protocol %s, answered after %.2f s", r.Firmware, r.Protocol, r.HelloAfterS)
		row("restart", "%s", r.Restart)
		row("state", "%s; nothing was armed here, nothing moved", or(r.State, "not known"))
		row("rate", "%g samples per second and joint; the stand can do %d", r.TakenHz, r.MaxHz)
	} else {
		row("stand", "of the text form: it says nothing of itself and can not be commanded")
	}
	switch c := r.Clock; {
	case c == nil:
	case c.PPM == nil:
		row("clock", "not known: %s", c.Reason)
	default:
		row("clock", "%+.0f ± %.0f ppm against this computer's", *c.PPM, *c.U95)
	}
	if l := r.Arrival; l != nil {
		row("arrival", "later than the quickest by %.1f ms typically, %.1f ms in 99 of 100, %.1f ms at most", l.Typical, l.P99, l.Most)
	}
	if b := r.BadFrames; b != nil {
		row("broken", "%d frames here, %d at the stand", b.here(), b.AtStand)
	}
	if r.BadLines > 0 {
		row("broken", "%d lines", r.BadLines)
	}
	r.printJoints(w)
	for i, n := range r.Notes {
		if i == 0 {
			fmt.Fprintln(w)
		}
		say(w, "", "- "+n)
	}
}

func or(s, otherwise string) string {
	if s == "" {
		return otherwise
	}
	return s
}

// printJoints writes the rhythm of each joint, then what its sensors show.
func (r *linkReport) printJoints(out io.Writer) {
	if r.Clock == nil || len(r.Joints) == 0 {
		return
	}
	fmt.Fprintln(out)
	var table strings.Builder
	w := tabwriter.NewWriter(&table, 0, 0, 2, ' ', tabwriter.AlignRight)
	pad := 0
	for _, j := range r.Joints {
		pad = max(pad, len([]rune(j.Name)), len("joint"))
	}
	left := func(s string, n int) string { return s + strings.Repeat(" ", max(0, n-len([]rune(s)))) }
	fmt.Fprintln(w, left("joint", pad)+"\tsamples\tper s\tinterval, ms\tsd\tleast\tmost\tlost\tlate\t")
	for _, j := range r.Joints {
		fmt.Fprintf(w, "%s\t%d\t%s\t", left(j.Name, pad), j.Samples, optional(j.PerS, "%.1f"))
		if s := j.IntervalMS; s != nil {
			fmt.Fprintf(w, "%.3f\t%.3f\t%.3f\t%.3f\t", s.Mean, s.SD, s.Least, s.Most)
		} else {
			fmt.Fprint(w, "-\t-\t-\t-\t")
		}
		lost := "?" // the stand does not number its samples
		if j.Lost != nil {
			lost = fmt.Sprint(*j.Lost)
		}
		fmt.Fprintf(w, "%s\t%d\t\n", lost, j.Late)
	}
	w.Flush()
	fmt.Fprintln(&table)
	w = tabwriter.NewWriter(&table, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, left("joint", pad)+"\t"+left("reading", titleWidth)+"\tmean\tleast\tmost\tnoise\tmissing\t")
	for _, j := range r.Joints {
		name := j.Name
		for _, c := range []struct {
			title string
			read  *linkRead
		}{{"angle, deg", j.Angle}, {"motor side, deg", j.Motor}, {"current, A", j.Current}, {"supply, V", j.Supply},
			{"torque, N·m", j.Torque}, {"temperature, °C", j.Temp}} {
			if v := c.read; v != nil {
				fmt.Fprintf(w, "%s\t%s\t%.3f\t%.3f\t%.3f\t%.3f\t%d\t\n", left(name, pad), left(c.title, titleWidth), v.Mean, v.Least, v.Most, v.Noise, v.Missing)
				name = ""
			}
		}
		if name != "" {
			fmt.Fprintf(w, "%s\t%s\t\t\t\t\t\t\n", left(name, pad), left("none", titleWidth))
		}
	}
	w.Flush()
	for l := range strings.Lines(table.String()) {
		fmt.Fprint(out, strings.TrimPrefix(l, "  ")) // that the first column has on its left
	}
}

// titleWidth is that of the longest name of a reading.
const titleWidth = len("temperature, °C") - 1 // of which one character takes two bytes

func optional(v *float64, format string) string {
	if v == nil {
		return "-"
	}
	return fmt.Sprintf(format, *v)
}
