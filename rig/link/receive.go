package link

import (
	"bytes"
	"fmt"
	"time"

	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
)

// hearing keeps the first bytes that came before the hello, to say what the other end may be.
type hearing struct {
	first    []byte
	echo     bool
	restarts int // hellos of restarts
	reset    wire.Reason
}

// restartsMany is how many restarts while we wait for a hello are one too many: opening the port makes
// one, a boot loader that gives up may make another.
const restartsMany = 3

func (h *hearing) verdict(n Counts) Heard {
	switch {
	case h.echo:
		return HeardEcho
	case h.restarts >= restartsMany:
		return HeardRestarts
	case bytes.Contains(h.first, []byte("sample,")) || bytes.Contains(h.first, []byte("joint_deg=")):
		return HeardText
	case n.Frames > 0:
		return HeardFrames
	case len(h.first) > 0:
		return HeardNoise
	}
	return HeardNothing
}

// receive decodes what was read.
func (c *Conn) receive(dec *wire.Decoder, chunk []byte) {
	if len(chunk) == 0 {
		return
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.lastIn = time.Now()
	if c.nonce != 0 && len(c.heard.first) < 1024 {
		c.heard.first = append(c.heard.first, chunk...)
	}
	for len(chunk) > 0 {
		var body []byte
		body, chunk = dec.Next(chunk)
		if d := dec.Drops(); d != c.counts.Drops {
			c.broken += d.Total() - c.counts.Drops.Total()
			c.counts.Drops = d
		}
		if body != nil {
			c.counts.Frames++
			c.frame(body)
		}
	}
}

// frame acts on one body. Called with c.mu held.
func (c *Conn) frame(body []byte) {
	typ := wire.Type(body[0])
	if typ == wire.TypeHello {
		c.onHello(body)
		return
	}
	if c.nonce != 0 { // from before our hello: an older conversation's, or our own echo
		c.heard.echo = c.heard.echo || typ.FromHost()
		return
	}
	if typ == wire.TypeSamples {
		if err := c.in.ParseBody(body); err != nil {
			c.counts.Malformed++
			c.broken++
			return
		}
		c.onSamples(&c.in)
		return
	}
	if typ.FromHost() || wire.New(typ) == nil {
		c.counts.Unknown++
		return
	}
	m, err := wire.Parse(body)
	if err != nil {
		c.counts.Malformed++
		return
	}
	switch m := m.(type) {
	case *wire.Ack:
		c.answer(m.Tag, m.Of, reply{})
	case *wire.Refusal:
		if m.Code == wire.CodeNoHello && !c.parting.Load() { // it forgot us, and its hello was lost
			c.onRestart(ErrRestarted)
			return
		}
		c.answer(m.Tag, m.Of, reply{refused: m})
	case *wire.ArmToken:
		c.answer(m.Tag, wire.TypeArmAsk, reply{token: m.Token})
	case *wire.Clock:
		c.onClock(m)
	case *wire.Status:
		c.onStatus(m)
	case *wire.Trip:
		c.onTrip(Tripped{m.Reason, c.jointIndex(m.Joint), c.device.at(m.TimeUS), int(m.Value), int(m.Limit)})
	case *wire.MoveGone:
		us := c.device.at(m.TimeUS)
		if i := c.jointIndex(m.Joint); i >= 0 {
			c.gone[m.Joint] = m.Gone
			c.announce()
			c.box.put(&MoveGone{Joint: i, Segment: m.Segment, Finished: m.How == wire.Finished, TimeUS: us})
		}
	case *wire.Log:
		c.box.put(&Log{m.Text})
	}
}

func (c *Conn) onHello(body []byte) {
	var h wire.Hello
	if err := h.ParseBody(body); err != nil {
		c.counts.Malformed++
		return
	}
	switch {
	case c.nonce != 0 && h.Nonce == 0:
		c.heard.restarts++
		c.heard.reset = h.Reset
	case c.nonce != 0 && h.Nonce == c.nonce:
		c.nonce = 0
		c.hello <- h
	case c.nonce == 0 && h.Nonce == 0:
		c.onRestart(fmt.Errorf("%w (its reason: %s)", ErrRestarted, ResetWords(h.Reset)))
	}
	// Anything else answers a repeat of our question, or somebody else's.
}

// onRestart ends the conversation with a stand that restarted, which takes all set-up and arming along.
func (c *Conn) onRestart(err error) {
	select {
	case <-c.over: // it was told once
		return
	default:
	}
	t := Tripped{Reason: wire.ReasonReset, Joint: -1, TimeUS: c.device.last}
	c.trip = &t
	c.announce()
	c.box.put(&t)
	c.fail(err)
}

func (c *Conn) onClock(m *wire.Clock) {
	r := c.pending[m.Tag]
	if r == nil || r.of != wire.TypeClockAsk {
		return
	}
	delete(c.pending, m.Tag)
	trip, us := time.Since(r.sent), c.device.at(m.TimeUS)
	c.clock.add(exchange{host: r.sent.Add(trip / 2), trip: trip, device: us})
	c.arrived(ArrivedTime, -1, us)
}

func (c *Conn) onStatus(m *wire.Status) {
	c.status.State, c.status.TimeUS, c.status.At = m.State, c.device.at(m.TimeUS), time.Now()
	c.status.Bad = int(m.BadFrames)
	c.arrived(ArrivedStatus, -1, c.status.TimeUS)
	for ch, s := range m.Joint[:m.Joints] {
		i := c.index[ch]
		if i < 0 {
			continue
		}
		c.gone[ch] = s.Gone // repairs a lost move_gone
		c.status.Magnets[i] = Magnets{s.Flags.JointMagnet(), s.Flags.MotorMagnet()}
		t := &c.tally[i]
		t.loss.Late += int(s.Late - t.late)
		t.late = s.Late
		c.status.Dropped[i] += int(s.Dropped - c.wrapped[ch])
		c.wrapped[ch] = s.Dropped
		if c.hz == 0 { // sampling has stopped, so nothing is on its way
			t.settle(s.Seq)
		}
	}
	if m.State == wire.StateTripped { // repairs a lost trip
		c.onTrip(Tripped{Reason: m.Trip, Joint: c.jointIndex(m.TripJoint), TimeUS: c.status.TimeUS})
	}
	c.announce()
	c.answer(m.Tag, wire.TypeStatusAsk, reply{})
}

func (c *Conn) onTrip(t Tripped) {
	if c.trip != nil {
		return
	}
	c.trip = &t
	c.announce()
	c.box.put(&t)
}

// onSamples accounts for a message of samples and copies it into the batch that is being gathered.
func (c *Conn) onSamples(m *wire.Samples) {
	us := c.device.at(m.Rec[0].TimeUS)
	i := c.jointIndex(m.Joint)
	if i < 0 {
		c.counts.Unknown++
		return
	}
	t := &c.tally[i]
	lastUS := us + int64(m.Rec[m.N-1].TimeUS-m.Rec[0].TimeUS)
	period := 0.0
	if c.hz > 0 {
		period = 1e6 / c.hz
	}
	lost := t.loss.Lost
	if !t.take(m.Seq, m.N, us, lastUS, period) {
		return
	}
	if t.loss.Lost > lost && c.broken > 0 {
		// A gap right after a broken frame says whose frame that was.
		t.loss.Damaged++
		c.broken--
	}
	c.arrived(ArrivedSamples, i, lastUS)
	ok := c.box.add(len(c.joints), i, m.N, func(b *rig.Batch) {
		for _, r := range m.Rec[:m.N] {
			b.Append(row(m, r, us+int64(r.TimeUS-m.Rec[0].TimeUS)))
		}
	})
	if !ok {
		t.loss.Lost += m.N
		c.counts.Overflow += m.N
		return
	}
	c.counts.Samples += m.N
}

// arrived tells who wants to know. Called with c.mu held.
func (c *Conn) arrived(what Arriving, joint int, us int64) {
	if c.opt.Arrived != nil {
		c.opt.Arrived(Arrival{what, joint, us, c.lastIn})
	}
}

// row turns a record into a sample of the bench; what the stand did not send is missing, not 0.
func row(m *wire.Samples, r wire.Record, us int64) rig.Row {
	pick := func(f wire.Fields, v int32) int32 {
		if m.Has&f == 0 {
			return rig.Missing
		}
		return v
	}
	return rig.Row{
		TimeUS: us, Move: rig.MoveKind(m.Kind), Segment: m.Segment, Command: r.Command,
		Angle: pick(wire.HasAngle, r.Angle), Motor: pick(wire.HasMotor, r.Motor),
		Current: pick(wire.HasCurrent, r.Current), Supply: pick(wire.HasSupply, r.Supply),
		Torque: pick(wire.HasTorque, r.Torque), Temp: pick(wire.HasTemp, r.Temp),
	}
}
