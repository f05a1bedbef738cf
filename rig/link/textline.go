package link

import (
	"bytes"
	"fmt"
	"math"
	"strconv"

	"github.com/influxdata/line-protocol/v2/lineprotocol"

	"limbgauge/rig"
)

// LineFault says why a line of the text form was skipped.
type LineFault string

// The reasons, as SPEC.md names them.
const (
	LineTooLong LineFault = "too_long"
	LineSyntax  LineFault = "syntax"
	LineMissing LineFault = "missing"
	LineJoint   LineFault = "unknown_joint"
	LineValue   LineFault = "value"
	LineOrder   LineFault = "order"
)

const (
	lineMost  = 512       // bytes of a line, LF included
	valueMost = 2_000_000 // mdeg, mA, ... of a value
)

// lineError is a fault with its particulars.
type lineError struct {
	fault  LineFault
	joint  int // index, -1 when not known
	detail string
}

func (e *lineError) Error() string { return string(e.fault) + ": " + e.detail }

// textLine is what one line holds.
type textLine struct {
	joint int // index; -1 when the line is no sample
	seq   int // -1: not given
	row   rig.Row
	log   string // of a line of measurement log
}

// column says where a numeric field goes and how many of the column's unit make one of the field's.
type column struct {
	unit float64
	at   func(*rig.Row) *int32
}

var columns = map[string]column{
	"command_deg": {1000, func(r *rig.Row) *int32 { return &r.Command }},
	"joint_deg":   {1000, func(r *rig.Row) *int32 { return &r.Angle }},
	"motor_deg":   {1000, func(r *rig.Row) *int32 { return &r.Motor }},
	"current_a":   {1000, func(r *rig.Row) *int32 { return &r.Current }},
	"supply_v":    {1000, func(r *rig.Row) *int32 { return &r.Supply }},
	"torque_nm":   {1000, func(r *rig.Row) *int32 { return &r.Torque }},
	"temp_c":      {100, func(r *rig.Row) *int32 { return &r.Temp }},
}

// parseLine reads one line without its end. The time in the row is as written, not unwrapped.
func parseLine(line []byte, joints []rig.Joint) (textLine, *lineError) {
	const m = rig.Missing
	out := textLine{joint: -1, seq: -1, row: rig.Row{Command: m, Angle: m, Motor: m, Current: m, Supply: m, Torque: m, Temp: m}}
	if len(line) >= lineMost {
		return out, &lineError{LineTooLong, -1, fmt.Sprintf("more than %d bytes", lineMost)}
	}
	line = bytes.TrimSuffix(line, []byte("\r"))
	if len(line) == 0 || line[0] == '#' {
		return out, nil
	}
	syntax := func(err error) (textLine, *lineError) { return out, &lineError{LineSyntax, out.joint, err.Error()} }
	dec := lineprotocol.NewDecoderWithBytes(line)
	if !dec.Next() {
		return out, nil
	}
	name, err := dec.Measurement()
	if err != nil {
		return syntax(err)
	}
	isSample, isLog := string(name) == "sample", string(name) == "log"
	for {
		key, value, err := dec.NextTag()
		if err != nil {
			return syntax(err)
		}
		if key == nil {
			break
		}
		if isSample && string(key) == "joint" {
			if out.joint = indexOf(joints, string(value)); out.joint < 0 {
				return out, &lineError{LineJoint, -1, fmt.Sprintf("the bench has no joint %q", value)}
			}
		}
	}
	for {
		key, value, err := dec.NextField()
		if err != nil {
			return syntax(err)
		}
		if key == nil {
			break
		}
		if isLog && string(key) == "text" && value.Kind() == lineprotocol.String {
			out.log = printableASCII(value.StringV(), 200)
		}
		if isSample {
			if detail := out.set(string(key), value); detail != "" {
				return out, &lineError{LineValue, out.joint, detail}
			}
		}
	}
	at, err := dec.TimeBytes()
	if err != nil {
		return syntax(err)
	}
	if !isSample {
		return out, nil
	}
	switch {
	case out.joint < 0:
		return out, &lineError{LineMissing, -1, "tag joint"}
	case out.row.Command == m:
		return out, &lineError{LineMissing, out.joint, "field command_deg"}
	case out.row.Angle == m:
		return out, &lineError{LineMissing, out.joint, "field joint_deg"}
	case len(at) == 0:
		return out, &lineError{LineMissing, out.joint, "time"}
	}
	if out.row.TimeUS, err = strconv.ParseInt(string(at), 10, 64); err != nil || out.row.TimeUS < 0 {
		return out, &lineError{LineValue, out.joint, fmt.Sprintf("time %s", at)}
	}
	return out, nil
}

// set takes one field of a sample; it returns what is wrong with it, "" for nothing.
func (l *textLine) set(key string, v lineprotocol.Value) string {
	if key == "move" {
		if v.Kind() != lineprotocol.String {
			return "move is not a string"
		}
		k, err := rig.ParseMoveKind(v.StringV())
		if err != nil {
			return err.Error()
		}
		l.row.Move = k
		return ""
	}
	col, isColumn := columns[key]
	if !isColumn && key != "seq" && key != "segment" {
		return ""
	}
	var x float64
	switch v.Kind() {
	case lineprotocol.Float:
		x = v.FloatV()
	case lineprotocol.Int:
		x = float64(v.IntV())
	case lineprotocol.Uint:
		x = float64(v.UintV())
	default:
		return key + " is not a number"
	}
	if isColumn {
		x = math.Round(x * col.unit)
		if math.Abs(x) > valueMost {
			return fmt.Sprintf("%s is beyond %g", key, valueMost/col.unit)
		}
		*col.at(&l.row) = int32(x)
		return ""
	}
	if x != math.Trunc(x) || x < 0 || x > math.MaxUint16 {
		return fmt.Sprintf("%s %g is no whole number from 0 to 65535", key, x)
	}
	if key == "seq" {
		l.seq = int(x)
	} else {
		l.row.Segment = uint16(x)
	}
	return ""
}

func indexOf(joints []rig.Joint, name string) int {
	for i, j := range joints {
		if j.Name == name {
			return i
		}
	}
	return -1
}

// printableASCII makes text from a stand safe to show on a terminal, cut to most bytes.
func printableASCII(s string, most int) string {
	b := []byte(s[:min(len(s), most)])
	for i, c := range b {
		if c < 0x20 || c > 0x7E {
			b[i] = '?'
		}
	}
	return string(b)
}
