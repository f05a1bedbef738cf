package record

import (
	"errors"
	"fmt"
	"io"

	"github.com/parquet-go/parquet-go"

	"limbgauge/rig"
)

// The values of a page lie in memory as one slice, which is taken as it is: the library's way value by
// value costs many times more. Pages of another make than ours (a dictionary of numbers, text without
// one) go that way.

// int32s returns the values of a page, a null as rig.Missing. They are the page's own where it has no
// nulls, else they stand in space, which grows to hold them.
func int32s(p parquet.Page, space *[]int32) ([]int32, error) {
	n, nulls := int(p.NumRows()), int(p.NumNulls())
	out := (*space)[:0]
	defer func() { *space = out }()
	if p.Dictionary() != nil {
		err := eachValue(p, func(v parquet.Value) {
			if v.IsNull() {
				out = append(out, rig.Missing)
			} else {
				out = append(out, v.Int32())
			}
		})
		return out, err
	}
	if nulls == n { // there may be no values to look at
		for range n {
			out = append(out, rig.Missing)
		}
		return out, nil
	}
	data := p.Data()
	values := data.Int32()
	if err := check(len(values), n-nulls); err != nil || nulls == 0 {
		return values, err
	}
	for _, level := range p.DefinitionLevels() {
		if level == 0 {
			out = append(out, rig.Missing)
			continue
		}
		out, values = append(out, values[0]), values[1:]
	}
	return out, check(len(out), n)
}

// int64s appends the values of a page without nulls.
func int64s(p parquet.Page, to []int64) ([]int64, error) {
	if p.NumNulls() > 0 {
		return to, fmt.Errorf("%d values are missing", p.NumNulls())
	}
	if p.Dictionary() != nil {
		err := eachValue(p, func(v parquet.Value) { to = append(to, v.Int64()) })
		return to, err
	}
	data := p.Data()
	values := data.Int64()
	return append(to, values...), check(len(values), int(p.NumRows()))
}

func check(values, rows int) error {
	if values != rows {
		return fmt.Errorf("a page holds %d values for %d rows", values, rows)
	}
	return nil
}

// eachText hands over the texts of a page, each with how often it comes in a row.
func eachText(p parquet.Page, take func(text []byte, n int) error) error {
	d := p.Dictionary()
	if d == nil {
		var err error
		return errors.Join(eachValue(p, func(v parquet.Value) {
			if err == nil {
				err = take(v.ByteArray(), 1)
			}
		}), err)
	}
	data := p.Data()
	index := data.Int32()
	if err := check(len(index), int(p.NumRows())); err != nil {
		return err
	}
	for i := 0; i < len(index); {
		k := i + 1
		for k < len(index) && index[k] == index[i] {
			k++
		}
		if err := take(d.Index(index[i]).ByteArray(), k-i); err != nil {
			return err
		}
		i = k
	}
	return nil
}

// eachValue hands over the values of a page one by one.
func eachValue(p parquet.Page, take func(v parquet.Value)) error {
	values := make([]parquet.Value, 1024)
	r := p.Values()
	for {
		n, err := r.ReadValues(values)
		for _, v := range values[:n] {
			take(v)
		}
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
	}
}
