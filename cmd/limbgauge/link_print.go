package main

import (
	"fmt"
	"io"
	"slices"
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
	figures := func(titles ...string) (columns []column) {
		for _, t := range titles {
			columns = append(columns, column{title: t, right: true})
		}
		return columns
	}
	rhythm := sheet{columns: append([]column{{title: "joint", least: 8}}, figures("samples", "per s", "interval, ms", "sd", "least", "most", "lost", "late")...)}
	shows := sheet{columns: append([]column{{title: "joint", least: 8}, {title: "reading"}}, figures("mean", "least", "most", "noise", "missing")...)}
	for _, j := range r.Joints {
		interval := []string{"-", "-", "-", "-"}
		if s := j.IntervalMS; s != nil {
			for i, v := range []float64{s.Mean, s.SD, s.Least, s.Most} {
				interval[i] = fmt.Sprintf("%.3f", v)
			}
		}
		lost := "?" // the stand does not number its samples
		if j.Lost != nil {
			lost = fmt.Sprint(*j.Lost)
		}
		rhythm.add(slices.Concat([]string{j.Name, fmt.Sprint(j.Samples), optional(j.PerS, "%.1f")}, interval, []string{lost, fmt.Sprint(j.Late)})...)
		name := j.Name
		for _, c := range []struct {
			title string
			read  *linkRead
		}{{"angle, deg", j.Angle}, {"motor side, deg", j.Motor}, {"current, A", j.Current}, {"supply, V", j.Supply},
			{"torque, N·m", j.Torque}, {"temperature, °C", j.Temp}} {
			if v := c.read; v != nil {
				row := []string{name, c.title}
				for _, f := range []float64{v.Mean, v.Least, v.Most, v.Noise} {
					row = append(row, fmt.Sprintf("%.3f", f))
				}
				shows.add(append(row, fmt.Sprint(v.Missing))...)
				name = ""
			}
		}
		if name != "" {
			shows.add(name, "none", "", "", "", "", "")
		}
	}
	fmt.Fprintln(out)
	rhythm.print(out)
	fmt.Fprintln(out)
	shows.print(out)
}

func optional(v *float64, format string) string {
	if v == nil {
		return "-"
	}
	return fmt.Sprintf(format, *v)
}
