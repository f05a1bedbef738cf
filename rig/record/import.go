package record

import (
	"errors"
	"fmt"
	"math"

	"limbgauge/rig"
)

// Import makes a sealed run of a log. Of info it sets what Create sets, Stand.Port "file" where it
// is empty, and the end; info.Joints must describe every joint of the log, in any order. Values
// are rounded to the resolution of the sealed columns, which Info.Notes says.
func Import(benchDir string, info Info, series []*rig.Series) (Info, error) {
	return importRun(osDisk{}, benchDir, info, series)
}

func importRun(d disk, benchDir string, info Info, series []*rig.Series) (Info, error) {
	batches := make([]*rig.Batch, len(info.Joints))
	for k := range info.Joints {
		batches[k] = &rig.Batch{Joint: k}
	}
	for _, s := range series {
		k := 0
		for k < len(info.Joints) && info.Joints[k].Setup.Name != s.Joint {
			k++
		}
		if k == len(info.Joints) {
			return info, fmt.Errorf("import: joint %q is not described; add it to bench.toml", s.Joint)
		}
		b, err := BatchOf(s)
		if err != nil {
			return info, fmt.Errorf("import: %w", err)
		}
		b.Joint = k
		batches[k] = b
		info.Joints[k].Losses = s.Losses
		info.Stand.SampleHz = max(info.Stand.SampleHz, s.SampleHz)
	}
	if info.Stand.Port == "" {
		info.Stand.Port = "file"
	}
	info.Notes = append(info.Notes, "values were rounded to 1 us, 1 mdeg, 1 mA, 1 mV, 1 mN·m and 0.01 degC on import")
	// The samples go through the journal like any others, so that a crash leaves what a crash
	// of a recording leaves.
	r, err := create(d, benchDir, info)
	if err != nil {
		return info, err
	}
	for _, b := range batches {
		if err := r.Append(b); err != nil {
			return info, errors.Join(err, r.Close(End{Cut, "import failed"}, nil))
		}
	}
	losses := make([]rig.Losses, len(info.Joints))
	for k, j := range info.Joints {
		losses[k] = j.Losses
	}
	if err := r.Close(End{How: Imported}, losses); err != nil {
		return info, err
	}
	return seal(d, r.dir)
}

// BatchOf is the inverse of rig.SeriesOf: it rounds a series to the resolution of the sealed
// columns. A value too great for them is an error.
func BatchOf(s *rig.Series) (*rig.Batch, error) {
	n := s.Len()
	b := &rig.Batch{TimeUS: make([]int64, n), Move: make([]rig.MoveKind, n), Segment: make([]uint16, n)}
	for i, t := range s.Time {
		us := math.Round(t * 1e6)
		if !(math.Abs(us) < 9e15) { // ns of it must fit 64 bits
			return nil, fmt.Errorf("joint %q, sample %d: time %v s can not be stored", s.Joint, i+1, t)
		}
		b.TimeUS[i] = int64(us)
	}
	copy(b.Move, s.Move)
	for i, v := range s.Segment {
		b.Segment[i] = uint16(v)
	}
	for k, c := range columns() {
		values := *c.Series(s)
		unit := math.Pow10(csvDecimals()[k])
		col := make([]int32, n)
		for i := range col {
			col[i] = rig.Missing
			if values == nil || math.IsNaN(values[i]) {
				continue
			}
			v := math.Round(values[i] * unit)
			if !(math.Abs(v) <= math.MaxInt32) {
				return nil, fmt.Errorf("joint %q, sample %d: %v is too great for column %s", s.Joint, i+1, values[i], c.name)
			}
			col[i] = int32(v)
		}
		*c.Batch(b) = col
	}
	return b, nil
}
