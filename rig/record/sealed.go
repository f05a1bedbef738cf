package record

import (
	"bytes"
	"errors"
	"fmt"

	"github.com/parquet-go/parquet-go"

	"limbgauge/rig"
)

// sealedRow is the schema of a sealed file. Rows stand joint by joint, each in time order and in
// a row group of its own, so that one joint is read without the others. Samples are written and
// read by columns; no sealedRow is ever made.
type sealedRow struct {
	Time    int64  `parquet:"time_us,delta,zstd"`
	Joint   string `parquet:"joint,dict,zstd"`
	Move    string `parquet:"move,dict,zstd"` // "" outside any move
	Segment int32  `parquet:"segment,delta,zstd"`
	Command int32  `parquet:"command_mdeg,optional,delta,zstd"`
	Angle   int32  `parquet:"joint_mdeg,optional,delta,zstd"`
	Motor   int32  `parquet:"motor_mdeg,optional,delta,zstd"`
	Current int32  `parquet:"current_ma,optional,delta,zstd"`
	Supply  int32  `parquet:"supply_mv,optional,delta,zstd"`
	Torque  int32  `parquet:"torque_mnm,optional,delta,zstd"`
	Temp    int32  `parquet:"temp_cdeg,optional,delta,zstd"`
}

// encodeSealed returns the samples as a Parquet file.
func encodeSealed(names []string, batches []*rig.Batch) ([]byte, error) {
	var out bytes.Buffer
	schema := parquet.SchemaOf(sealedRow{})
	w := parquet.NewGenericWriter[any](&out, schema,
		parquet.KeyValueMetadata("limbgauge", fmt.Sprintf("sealed samples, schema %d; time_us is device time since power-up", Schema)))
	for k, b := range batches {
		if b.Len() == 0 {
			continue
		}
		if err := encodeJoint(w, schema, names[k], b); err != nil {
			return nil, fmt.Errorf("joint %q: %w", names[k], err)
		}
		if err := w.Flush(); err != nil {
			return nil, fmt.Errorf("joint %q: %w", names[k], err)
		}
	}
	if err := w.Close(); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

func encodeJoint(w *parquet.GenericWriter[any], schema *parquet.Schema, name string, b *rig.Batch) error {
	values := make([]parquet.Value, 0, 4096)
	write := func(column string, value func(i int) parquet.Value) error {
		c, _ := schema.Lookup(column)
		to := w.ColumnWriters()[c.ColumnIndex]
		for i := range b.TimeUS {
			v := value(i)
			level := 0 // an optional column's value stands one level deeper than its null
			if c.Node.Optional() && !v.IsNull() {
				level = 1
			}
			values = append(values, v.Level(0, level, c.ColumnIndex))
			if len(values) == cap(values) || i == b.Len()-1 {
				if _, err := to.WriteRowValues(values); err != nil {
					return fmt.Errorf("column %s: %w", column, err)
				}
				values = values[:0]
			}
		}
		return nil
	}
	joint := []byte(name)
	err := errors.Join(
		write("time_us", func(i int) parquet.Value { return parquet.Int64Value(b.TimeUS[i]) }),
		write("joint", func(int) parquet.Value { return parquet.ByteArrayValue(joint) }),
		write("move", func(i int) parquet.Value { return parquet.ByteArrayValue([]byte(b.Move[i].String())) }),
		write("segment", func(i int) parquet.Value { return parquet.Int32Value(int32(b.Segment[i])) }))
	for _, c := range columns() {
		col := *c.Batch(b)
		err = errors.Join(err, write(c.name, func(i int) parquet.Value {
			if col[i] == rig.Missing {
				return parquet.NullValue()
			}
			return parquet.Int32Value(col[i])
		}))
	}
	return err
}

// appendRows appends rows from..to of one batch to another.
func appendRows(dst, src *rig.Batch, from, to int) {
	dst.TimeUS = append(dst.TimeUS, src.TimeUS[from:to]...)
	dst.Move = append(dst.Move, src.Move[from:to]...)
	dst.Segment = append(dst.Segment, src.Segment[from:to]...)
	for _, c := range columns() {
		d := c.Batch(dst)
		*d = append(*d, (*c.Batch(src))[from:to]...)
	}
}
