package wire

import (
	"fmt"
	"math"
)

// MaxRecords is the greatest number of records that any set of fields lets into one frame.
const MaxRecords = (MaxBody-samplesHead-3)/minRecord + 1

const (
	samplesHead = 12 // bytes of a samples body before the first record's command
	minRecord   = 4  // time step and command step, no fields
)

// Record is one sample as the stand took it. A field that Samples.Has does not name is 0 after
// parsing and ignored when sent.
type Record struct {
	TimeUS  uint32
	Command int32 // mdeg
	Angle   int32 // mdeg, joint side
	Motor   int32 // mdeg, motor side
	Current int32 // mA
	Supply  int32 // mV
	Torque  int32 // mN·m
	Temp    int32 // 0.01 °C
}

// Samples carries consecutive samples of one joint that share fields, move and segment. The first
// record stands whole, the others as steps from the one before: that is what lets three joints at
// 1 kHz through 500 kbaud. Make one with Start and Add; a sample that Add does not take starts the
// next message.
type Samples struct {
	Joint   uint8
	Has     Fields
	Kind    uint8 // the table of kinds in SPEC.md
	Segment uint16
	Seq     uint16 // of the first record; the others follow without a gap
	N       int    // how many of Rec are in use
	Rec     [MaxRecords]Record
}

// Type implements Message.
func (m *Samples) Type() Type { return TypeSamples }

// widths of the fields in a first record and in those that follow, by bit of Fields.
var (
	firstWidth = [6]int{3, 3, 2, 2, 2, 2}
	stepWidth  = [6]int{2, 2, 2, 2, 2, 2}
)

// sizes returns the bytes of the first and of every other record.
func sizes(has Fields) (first, step int) {
	first, step = 3, 4
	for i := range firstWidth {
		if has&(1<<i) != 0 {
			first += firstWidth[i]
			step += stepWidth[i]
		}
	}
	return first, step
}

// RecordsPerFrame returns how many records with these fields one frame can carry.
func RecordsPerFrame(has Fields) int {
	first, step := sizes(has)
	return (MaxBody-samplesHead-first)/step + 1
}

// Start empties the message and gives it a joint, its fields and its move.
func (m *Samples) Start(joint uint8, has Fields, kind uint8, segment uint16) {
	m.Joint, m.Has, m.Kind, m.Segment, m.Seq, m.N = joint, has, kind, segment, 0, 0
}

// Add appends the sample numbered seq. It reports false, and takes nothing, when the sample does
// not fit: the message is full, the number does not follow, or a step is too large for its width.
// Whether fields, move and segment are still the same is for the caller to see.
func (m *Samples) Add(seq uint16, r Record) bool {
	if m.N == 0 {
		m.Seq, m.N, m.Rec[0] = seq, 1, r
		return true
	}
	if m.N >= RecordsPerFrame(m.Has) || seq != m.Seq+uint16(m.N) || !follows(m.Has, &m.Rec[m.N-1], &r) {
		return false
	}
	m.Rec[m.N] = r
	m.N++
	return true
}

// follows says whether r can be sent as steps from p.
func follows(has Fields, p, r *Record) bool {
	return r.TimeUS-p.TimeUS <= math.MaxUint16 && fits16(r.Command-p.Command) &&
		(has&HasAngle == 0 || fits16(r.Angle-p.Angle)) && (has&HasMotor == 0 || fits16(r.Motor-p.Motor))
}

func fits16(v int32) bool { return v >= math.MinInt16 && v <= math.MaxInt16 }

// check says which field of a record has no room on the wire.
func (r *Record) check(has Fields) error {
	for i, f := range [...]struct {
		name   string
		v      int32
		lo, hi int32
	}{
		{"angle", r.Angle, Min24, Max24}, {"motor", r.Motor, Min24, Max24},
		{"current", r.Current, math.MinInt16, math.MaxInt16}, {"supply", r.Supply, 0, math.MaxUint16},
		{"torque", r.Torque, math.MinInt16, math.MaxInt16}, {"temp", r.Temp, math.MinInt16, math.MaxInt16},
	} {
		if has&(1<<i) != 0 && (f.v < f.lo || f.v > f.hi) {
			return within(f.name, f.v, f.lo, f.hi)
		}
	}
	return within("command", r.Command, Min24, Max24)
}

// AppendBody implements Message.
func (m *Samples) AppendBody(b []byte) ([]byte, error) {
	if m.Has&^hasRecord != 0 {
		return b, fmt.Errorf("reserved fields 0x%02X", uint8(m.Has&^hasRecord))
	}
	if m.N < 1 || m.N > RecordsPerFrame(m.Has) {
		return b, fmt.Errorf("%d records, wants 1 to %d", m.N, RecordsPerFrame(m.Has))
	}
	for i := range m.N {
		if err := m.Rec[i].check(m.Has); err != nil {
			return b, err
		}
		if i > 0 && !follows(m.Has, &m.Rec[i-1], &m.Rec[i]) {
			return b, fmt.Errorf("record %d is too far from the one before", i)
		}
	}
	b = append16(append(b, byte(TypeSamples), m.Joint, byte(m.Has), m.Kind), m.Segment)
	b = append32(append16(b, m.Seq), m.Rec[0].TimeUS)
	for i := range m.N {
		b = m.appendRecord(b, i)
	}
	return b, nil
}

func (m *Samples) appendRecord(b []byte, i int) []byte {
	r := &m.Rec[i]
	angle := append24
	var from Record
	if i > 0 {
		from, angle = m.Rec[i-1], appendStep
		b = append16(b, uint16(r.TimeUS-from.TimeUS))
	}
	b = angle(b, r.Command-from.Command)
	if m.Has&HasAngle != 0 {
		b = angle(b, r.Angle-from.Angle)
	}
	if m.Has&HasMotor != 0 {
		b = angle(b, r.Motor-from.Motor)
	}
	if m.Has&HasCurrent != 0 {
		b = append16(b, uint16(r.Current))
	}
	if m.Has&HasSupply != 0 {
		b = append16(b, uint16(r.Supply))
	}
	if m.Has&HasTorque != 0 {
		b = append16(b, uint16(r.Torque))
	}
	if m.Has&HasTemp != 0 {
		b = append16(b, uint16(r.Temp))
	}
	return b
}

func appendStep(b []byte, v int32) []byte { return append16(b, uint16(v)) }

// ParseBody implements Message. The length must be that of a whole number of records.
func (m *Samples) ParseBody(b []byte) error {
	if err := need(b, TypeSamples, samplesHead+3); err != nil {
		return err
	}
	has := Fields(b[2])
	if has&^hasRecord != 0 {
		return fmt.Errorf("%w: samples with reserved fields 0x%02X", ErrMalformed, uint8(has&^hasRecord))
	}
	first, step := sizes(has)
	more := len(b) - samplesHead - first
	if more < 0 || more%step != 0 || more/step+1 > MaxRecords {
		return fmt.Errorf("%w: samples of %d bytes, not a whole number of records", ErrMalformed, len(b))
	}
	m.Joint, m.Has, m.Kind, m.Segment, m.Seq, m.N = b[1], has, b[3], get16(b[4:]), get16(b[6:]), more/step+1
	var r Record
	r.TimeUS = get32(b[8:])
	p := b[12:]
	for i := range m.N {
		p = m.parseRecord(p, i, &r)
		if !fits24(r.Command) || !fits24(r.Angle) || !fits24(r.Motor) {
			return fmt.Errorf("%w: steps of a samples message leave the 24 bits of an angle", ErrMalformed)
		}
		m.Rec[i] = r
	}
	return nil
}

func fits24(v int32) bool { return v >= Min24 && v <= Max24 }

// parseRecord turns r, the record before, into record i.
func (m *Samples) parseRecord(p []byte, i int, r *Record) []byte {
	angle := func(v *int32) {
		if i == 0 {
			*v, p = get24(p), p[3:]
		} else {
			*v, p = *v+int32(int16(get16(p))), p[2:]
		}
	}
	if i > 0 {
		r.TimeUS, p = r.TimeUS+uint32(get16(p)), p[2:]
	}
	angle(&r.Command)
	if m.Has&HasAngle != 0 {
		angle(&r.Angle)
	}
	if m.Has&HasMotor != 0 {
		angle(&r.Motor)
	}
	if m.Has&HasCurrent != 0 {
		r.Current, p = int32(int16(get16(p))), p[2:]
	}
	if m.Has&HasSupply != 0 {
		r.Supply, p = int32(get16(p)), p[2:]
	}
	if m.Has&HasTorque != 0 {
		r.Torque, p = int32(int16(get16(p))), p[2:]
	}
	if m.Has&HasTemp != 0 {
		r.Temp, p = int32(int16(get16(p))), p[2:]
	}
	return p
}
