package record

import (
	"bytes"
	"errors"
	"reflect"
	"testing"

	"github.com/parquet-go/parquet-go"
	"pgregory.net/rapid"

	"limbgauge/rig"
)

// decodeSealed reads all of a sealed file.
func decodeSealed(data []byte, names ...string) ([]*rig.Batch, error) {
	f, err := openSealed("samples.parquet", data, names)
	if err != nil {
		return nil, err
	}
	return f.batches()
}

// What is read joint by joint is what was written, and a series read at once is the one made of the batch.
func TestSealedFileBringsBackEverySample(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		names := anyNames(t)
		var want []*rig.Batch
		for k := range names {
			b := anyBatch(t, k)
			if rapid.Bool().Draw(t, "nothing but command and angle") {
				for i := range b.TimeUS {
					b.Motor[i], b.Current[i], b.Temp[i], b.Move[i], b.Segment[i] = rig.Missing, rig.Missing, rig.Missing, rig.MoveNone, 0
				}
			}
			want = append(want, b)
		}
		data, err := encodeSealed(names, want)
		if err != nil {
			t.Fatal(err)
		}
		holdsSamples(t, data, names, want)
	})
}

func holdsSamples(t interface {
	Fatal(...any)
	Errorf(string, ...any)
}, data []byte, names []string, want []*rig.Batch) {
	f, err := openSealed("samples.parquet", data, names)
	if err != nil {
		t.Fatal(err)
	}
	for k, w := range want {
		b, err := f.batch(k)
		if err != nil {
			t.Fatal(err)
		}
		if !equalBatch(b, w) || b.Joint != k {
			t.Errorf("joint %q: got %+v, want %+v", names[k], b, w)
		}
		s, err := f.series(k)
		if err != nil {
			t.Fatal(err)
		}
		if series := rig.SeriesOf(names[k], w); !sameSeries(s, series) || !reflect.DeepEqual(s.Segment, series.Segment) {
			t.Errorf("joint %q: got %+v, want %+v", names[k], s, series)
		}
		n, first, last, err := f.ends(k)
		if err != nil {
			t.Fatal(err)
		}
		if n != w.Len() || n > 0 && (first != w.TimeUS[0] || last != w.TimeUS[n-1]) {
			t.Errorf("joint %q: %d samples from %d to %d us, want %+v", names[k], n, first, last, w.TimeUS)
		}
	}
}

// A file that another tool wrote anew has other encodings, other pages and the joints in one row group.
func TestSealedFileOfAnotherMake(t *testing.T) {
	type plainRow struct {
		Time    int64  `parquet:"time_us"`
		Joint   string `parquet:"joint"`
		Move    string `parquet:"move"`
		Segment int32  `parquet:"segment,dict"`
		Command *int32 `parquet:"command_mdeg,optional"`
		Angle   int32  `parquet:"joint_mdeg"`
		Motor   *int32 `parquet:"motor_mdeg,optional,dict"`
		Current *int32 `parquet:"current_ma,optional,snappy"`
		Supply  *int32 `parquet:"supply_mv,optional"`
		Torque  *int32 `parquet:"torque_mnm,optional"`
		Temp    *int32 `parquet:"temp_cdeg,optional,gzip"`
	}
	value := func(v int32) *int32 {
		if v == rig.Missing {
			return nil
		}
		return &v
	}
	names := []string{"hip", "knee"}
	want := []*rig.Batch{motion(0, 3000, 1), motion(1, 3000, 2)}
	var out bytes.Buffer
	w := parquet.NewGenericWriter[plainRow](&out, parquet.PageBufferSize(900), parquet.MaxRowsPerRowGroup(2500))
	for i := range want[0].TimeUS {
		for k, b := range want {
			r := b.Row(i)
			_, err := w.Write([]plainRow{{r.TimeUS, names[k], r.Move.String(), int32(r.Segment), value(r.Command), r.Angle,
				value(r.Motor), value(r.Current), value(r.Supply), value(r.Torque), value(r.Temp)}})
			if err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	holdsSamples(t, out.Bytes(), names, want)
}

func TestSealedFileWithoutItsColumns(t *testing.T) {
	type row struct {
		Time  *int64 `parquet:"time_us,optional"`
		Joint string `parquet:"joint"`
	}
	var out bytes.Buffer
	w := parquet.NewGenericWriter[row](&out)
	if _, err := w.Write([]row{{nil, "knee"}}); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	f, err := openSealed("samples.parquet", out.Bytes(), nil)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, _, err := f.ends(0); !errors.Is(err, ErrDamaged) {
		t.Errorf("a time that is missing: %v", err)
	}
	if _, err := f.series(0); !errors.Is(err, ErrDamaged) {
		t.Errorf("columns that are missing: %v", err)
	}
}
