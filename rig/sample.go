package rig

import (
	"math"
	"slices"
)

// Missing marks a value that was not measured in an integer column.
const Missing = math.MinInt32

// Batch is a run of samples of one joint as struct of arrays, in time order. All columns have the
// same length. The integers are exact: they are what the stand sent and what a sealed run stores.
type Batch struct {
	Joint   int        // index into Bench.Joints
	TimeUS  []int64    // device time since power-up, unwrapped over its 32 bits
	Move    []MoveKind // what the stand was doing
	Segment []uint16   // running number of the move within the routine, from 1; 0 outside
	Command []int32    // mdeg
	Angle   []int32    // mdeg, joint side
	Motor   []int32    // mdeg, motor side; Missing where not measured
	Current []int32    // mA
	Supply  []int32    // mV
	Torque  []int32    // mN·m, from a torque sensor; Missing where not measured
	Temp    []int32    // 0.01 °C; Missing where not measured
}

// Len returns the number of samples.
func (b *Batch) Len() int { return len(b.TimeUS) }

// Row is one sample of a Batch.
type Row struct {
	TimeUS                                               int64
	Move                                                 MoveKind
	Segment                                              uint16
	Command, Angle, Motor, Current, Supply, Torque, Temp int32
}

// Append adds one sample.
func (b *Batch) Append(r Row) {
	b.TimeUS = append(b.TimeUS, r.TimeUS)
	b.Move = append(b.Move, r.Move)
	b.Segment = append(b.Segment, r.Segment)
	b.Command = append(b.Command, r.Command)
	b.Angle = append(b.Angle, r.Angle)
	b.Motor = append(b.Motor, r.Motor)
	b.Current = append(b.Current, r.Current)
	b.Supply = append(b.Supply, r.Supply)
	b.Torque = append(b.Torque, r.Torque)
	b.Temp = append(b.Temp, r.Temp)
}

// Row returns sample i.
func (b *Batch) Row(i int) Row {
	return Row{b.TimeUS[i], b.Move[i], b.Segment[i], b.Command[i], b.Angle[i], b.Motor[i],
		b.Current[i], b.Supply[i], b.Torque[i], b.Temp[i]}
}

// Reset empties the batch and keeps its memory.
func (b *Batch) Reset() {
	b.TimeUS, b.Move, b.Segment = b.TimeUS[:0], b.Move[:0], b.Segment[:0]
	b.Command, b.Angle, b.Motor = b.Command[:0], b.Angle[:0], b.Motor[:0]
	b.Current, b.Supply, b.Torque, b.Temp = b.Current[:0], b.Supply[:0], b.Torque[:0], b.Temp[:0]
}

// Losses counts what did not arrive or arrived broken, for one joint.
type Losses struct {
	Lost    int `json:"lost_samples"`   // samples the stand numbered and the host never saw
	Damaged int `json:"damaged_frames"` // frames dropped for their check sum or their form
	Late    int `json:"late_samples"`   // samples the stand itself says it made too late
}

// Series is one joint's samples of one run in the units the analysis works in. Columns that were
// not measured are nil; single values that were not measured are NaN. Move and Segment are nil
// where the log carries no marks. Nothing in this module modifies a Series once it is made.
type Series struct {
	Joint   string
	Time    []float64 // s
	Move    []MoveKind
	Segment []int32
	Command []float64 // deg
	Angle   []float64 // deg, joint side
	Motor   []float64 // deg, motor side
	Current []float64 // A
	Supply  []float64 // V
	Torque  []float64 // N·m
	Temp    []float64 // °C
	Losses  Losses
	// SampleHz is the rate the stand was asked for; 0 when unknown (then the median spacing serves).
	SampleHz float64
	// Calibration names the calibration the values were corrected with; "" for values as the stand
	// sent them.
	Calibration string
}

// Len returns the number of samples.
func (s *Series) Len() int { return len(s.Time) }

// Column is one measured column in both its forms: the exact integers of a Batch, and what the
// analysis takes.
type Column struct {
	Unit   float64 // of the integers, in the unit of the series
	Batch  func(b *Batch) *[]int32
	Series func(s *Series) *[]float64
}

// Columns lists the measured columns in the order of the fields of Row.
func Columns() []Column {
	return []Column{
		{1e-3, func(b *Batch) *[]int32 { return &b.Command }, func(s *Series) *[]float64 { return &s.Command }},
		{1e-3, func(b *Batch) *[]int32 { return &b.Angle }, func(s *Series) *[]float64 { return &s.Angle }},
		{1e-3, func(b *Batch) *[]int32 { return &b.Motor }, func(s *Series) *[]float64 { return &s.Motor }},
		{1e-3, func(b *Batch) *[]int32 { return &b.Current }, func(s *Series) *[]float64 { return &s.Current }},
		{1e-3, func(b *Batch) *[]int32 { return &b.Supply }, func(s *Series) *[]float64 { return &s.Supply }},
		{1e-3, func(b *Batch) *[]int32 { return &b.Torque }, func(s *Series) *[]float64 { return &s.Torque }},
		{1e-2, func(b *Batch) *[]int32 { return &b.Temp }, func(s *Series) *[]float64 { return &s.Temp }},
	}
}

// Seconds fills dst with times in us turned into s.
func Seconds(dst []float64, us []int64) {
	for i, t := range us {
		dst[i] = float64(t) / 1e6
	}
}

// Floats fills dst with integers of a unit, NaN where they are Missing. It reports whether any value
// was measured.
func Floats(dst []float64, col []int32, unit float64) (any bool) {
	for i, v := range col {
		if v == Missing {
			dst[i] = math.NaN()
			continue
		}
		any = true
		dst[i] = float64(v) * unit
	}
	return any
}

// SeriesOf converts a batch into the units of the analysis. Columns that hold no measured value
// become nil, as does Move when no sample is marked.
func SeriesOf(name string, b *Batch) *Series {
	n := b.Len()
	s := &Series{Joint: name, Time: make([]float64, n)}
	Seconds(s.Time, b.TimeUS)
	if slices.ContainsFunc(b.Move, func(k MoveKind) bool { return k != MoveNone }) {
		s.Move = slices.Clone(b.Move)
	}
	if slices.ContainsFunc(b.Segment, func(n uint16) bool { return n != 0 }) {
		s.Segment = make([]int32, n)
		for i, n := range b.Segment {
			s.Segment[i] = int32(n)
		}
	}
	for _, c := range Columns() {
		col := make([]float64, n)
		if Floats(col, *c.Batch(b), c.Unit) {
			*c.Series(s) = col
		}
	}
	return s
}
