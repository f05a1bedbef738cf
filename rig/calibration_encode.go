package rig

import (
	"fmt"
	"math"
	"strings"
	"time"
)

const calibrationHead = `# A calibration: raw points and what was fitted to them. It is written once; better constants get a
# file of their own. true = reading + zero + scale*(reading - at) + ...; "u" is a standard uncertainty.
`

// Encode returns the text of a calibration file, which ParseCalibration reads back. Times are kept to
// the second.
func (c *Calibration) Encode() []byte {
	var b strings.Builder
	b.WriteString(calibrationHead)
	encode(&b, calibrationFields(c), "\n")
	for _, s := range correctionSteps() {
		if x := *s.of(c); x != nil {
			fmt.Fprintf(&b, "\n[%s]\n", s.key)
			encode(&b, correctionFields(s, x), "\n")
			encodePoints(&b, len(x.Points), func(i int) []field { return correctionPointFields(s, &x.Points[i]) })
		}
	}
	if p := c.Pulse; p != nil {
		b.WriteString("\n[pulse]\n")
		encode(&b, pulseFields(p), "\n")
		encodePoints(&b, len(p.Points), func(i int) []field { return pulsePointFields(&p.Points[i]) })
	}
	if t := c.Torque; t != nil {
		b.WriteString("\n[torque]\n")
		encode(&b, torqueFields(t), "\n")
		encodePoints(&b, len(t.Points), func(i int) []field { return torquePointFields(&t.Points[i]) })
	}
	return []byte(b.String())
}

func encodePoints(b *strings.Builder, n int, fields func(i int) []field) {
	b.WriteString("points = [\n")
	for i := range n {
		b.WriteString("  { ")
		encode(b, fields(i), ", ")
		b.WriteString(" },\n")
	}
	b.WriteString("]\n")
}

// encode writes key = value for each field; what may be missing and says nothing is left out.
func encode(b *strings.Builder, fields []field, end string) {
	first := true
	for _, f := range fields {
		text, empty := literal(f)
		if empty && !f.must {
			continue
		}
		if end != "\n" && !first {
			b.WriteString(end)
		}
		first = false
		b.WriteString(f.key + " = " + text)
		if end == "\n" {
			b.WriteString(end)
		}
	}
}

// literal returns a field's value as TOML, and whether it is one that a missing key stands for.
func literal(f field) (text string, empty bool) {
	switch v := f.into.(type) {
	case *string:
		return quoteTOML(*v), *v == ""
	case *bool:
		return fmt.Sprint(*v), !*v
	case *int:
		return number(float64(*v)), *v == 0
	case *float64:
		if math.IsNaN(*v) || math.IsInf(*v, 0) {
			return "0.0", true
		}
		s := fmt.Sprint(*v)
		if !strings.ContainsAny(s, ".e") {
			s += ".0"
		}
		return s, *v == 0 && !f.zero
	case *time.Time:
		return v.Format(time.RFC3339), false
	}
	panic(fmt.Sprintf("rig: no writer for %T", f.into))
}

// quoteTOML writes a basic string.
func quoteTOML(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r < 0x20 || r == 0x7f || r == '\uFFFD':
			fmt.Fprintf(&b, "\\u%04X", r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}
