package record

import (
	"fmt"
	"strconv"
	"time"

	"github.com/influxdata/line-protocol/v2/lineprotocol"

	"limbgauge/rig"
)

// A sample is one line of line protocol:
//
//	sample,joint=knee,move=stair segment=12i,command_mdeg=-60030i,joint_mdeg=-59810i,... 12704016000
//
// The timestamp is device time in nanoseconds, so that it is exact and in the unit every reader
// takes for granted; it counts from the stand's power-up, not from 1970. A field that was not
// measured is left out, as is the tag of a sample outside any move. segment is always there.
const measurement = "sample"

// column is one measured column with its name on disk.
type column struct {
	rig.Column
	name string
}

// columns lists the measured columns in the order they stand in a line and in a sealed file.
func columns() []column {
	names := [...]string{"command_mdeg", "joint_mdeg", "motor_mdeg", "current_ma", "supply_mv", "torque_mnm", "temp_cdeg"}
	var out []column
	for i, c := range rig.Columns() {
		out = append(out, column{c, names[i]})
	}
	return out
}

// lineEncoder turns samples into lines.
type lineEncoder struct {
	enc  lineprotocol.Encoder
	cols []column
}

func newLineEncoder() *lineEncoder { return &lineEncoder{cols: columns()} }

// add appends sample i of a batch as a line, its time shifted by shift.
func (e *lineEncoder) add(joint string, b *rig.Batch, i int, shift time.Duration) {
	e.enc.StartLine(measurement)
	e.enc.AddTag("joint", joint)
	if k := b.Move[i]; k != rig.MoveNone {
		e.enc.AddTag("move", k.String())
	}
	e.enc.AddField("segment", lineprotocol.IntValue(int64(b.Segment[i])))
	for _, c := range e.cols {
		if v := (*c.Batch(b))[i]; v != rig.Missing {
			e.enc.AddField(c.name, lineprotocol.IntValue(int64(v)))
		}
	}
	e.enc.EndLine(time.Unix(0, b.TimeUS[i]*1000).Add(shift))
}

// joints collects samples by the name of their joint, in the order names first appear.
type joints struct {
	names   []string
	batches []*rig.Batch
	index   map[string]int
}

func newJoints(names []string) *joints {
	j := &joints{index: map[string]int{}}
	for _, n := range names {
		j.batch([]byte(n))
	}
	return j
}

func (j *joints) batch(name []byte) *rig.Batch {
	if i, ok := j.index[string(name)]; ok {
		return j.batches[i]
	}
	i := len(j.names)
	j.index[string(name)] = i
	j.names = append(j.names, string(name))
	j.batches = append(j.batches, &rig.Batch{Joint: i})
	return j.batches[i]
}

// decodeLines appends the samples of a text to the joints. It returns how many lines it took, the
// greatest time among them, and the first line that is no sample; the lines after that are read.
func decodeLines(text []byte, into *joints) (lines int, lastUS int64, err error) {
	d := lineprotocol.NewDecoderWithBytes(text)
	cols := columns()
	row := make([]int32, len(cols))
	for d.Next() {
		us, bad := decodeLine(d, into, cols, row)
		if bad != nil {
			if err == nil {
				err = bad
			}
			continue
		}
		if lines == 0 || us > lastUS {
			lastUS = us
		}
		lines++
	}
	return lines, lastUS, err
}

// decodeLine reads one line. Nothing is appended unless all of it is good.
func decodeLine(d *lineprotocol.Decoder, into *joints, cols []column, row []int32) (int64, error) {
	m, err := d.Measurement()
	if err != nil {
		return 0, err
	}
	if string(m) != measurement {
		return 0, fmt.Errorf("a line of %q; %q is known", m, measurement)
	}
	var batch *rig.Batch
	kind := rig.MoveNone
	for {
		key, value, err := d.NextTag()
		if err != nil {
			return 0, err
		}
		if key == nil {
			break
		}
		switch string(key) {
		case "joint":
			batch = into.batch(value)
		case "move":
			var ok bool
			if kind, ok = moveKind(value); !ok {
				return 0, fmt.Errorf("unknown move %q", value)
			}
		default:
			return 0, fmt.Errorf("unknown tag %q", key)
		}
	}
	if batch == nil {
		return 0, fmt.Errorf("a line without a joint")
	}
	for i := range row {
		row[i] = rig.Missing
	}
	segment := int64(0)
	for {
		key, value, err := d.NextField()
		if err != nil {
			return 0, err
		}
		if key == nil {
			break
		}
		if value.Kind() != lineprotocol.Int {
			return 0, fmt.Errorf("field %q is no integer", key)
		}
		v := value.IntV()
		if string(key) == "segment" {
			if segment = v; v < 0 || v > 1<<16-1 {
				return 0, fmt.Errorf("segment %d is out of its 16 bits", v)
			}
			continue
		}
		i := fieldIndex(cols, key)
		if i < 0 {
			return 0, fmt.Errorf("unknown field %q", key)
		}
		if v <= rig.Missing || v > 1<<31-1 {
			return 0, fmt.Errorf("field %q: %d is out of its 32 bits", key, v)
		}
		row[i] = int32(v)
	}
	stamp, err := d.TimeBytes()
	if err != nil {
		return 0, err
	}
	ns, err := strconv.ParseInt(string(stamp), 10, 64)
	if err != nil {
		return 0, fmt.Errorf("timestamp %q is no whole number of ns", stamp)
	}
	batch.TimeUS = append(batch.TimeUS, ns/1000)
	batch.Move = append(batch.Move, kind)
	batch.Segment = append(batch.Segment, uint16(segment))
	for i, c := range cols {
		col := c.Batch(batch)
		*col = append(*col, row[i])
	}
	return ns / 1000, nil
}

func fieldIndex(cols []column, key []byte) int {
	for i, c := range cols {
		if c.name == string(key) {
			return i
		}
	}
	return -1
}
