package record

import (
	"bufio"
	"fmt"
	"io"
	"strings"
	"time"

	"limbgauge/rig"
)

// csvDecimals says how many decimals make each measured column's integers exact, in the order of
// columns: mdeg, mA, mV and mN·m are thousandths, temperatures hundredths.
func csvDecimals() []int { return []int{3, 3, 3, 3, 3, 3, 2} }

// WriteCSV writes the run as a log that ReadCSV reads, exact to the resolution of the sealed
// columns. Rows stand in time order over all joints; columns without a single value are left out.
// The values are as the stand sent them.
func (r *Run) WriteCSV(w io.Writer) error {
	batches, err := r.Batches()
	if err != nil {
		return fmt.Errorf("write csv: %w", err)
	}
	return writeCSV(w, r.Joints(), batches)
}

// WriteCorrectedCSV writes the run like WriteCSV with the values corrected by the calibration it was
// made with, which a first line for each such joint says.
func (r *Run) WriteCorrectedCSV(w io.Writer) error {
	batches, by, err := r.corrected()
	if err != nil {
		return err
	}
	for k, n := range r.Joints() {
		if by[k] != "" {
			if _, err := fmt.Fprintln(w, correctedLine(n, by[k])); err != nil {
				return fmt.Errorf("write csv: %w", err)
			}
		}
	}
	return writeCSV(w, r.Joints(), batches)
}

func writeCSV(w io.Writer, names []string, batches []*rig.Batch) error {
	out := bufio.NewWriterSize(w, 1<<16)
	header, cols, decimals, marks := csvLayout(batches)
	fmt.Fprintln(out, header)
	line := make([]byte, 0, 256)
	inOrder(batches, func(k, i int) {
		b := batches[k]
		line = appendFixed(line[:0], b.TimeUS[i], 6)
		line = append(append(line, ','), quoted(names[k])...)
		if marks {
			line = append(append(line, ','), b.Move[i].String()...)
		}
		for n, c := range cols {
			line = append(line, ',')
			if v := (*c.Batch(b))[i]; v != rig.Missing {
				line = appendFixed(line, int64(v), decimals[n])
			}
		}
		out.Write(append(line, '\n')) // errors stay with the writer until Flush
	})
	if err := out.Flush(); err != nil {
		return fmt.Errorf("write csv: %w", err)
	}
	return nil
}

// csvLayout chooses the columns: the needed ones and those that hold a value.
func csvLayout(batches []*rig.Batch) (header string, cols []column, decimals []int, marks bool) {
	names := []string{"time_s", "joint"}
	for _, b := range batches {
		for _, k := range b.Move {
			marks = marks || k != rig.MoveNone
		}
	}
	if marks {
		names = append(names, "move")
	}
	format := csvColumns()
	for n, c := range columns() {
		used := format[csvCommand+n].needed
		for _, b := range batches {
			for _, v := range *c.Batch(b) {
				if used {
					break
				}
				used = v != rig.Missing
			}
		}
		if used {
			names = append(names, format[csvCommand+n].name)
			cols, decimals = append(cols, c), append(decimals, csvDecimals()[n])
		}
	}
	return strings.Join(names, ","), cols, decimals, marks
}

// inOrder visits the samples of all joints in time order; equal times in the order of joints.
func inOrder(batches []*rig.Batch, visit func(joint, i int)) {
	next := make([]int, len(batches))
	for {
		best := -1
		for k, b := range batches {
			if next[k] < b.Len() && (best < 0 || b.TimeUS[next[k]] < batches[best].TimeUS[next[best]]) {
				best = k
			}
		}
		if best < 0 {
			return
		}
		visit(best, next[best])
		next[best]++
	}
}

// appendFixed writes v·10^-decimals with that many decimals.
func appendFixed(dst []byte, v int64, decimals int) []byte {
	u := uint64(v)
	if v < 0 {
		dst, u = append(dst, '-'), -u
	}
	var buf [24]byte
	i := len(buf)
	for n := 0; u > 0 || n <= decimals; n++ {
		if n == decimals && decimals > 0 {
			i--
			buf[i] = '.'
		}
		i--
		buf[i] = byte('0' + u%10)
		u /= 10
	}
	return append(dst, buf[i:]...)
}

func quoted(name string) string {
	if !strings.ContainsAny(name, `",`) && strings.TrimSpace(name) == name {
		return name
	}
	return `"` + strings.ReplaceAll(name, `"`, `""`) + `"`
}

// WriteLines writes the run as line protocol, one sample per line in time order, as the journal
// holds it: a timestamp is the stand's time in ns since its power-up. With calendar set,
// timestamps are moved so that the first sample has the run's Started, for a database that lives
// in the calendar; the spacing stays exact.
func (r *Run) WriteLines(w io.Writer, calendar bool) error {
	batches, err := r.Batches()
	if err != nil {
		return fmt.Errorf("write lines: %w", err)
	}
	shift := time.Duration(0)
	if calendar {
		var first int64
		seen := false
		for _, b := range batches {
			if b.Len() > 0 && (!seen || b.TimeUS[0] < first) {
				first, seen = b.TimeUS[0], true
			}
		}
		shift = r.Info.Started.Sub(time.Unix(0, first*1000))
	}
	e := newLineEncoder()
	names := r.Joints()
	write := func() {
		if err == nil {
			err = e.enc.Err()
		}
		if err == nil {
			_, err = w.Write(e.enc.Bytes())
		}
		e.enc.Reset()
	}
	inOrder(batches, func(k, i int) {
		e.add(names[k], batches[k], i, shift)
		if len(e.enc.Bytes()) > 1<<16 {
			write()
		}
	})
	if write(); err != nil {
		return fmt.Errorf("write lines: %w", err)
	}
	return nil
}
