package record

import (
	"bytes"
	"errors"
	"fmt"
	"io"

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
		col := *c.of(b)
		err = errors.Join(err, write(c.name, func(i int) parquet.Value {
			if col[i] == rig.Missing {
				return parquet.NullValue()
			}
			return parquet.Int32Value(col[i])
		}))
	}
	return err
}

// decodeSealed reads a sealed file. Joints come in the order of names, others after them.
func decodeSealed(data []byte, names []string) (_ *joints, err error) {
	// The library checks what it reads, but a damaged file must not end the program whatever it does.
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("%w: %v", ErrDamaged, p)
		}
	}()
	f, err := parquet.OpenFile(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrDamaged, err)
	}
	into := newJoints(names)
	for _, g := range f.RowGroups() {
		if err := decodeGroup(f.Schema(), g, into); err != nil {
			return nil, fmt.Errorf("%w: %w", ErrDamaged, err)
		}
	}
	return into, nil
}

// decodeGroup reads the rows of one group, whatever joints stand in it.
func decodeGroup(schema *parquet.Schema, g parquet.RowGroup, into *joints) error {
	n := int(g.NumRows())
	chunk := func(name string) (parquet.ColumnChunk, error) {
		c, ok := schema.Lookup(name)
		if !ok {
			return nil, fmt.Errorf("column %s is missing", name)
		}
		return g.ColumnChunks()[c.ColumnIndex], nil
	}
	read := func(name string, take func(i int, v parquet.Value)) error {
		c, err := chunk(name)
		if err != nil {
			return err
		}
		got, err := eachValue(c, take)
		if err != nil {
			return fmt.Errorf("column %s: %w", name, err)
		}
		if got != n {
			return fmt.Errorf("column %s has %d rows of %d", name, got, n)
		}
		return nil
	}
	all := rig.Batch{TimeUS: make([]int64, n), Move: make([]rig.MoveKind, n), Segment: make([]uint16, n)}
	owner := make([]*rig.Batch, n)
	kinds := map[string]rig.MoveKind{}
	var bad error
	err := errors.Join(
		read("time_us", func(i int, v parquet.Value) { all.TimeUS[i] = v.Int64() }),
		read("joint", func(i int, v parquet.Value) { owner[i] = into.batch(v.ByteArray()) }),
		read("segment", func(i int, v parquet.Value) { all.Segment[i] = uint16(v.Int32()) }),
		read("move", func(i int, v parquet.Value) {
			name := v.ByteArray()
			k, ok := kinds[string(name)]
			if !ok {
				var err error
				if k, err = rig.ParseMoveKind(string(name)); err != nil {
					bad = err
				}
				kinds[string(name)] = k
			}
			all.Move[i] = k
		}))
	for _, c := range columns() {
		col := make([]int32, n)
		*c.of(&all) = col
		err = errors.Join(err, read(c.name, func(i int, v parquet.Value) {
			if col[i] = rig.Missing; !v.IsNull() {
				col[i] = v.Int32()
			}
		}))
	}
	if err = errors.Join(err, bad); err != nil {
		return err
	}
	for i := 0; i < n; { // whole stretches of one joint at once
		k := i
		for k < n && owner[k] == owner[i] {
			k++
		}
		appendRows(owner[i], &all, i, k)
		i = k
	}
	return nil
}

// eachValue hands over every value of a column chunk with its row.
func eachValue(c parquet.ColumnChunk, take func(i int, v parquet.Value)) (rows int, err error) {
	pages := c.Pages()
	defer func() { err = errors.Join(err, pages.Close()) }()
	values := make([]parquet.Value, 1024)
	for {
		page, err := pages.ReadPage()
		if errors.Is(err, io.EOF) {
			return rows, nil
		}
		if err != nil {
			return rows, err
		}
		r := page.Values()
		for {
			n, err := r.ReadValues(values)
			for _, v := range values[:n] {
				take(rows, v)
				rows++
			}
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				return rows, err
			}
		}
		parquet.Release(page)
	}
}

// appendRows appends rows from..to of one batch to another.
func appendRows(dst, src *rig.Batch, from, to int) {
	dst.TimeUS = append(dst.TimeUS, src.TimeUS[from:to]...)
	dst.Move = append(dst.Move, src.Move[from:to]...)
	dst.Segment = append(dst.Segment, src.Segment[from:to]...)
	for _, c := range columns() {
		d := c.of(dst)
		*d = append(*d, (*c.of(src))[from:to]...)
	}
}
