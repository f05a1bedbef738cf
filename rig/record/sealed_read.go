package record

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"sync"

	"github.com/parquet-go/parquet-go"

	"limbgauge/rig"
)

// sealedFile is a sealed file of which only the columns of joints were read yet. All of its methods
// may be called at once. What is wrong with the bytes is ErrDamaged.
type sealedFile struct {
	path  string
	file  *parquet.File
	names []string // joints: those asked for, then others in the order they appear
	rows  [][]rows // by joint, in the order of the file
}

// rows are some rows of one row group, half open, that go to a joint's samples from at on.
type rows struct{ group, from, to, at int }

// openSealed reads which rows belong to which joint. Joints come in the order of names, others after
// them.
func openSealed(path string, data []byte, names []string) (*sealedFile, error) {
	f := &sealedFile{path: path, names: slices.Clone(names), rows: make([][]rows, len(names))}
	err := f.guard(func() (err error) {
		if f.file, err = parquet.OpenFile(bytes.NewReader(data), int64(len(data))); err != nil {
			return err
		}
		for g := range f.file.RowGroups() {
			if err := f.readJoints(g); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return f, nil
}

// guard runs what reads the file. The library checks what it reads, but a damaged file must not end
// the program whatever it does.
func (f *sealedFile) guard(read func() error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("%s: %w: %v", f.path, ErrDamaged, p)
		}
	}()
	if err := read(); err != nil {
		return fmt.Errorf("%s: %w: %w", f.path, ErrDamaged, err)
	}
	return nil
}

// readJoints notes the rows of each joint in a row group.
func (f *sealedFile) readJoints(group int) error {
	at := 0 // row
	total := int(f.file.RowGroups()[group].NumRows())
	err := f.pages(group, "joint", func(p parquet.Page) error {
		return eachText(p, func(name []byte, n int) error {
			k := f.joint(name)
			mine := f.rows[k]
			if last := len(mine) - 1; last >= 0 && mine[last].group == group && mine[last].to == at {
				mine[last].to += n
			} else {
				f.rows[k] = append(mine, rows{group, at, at + n, f.len(k)})
			}
			at += n
			return nil
		})
	})
	if err == nil && at != total {
		err = fmt.Errorf("column joint has %d rows of %d", at, total)
	}
	return err
}

func (f *sealedFile) joint(name []byte) int {
	for k, n := range f.names {
		if n == string(name) {
			return k
		}
	}
	f.names, f.rows = append(f.names, string(name)), append(f.rows, nil)
	return len(f.names) - 1
}

// len returns the number of samples of joint k.
func (f *sealedFile) len(k int) int {
	if len(f.rows[k]) == 0 {
		return 0
	}
	last := f.rows[k][len(f.rows[k])-1]
	return last.at + last.to - last.from
}

// ends returns how many samples joint k has and the times of its first and last.
func (f *sealedFile) ends(k int) (n int, firstUS, lastUS int64, err error) {
	if n = f.len(k); n == 0 {
		return 0, 0, 0, nil
	}
	mine := f.rows[k]
	err = f.guard(func() (err error) {
		if firstUS, err = f.timeOf(mine[0].group, mine[0].from); err != nil {
			return err
		}
		last := mine[len(mine)-1]
		lastUS, err = f.timeOf(last.group, last.to-1)
		return err
	})
	return n, firstUS, lastUS, err
}

// timeOf reads one time without the rest of its column.
func (f *sealedFile) timeOf(group, row int) (us int64, err error) {
	c, err := f.chunk(group, "time_us")
	if err != nil {
		return 0, err
	}
	pages := c.Pages()
	defer func() { err = errors.Join(err, pages.Close()) }()
	if err := pages.SeekToRow(int64(row)); err != nil {
		return 0, err
	}
	p, err := pages.ReadPage()
	if err != nil {
		return 0, err
	}
	defer parquet.Release(p)
	t, err := int64s(p, nil)
	if err != nil {
		return 0, err
	}
	return t[0], nil
}

func (f *sealedFile) chunk(group int, column string) (parquet.ColumnChunk, error) {
	c, ok := f.file.Schema().Lookup(column)
	if !ok {
		return nil, fmt.Errorf("column %s is missing", column)
	}
	return f.file.RowGroups()[group].ColumnChunks()[c.ColumnIndex], nil
}

// pages hands over the pages of a column in a row group. A page is only lent.
func (f *sealedFile) pages(group int, column string, take func(p parquet.Page) error) (err error) {
	c, err := f.chunk(group, column)
	if err != nil {
		return err
	}
	pages := c.Pages()
	defer func() { err = errors.Join(err, pages.Close()) }()
	for {
		p, err := pages.ReadPage()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err == nil {
			err = take(p)
			parquet.Release(p)
		}
		if err != nil {
			return fmt.Errorf("column %s: %w", column, err)
		}
	}
}

// column hands over what a column holds of joint k, page by page, each with the sample it begins at.
func (f *sealedFile) column(k int, name string, take func(p parquet.Page, at int) error) error {
	for rest := f.rows[k]; len(rest) > 0; {
		group, row := rest[0].group, 0
		err := f.pages(group, name, func(p parquet.Page) error {
			from, to := row, row+int(p.NumRows())
			row = to
			for len(rest) > 0 && rest[0].group == group && rest[0].from < to {
				r := rest[0]
				part := p
				lo, hi := max(r.from, from), min(r.to, to)
				if lo > from || hi < to {
					part = p.Slice(int64(lo-from), int64(hi-from))
				}
				if err := take(part, r.at+lo-r.from); err != nil {
					return err
				}
				if r.to > to { // the rest of them stands in the next page
					return nil
				}
				rest = rest[1:]
			}
			return nil
		})
		if err != nil {
			return err
		}
		if len(rest) > 0 && rest[0].group == group {
			return fmt.Errorf("column %s ends at row %d", name, row)
		}
	}
	return nil
}

// together runs what reads single columns at once and returns the first error in their order.
func (f *sealedFile) together(reads []func() error) error {
	errs := make([]error, len(reads))
	var wg sync.WaitGroup
	for i, read := range reads {
		wg.Go(func() { errs[i] = f.guard(read) })
	}
	wg.Wait()
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// batches returns the samples of all joints.
func (f *sealedFile) batches() ([]*rig.Batch, error) {
	var out []*rig.Batch
	for k := range f.names {
		b, err := f.batch(k)
		if err != nil {
			return nil, err
		}
		out = append(out, b)
	}
	return out, nil
}

// batch returns the samples of joint k.
func (f *sealedFile) batch(k int) (*rig.Batch, error) {
	n := f.len(k)
	b := &rig.Batch{Joint: k, TimeUS: make([]int64, n), Move: make([]rig.MoveKind, n), Segment: make([]uint16, n)}
	reads := []func() error{
		func() error {
			return f.column(k, "time_us", func(p parquet.Page, at int) error {
				_, err := int64s(p, b.TimeUS[at:at])
				return err
			})
		},
		func() error { return f.moves(k, b.Move) },
		func() error {
			return f.ints(k, "segment", func(v []int32, at int) {
				for i, s := range v {
					b.Segment[at+i] = uint16(s)
				}
			})
		},
	}
	for _, c := range columns() {
		col := make([]int32, n)
		*c.Batch(b) = col
		reads = append(reads, func() error {
			return f.ints(k, c.name, func(v []int32, at int) { copy(col[at:], v) })
		})
	}
	if err := f.together(reads); err != nil {
		return nil, err
	}
	return b, nil
}

// series returns the samples of joint k as rig.SeriesOf(batch) would, without the batch between.
func (f *sealedFile) series(k int) (*rig.Series, error) {
	n := f.len(k)
	s := &rig.Series{Joint: f.names[k], Time: make([]float64, n)}
	reads := []func() error{
		func() error {
			var us []int64
			return f.column(k, "time_us", func(p parquet.Page, at int) (err error) {
				if us, err = int64s(p, us[:0]); err == nil {
					rig.Seconds(s.Time[at:], us)
				}
				return err
			})
		},
		func() error {
			moves := make([]rig.MoveKind, n)
			if err := f.moves(k, moves); err != nil {
				return err
			}
			if slices.ContainsFunc(moves, func(m rig.MoveKind) bool { return m != rig.MoveNone }) {
				s.Move = moves
			}
			return nil
		},
		func() error {
			segments, any := make([]int32, n), int32(0)
			err := f.ints(k, "segment", func(v []int32, at int) {
				for i, n := range v {
					segments[at+i] = int32(uint16(n))
					any |= segments[at+i]
				}
			})
			if any != 0 {
				s.Segment = segments
			}
			return err
		},
	}
	for _, c := range columns() {
		reads = append(reads, func() error {
			var col []float64 // made when the first measured value comes: whole columns may hold none
			err := f.ints(k, c.name, func(v []int32, at int) {
				if col == nil {
					if !slices.ContainsFunc(v, func(v int32) bool { return v != rig.Missing }) {
						return
					}
					col = make([]float64, n)
					for i := range at {
						col[i] = math.NaN()
					}
				}
				rig.Floats(col[at:], v, c.Unit)
			})
			*c.Series(s) = col
			return err
		})
	}
	if err := f.together(reads); err != nil {
		return nil, err
	}
	return s, nil
}

// ints hands over an integer column of joint k, a null as rig.Missing. The slice is only lent.
func (f *sealedFile) ints(k int, name string, take func(v []int32, at int)) error {
	var space []int32
	return f.column(k, name, func(p parquet.Page, at int) error {
		v, err := int32s(p, &space)
		if err == nil {
			take(v, at)
		}
		return err
	})
}

// moves reads the marks of joint k.
func (f *sealedFile) moves(k int, into []rig.MoveKind) error {
	kinds := map[string]rig.MoveKind{}
	return f.column(k, "move", func(p parquet.Page, at int) error {
		return eachText(p, func(name []byte, n int) error {
			kind, ok := kinds[string(name)]
			if !ok {
				var err error
				if kind, err = rig.ParseMoveKind(string(name)); err != nil {
					return err
				}
				kinds[string(name)] = kind
			}
			for i := range n {
				into[at+i] = kind
			}
			at += n
			return nil
		})
	})
}
