package virtual

import (
	"math"
	"math/rand/v2"

	wire "limbgauge/firmware-protocol"
)

// sampleClock says when the next sample is due: on an even grid, a little late each time as on a board
// with other things to do.
type sampleClock struct {
	rnd      *rand.Rand
	beganUS  int64
	periodUS float64
	n        int64
	next     int64
}

// latestUS is how late a sample may be: well below a quarter of the shortest period.
const latestUS = 60

func newSampleClock(seed uint64) sampleClock {
	return sampleClock{rnd: rand.New(rand.NewPCG(seed, 0x7469636b))}
}

func (c *sampleClock) start(nowUS int64, hz float64) {
	c.beganUS, c.periodUS, c.n = nowUS, 1e6/hz, -1
	c.step()
}

func (c *sampleClock) step() {
	c.n++
	c.next = c.beganUS + int64(math.Round(float64(c.n)*c.periodUS)) + c.rnd.Int64N(latestUS)
}

// sense turns a reading of a joint's sensors into the joint's own sense, as it was set up.
func (j *joint) sense(r Reading) Reading {
	if s := j.set; s != nil {
		r.Angle, r.Motor = r.Angle-s.JointZero, r.Motor-s.MotorZero
		if s.Flags&wire.JointReversed != 0 {
			r.Angle = -r.Angle
		}
		if s.Flags&wire.MotorReversed != 0 {
			r.Motor = -r.Motor
		}
	}
	return r
}

// sample reads all joints, sends what was asked for, and lets the rules look at the readings.
func (m *machine) sample() {
	for c := range m.joints {
		j := &m.joints[c]
		if j.plant < 0 {
			if j.sampled {
				m.take(uint8(c), j, 0, wire.Record{TimeUS: m.nowUS()}, 0, 0)
			}
			continue
		}
		r := j.sense(m.deck.w.Read(j.plant))
		ch := &m.deck.channels[j.plant]
		if !j.armed {
			m.follow(j, r)
		}
		if j.sampled {
			kind, segment := ch.mark()
			m.take(uint8(c), j, has(r), wire.Record{TimeUS: m.nowUS(), Command: int32(math.Round(ch.command)), Angle: r.Angle, Motor: r.Motor,
				Current: r.Current, Supply: r.Supply, Temp: r.Temp}, kind, segment)
		}
		if j.armed {
			m.guard(uint8(c), j, r)
		}
	}
}

func has(r Reading) wire.Fields {
	f := wire.HasCurrent | wire.HasSupply
	if r.HasAngle {
		f |= wire.HasAngle
	}
	if r.HasMotor {
		f |= wire.HasMotor
	}
	if r.HasTemp {
		f |= wire.HasTemp
	}
	return f
}

// take numbers a sample and puts it into the joint's open message.
func (m *machine) take(channel uint8, j *joint, f wire.Fields, r wire.Record, kind uint8, segment uint16) {
	o := &j.out
	if o.N > 0 && (o.Has != f || o.Kind != kind || o.Segment != segment || !o.Add(j.seq, r)) {
		m.flush(j)
	}
	if o.N == 0 {
		o.Start(channel, f, kind, segment)
		o.Add(j.seq, r)
		j.outUS = m.deck.w.TimeUS()
	}
	j.seq++
	if m.deck.w.TimeUS()-j.outUS >= wire.SampleHoldMS*1000 {
		m.flush(j)
	}
}

// flush sends the samples that wait.
func (m *machine) flush(j *joint) {
	if j.out.N == 0 {
		return
	}
	if !m.say(&j.out) {
		j.dropped += uint16(j.out.N)
	} else if m.sent != nil && m.line.whole {
		*m.sent += int64(j.out.N)
	}
	j.out.N = 0
}

// watch is what the rules of one armed joint remember from reading to reading.
type watch struct {
	overUS  int64 // since when the current is above its limit, -1: it is not
	outside int   // readings on end outside the range
	silent  int   // readings on end without an angle
	quietUS int64 // since when
}

func newWatch() watch { return watch{overUS: -1} }

// The figures of SPEC.md, section 8.
const (
	beyondMdeg  = 3000
	beyondTimes = 3
	silentTimes = 50
	silentUS    = 100_000
	lowSupplyUS = 20_000
)

// guard trips over current, range, sensors and supply.
func (m *machine) guard(channel uint8, j *joint, r Reading) {
	now := m.deck.w.TimeUS()
	v, s := &j.watch, j.set
	switch limit := int32(s.CurrentMax); {
	case limit == 0 || r.Current <= limit:
		v.overUS = -1
	case v.overUS < 0:
		v.overUS = now
	case now-v.overUS > int64(s.OverMS)*1000:
		m.tripNow(wire.ReasonCurrent, channel, r.Current, limit)
		return
	}
	if !r.HasAngle && j.caps.Has&wire.HasAngle != 0 {
		if v.silent == 0 {
			v.quietUS = now
		}
		if v.silent++; v.silent >= silentTimes && now-v.quietUS >= silentUS {
			m.tripNow(wire.ReasonBus, channel, int32(v.silent), silentTimes)
			return
		}
	} else {
		v.silent = 0
	}
	end := min(max(r.Angle, s.RangeMin), s.RangeMax)
	if d := r.Angle - end; r.HasAngle && (d > beyondMdeg || d < -beyondMdeg) {
		if v.outside++; v.outside >= beyondTimes {
			m.tripNow(wire.ReasonRange, channel, r.Angle, end)
			return
		}
	} else if r.HasAngle {
		v.outside = 0
	}
	least := int32(math.Round(m.opt.MinSupplyV * 1000))
	switch {
	case r.Supply >= least:
		m.lowUS = -1
	case m.lowUS < 0:
		m.lowUS = now
	case now-m.lowUS >= lowSupplyUS:
		m.tripNow(wire.ReasonSupply, wire.NoJoint, r.Supply, least)
	}
}
