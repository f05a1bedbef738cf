package book

import (
	"encoding/binary"
	"fmt"
	"math"
	"time"

	"limbgauge/analyze/alike"
	"limbgauge/rig"
	"limbgauge/rig/record"
)

// A row of the book costs by its columns, so what is only read back, and never asked for, is packed into
// one. Numbers are varints, texts their length and their bytes, figures 8 bytes (IEEE 754,
// little-endian). Anything that does not read back as it was written is damage.

type packed []byte

func (p packed) int(v int64) packed { return binary.AppendVarint(p, v) }

func (p packed) text(s string) packed { return append(p.int(int64(len(s))), s...) }

func (p packed) flag(v bool) packed {
	if v {
		return append(p, 1)
	}
	return append(p, 0)
}

func (p packed) figure(v float64) packed {
	return binary.LittleEndian.AppendUint64(p, math.Float64bits(v))
}

// unpacker reads what was packed. After the first trouble it gives zeros, and err tells.
type unpacker struct {
	rest  []byte
	texts interned
	err   error
}

func (u *unpacker) fail() {
	u.rest, u.err = nil, fmt.Errorf("%w: a packed row is cut or unknown", errDamaged)
}

func (u *unpacker) take(n int64) []byte {
	if n < 0 || n > int64(len(u.rest)) {
		u.fail()
		return nil
	}
	out := u.rest[:n]
	u.rest = u.rest[n:]
	return out
}

func (u *unpacker) int() int64 {
	v, n := binary.Varint(u.rest)
	if n <= 0 {
		u.fail()
		return 0
	}
	u.rest = u.rest[n:]
	return v
}

func (u *unpacker) text() string { return u.texts.text(u.take(u.int())) }

func (u *unpacker) flag() bool {
	b := u.take(1)
	return len(b) == 1 && b[0] != 0
}

func (u *unpacker) figure() float64 {
	b := u.take(8)
	if b == nil {
		return math.NaN()
	}
	return math.Float64frombits(binary.LittleEndian.Uint64(b))
}

// interned keeps one copy of texts that many rows have alike.
type interned map[string]string

func (t interned) text(b []byte) string {
	if s, ok := t[string(b)]; ok {
		return s
	}
	s := string(b)
	t[s] = s
	return s
}

// pack writes down all of a run.
func (r Run) pack() packed {
	p := packed{}.text(r.ID).int(r.Started.Unix()).int(int64(r.Started.Nanosecond()))
	for _, s := range []string{r.Leg, r.Revision, r.Routine, r.Assembly, r.Ended, r.Setups, string(r.State)} {
		p = p.text(s)
	}
	return p.int(int64(r.Samples)).int(int64(r.Lost)).flag(r.Whole).flag(r.Judged).flag(r.Bare)
}

func unpackRun(row []byte, texts interned) (r Run, err error) {
	u := unpacker{rest: row, texts: texts}
	r.ID = string(u.take(u.int()))
	seconds := u.int()
	r.Started = time.Unix(seconds, u.int()).UTC()
	for _, s := range []*string{&r.Leg, &r.Revision, &r.Routine, &r.Assembly, &r.Ended, &r.Setups} {
		*s = u.text()
	}
	r.State = record.State(u.text())
	r.Samples, r.Lost = int(u.int()), int(u.int())
	r.Whole, r.Judged, r.Bare = u.flag(), u.flag(), u.flag()
	return r, u.err
}

// circumstances are what a run says of a joint beside its answer.
type circumstances struct {
	setup                   int64 // number of the set-up, 0 for none
	sampleHz, supplyV, ambC float64
	travelDeg               float64 // NaN where it was not counted
	reversals               int
}

func (c circumstances) pack() packed {
	return packed{}.int(c.setup).figure(c.sampleHz).figure(c.supplyV).figure(c.ambC).figure(c.travelDeg).int(int64(c.reversals))
}

// of turns circumstances into conditions, without the load that the run saw.
func (c circumstances) of(r Run, setups map[int64]rig.Joint) alike.Conditions {
	setup := setups[c.setup]
	return alike.Conditions{Leg: r.Leg, Routine: r.Routine, Bare: r.Bare, Setup: setup, SampleHz: c.sampleHz, SupplyV: c.supplyV, AmbientC: c.ambC,
		Calibration: setup.Calibration, LoadNm: math.NaN()}
}

func unpackCircumstances(u *unpacker) (c circumstances) {
	c.setup = u.int()
	c.sampleHz, c.supplyV, c.ambC, c.travelDeg = u.figure(), u.figure(), u.figure(), u.figure()
	c.reversals = int(u.int())
	return c
}
