package wire

import (
	"bytes"
	"errors"
	"reflect"
	"testing"

	"pgregory.net/rapid"
)

func gen24() *rapid.Generator[int32] { return rapid.Int32Range(Min24, Max24) }
func genText(n int) *rapid.Generator[string] {
	return rapid.StringOfN(rapid.RuneFrom(nil, ascii), 0, n, n)
}

// genMessage draws a message of any type with any content that fits it.
func genMessage(t *rapid.T) Message {
	u8 := func(n string) uint8 { return rapid.Uint8().Draw(t, n) }
	u16 := func(n string) uint16 { return rapid.Uint16().Draw(t, n) }
	u32 := func(n string) uint32 { return rapid.Uint32().Draw(t, n) }
	i24 := func(n string) int32 { return gen24().Draw(t, n) }
	switch m := New(rapid.SampledFrom(allTypes()).Draw(t, "type")).(type) {
	case *HelloAsk:
		*m = HelloAsk{u8("major"), u8("minor"), u16("nonce")}
		return m
	case *Setup:
		*m = Setup{u8("tag"), u16("hz"), u8("mask")}
		return m
	case *SetupJoint:
		*m = SetupJoint{u8("tag"), u8("joint"), SetupFlags(u8("flags")), i24("min"), i24("max"), u16("pmin"), u16("pmax"),
			i24("cmin"), i24("cmax"), u16("cur"), u16("over"), i24("jz"), i24("mz"), u16("frame")}
		return m
	case *Arm:
		*m = Arm{u8("tag"), u16("token"), u8("mask")}
		return m
	case *Move:
		*m = Move{u8("tag"), u8("joint"), u8("kind"), u16("segment"), i24("target"),
			rapid.Uint32Range(0, 1<<24-1).Draw(t, "rate"), u32("dwell")}
		return m
	case *Stop:
		*m = Stop{u8("tag"), u8("mask")}
		return m
	case *Hello:
		*m = Hello{Major: Major, Minor: u8("minor"), Nonce: u16("nonce"), Firmware: [3]uint8{u8("fw"), u8("fw"), u8("fw")},
			Reset: Reason(u8("reset")), Queue: u8("queue"), MaxHz: u16("hz"), Name: genText(MaxName).Draw(t, "name")}
		m.Joints = rapid.IntRange(0, MaxJoints).Draw(t, "joints")
		for j := range m.Joints {
			m.Joint[j] = JointCaps{Fields(u8("has")), u32("jc") >> 8, u32("mc") >> 8}
		}
		return m
	case *Ack:
		*m = Ack{u8("tag"), Type(u8("of"))}
		return m
	case *Refusal:
		*m = Refusal{u8("tag"), Type(u8("of")), Code(u8("code")), u8("joint")}
		return m
	case *Clock:
		*m = Clock{u8("tag"), u32("time")}
		return m
	case *ArmToken:
		*m = ArmToken{u8("tag"), u16("token")}
		return m
	case *Status:
		*m = Status{Tag: u8("tag"), State: State(u8("state")), Trip: Reason(u8("trip")), TripJoint: u8("joint"),
			TimeUS: u32("time"), BadFrames: u16("bad"), Joints: rapid.IntRange(0, MaxJoints).Draw(t, "joints")}
		for j := range m.Joints {
			m.Joint[j] = JointStatus{JointFlags(u8("flags")), u8("free"), u16("segment"), u16("gone"), u16("seq"), u16("dropped"), u16("late")}
		}
		return m
	case *Trip:
		*m = Trip{Reason(u8("reason")), u8("joint"), u32("time"), rapid.Int32().Draw(t, "value"), rapid.Int32().Draw(t, "limit")}
		return m
	case *MoveGone:
		*m = MoveGone{u8("joint"), How(u8("how")), u16("segment"), u16("gone"), u32("time")}
		return m
	case *Log:
		m.Text = genText(MaxLog).Draw(t, "text")
		return m
	case *Samples:
		genSamples(t, m)
		return m
	default: // the messages of one byte: any content is right
		body := []byte{byte(m.Type()), u8("byte")}
		if err := m.ParseBody(body); err != nil {
			t.Fatalf("%s: %v", m.Type(), err)
		}
		return m
	}
}

// genSamples fills m with a random walk as far as it fits one message.
func genSamples(t *rapid.T, m *Samples) {
	has := Fields(rapid.Uint8Range(0, uint8(hasRecord)).Draw(t, "has"))
	m.Start(rapid.Uint8().Draw(t, "joint"), has, rapid.Uint8().Draw(t, "kind"), rapid.Uint16().Draw(t, "segment"))
	seq := rapid.Uint16().Draw(t, "seq")
	r := Record{TimeUS: rapid.Uint32().Draw(t, "time"), Command: gen24().Draw(t, "command")}
	n := rapid.IntRange(1, MaxRecords+2).Draw(t, "n")
	for i := range n {
		step := rapid.Int32Range(-40000, 40000)
		r.TimeUS += uint32(rapid.IntRange(0, 70000).Draw(t, "dt"))
		r.Command = min(max(r.Command+step.Draw(t, "dc"), Min24), Max24)
		if has&HasAngle != 0 {
			r.Angle = min(max(r.Angle+step.Draw(t, "da"), Min24), Max24)
		}
		if has&HasMotor != 0 {
			r.Motor = min(max(r.Motor+step.Draw(t, "dm"), Min24), Max24)
		}
		if has&HasCurrent != 0 {
			r.Current = int32(rapid.Int16().Draw(t, "current"))
		}
		if has&HasSupply != 0 {
			r.Supply = int32(rapid.Uint16().Draw(t, "supply"))
		}
		if has&HasTorque != 0 {
			r.Torque = int32(rapid.Int16().Draw(t, "torque"))
		}
		if has&HasTemp != 0 {
			r.Temp = int32(rapid.Int16().Draw(t, "temp"))
		}
		if !m.Add(seq+uint16(i), r) {
			break
		}
	}
}

func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var e Encoder
		var d Decoder
		m := genMessage(t)
		frame, err := e.Append(nil, m)
		if err != nil {
			t.Fatal(err)
		}
		if len(frame) > MaxFrame || bytes.IndexByte(frame, 0) != len(frame)-1 {
			t.Fatalf("frame %x: %d bytes, zero not only at the end", frame, len(frame))
		}
		body, rest := d.Next(frame)
		if body == nil || len(rest) != 0 {
			t.Fatalf("frame %x not found, drops %+v", frame, d.Drops())
		}
		if m.Type().FromHost() && len(body) > MaxHostBody {
			t.Fatalf("%s of %d bytes is too long for a stand", m.Type(), len(body))
		}
		got, err := Parse(body)
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(got, m) {
			t.Fatalf("got %+v, want %+v", got, m)
		}
	})
}

// TestChunks feeds frames with garbage between them in pieces of any size: every good frame must
// come out, in order, whatever lies between two zeros elsewhere.
func TestChunks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var e Encoder
		var stream []byte
		var want [][]byte
		for range rapid.IntRange(1, 12).Draw(t, "n") {
			if rapid.Bool().Draw(t, "garbage") {
				g := rapid.SliceOfN(rapid.ByteRange(1, 255), 0, 2*MaxFrame).Draw(t, "g")
				stream = append(append(stream, g...), 0)
			}
			m := genMessage(t)
			body, err := m.AppendBody(nil)
			if err != nil {
				t.Fatal(err)
			}
			want = append(want, body)
			if stream, err = e.Append(stream, m); err != nil {
				t.Fatal(err)
			}
		}
		var d Decoder
		for len(stream) > 0 {
			n := rapid.IntRange(1, len(stream)).Draw(t, "chunk")
			for chunk := stream[:n]; len(chunk) > 0; {
				var body []byte
				if body, chunk = d.Next(chunk); body == nil {
					continue
				}
				// Garbage passes the CRC once in 65,536: such a body is no error of the decoder.
				if len(want) > 0 && bytes.Equal(body, want[0]) {
					want = want[1:]
				}
			}
			stream = stream[n:]
		}
		if len(want) != 0 {
			t.Fatalf("%d frames did not come out, drops %+v", len(want), d.Drops())
		}
	})
}

// TestOneBitFlip: a CRC of 16 bits finds every single flipped bit of a frame this short.
func TestOneBitFlip(t *testing.T) {
	var e Encoder
	frame, err := e.Append(nil, &Move{Tag: 7, Joint: 2, Kind: 2, Segment: 40, Target: -30000, Rate: 20000, DwellMS: 600})
	if err != nil {
		t.Fatal(err)
	}
	for bit := range 8 * (len(frame) - 1) {
		bad := bytes.Clone(frame)
		bad[bit/8] ^= 1 << (bit % 8)
		var d Decoder
		for chunk := bad; len(chunk) > 0; {
			var body []byte
			if body, chunk = d.Next(chunk); body != nil {
				t.Errorf("bit %d flipped: body %x was taken", bit, body)
			}
		}
		if d.Drops().Total() == 0 {
			t.Errorf("bit %d flipped: nothing was counted", bit)
		}
	}
}

func TestJoin(t *testing.T) {
	var e Encoder
	frame, err := e.Append(nil, &Heartbeat{Count: 3})
	if err != nil {
		t.Fatal(err)
	}
	tail := []byte("tail of an older frame\x00")
	for _, test := range []struct {
		name   string
		stream []byte
	}{
		{"mid-frame", append(tail, frame...)},
		{"whole frame first", frame},
	} {
		var d Decoder
		d.Join()
		body, _ := d.Next(test.stream)
		if !bytes.Equal(body, []byte{byte(TypeHeartbeat), 3}) || d.Drops() != (Drops{}) {
			t.Errorf("%s: body %x, drops %+v, want the heartbeat and no drops", test.name, body, d.Drops())
		}
		if d.Next(tail); d.Drops().Total() != 1 {
			t.Errorf("%s: drops %+v after the first zero, want one", test.name, d.Drops())
		}
	}
}

func TestEncodeErrors(t *testing.T) {
	var e Encoder
	full := &Samples{Has: HasAngle, N: 1}
	full.Rec[0].Angle = Max24 + 1
	for _, m := range []Message{
		&Move{Target: Max24 + 1}, &Move{Rate: 1 << 24}, &Move{Rate: 1 << 31}, &SetupJoint{RangeMin: Min24 - 1},
		&Hello{Joints: MaxJoints + 1}, &Hello{Name: "a name of far too many"}, &Hello{Name: "bell\a"},
		&Hello{Joints: 1, Joint: [MaxJoints]JointCaps{{JointCounts: 1 << 24}}},
		&Status{Joints: -1}, &Log{Text: string(make([]byte, MaxLog+1))}, &Samples{}, full, &Samples{N: 1, Has: 0x80},
	} {
		keep := []byte{9, 9}
		if got, err := e.Append(keep, m); err == nil || !bytes.Equal(got, keep) {
			t.Errorf("%s %+v: %x, %v; want an error and nothing added", m.Type(), m, got, err)
		}
	}
}

// TestShortBodies cuts every message short at every length: ErrMalformed, never a panic.
func TestShortBodies(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := genMessage(t)
		body, err := m.AppendBody(nil)
		if err != nil {
			t.Fatal(err)
		}
		for n := range len(body) {
			err := New(m.Type()).ParseBody(body[:n])
			if s, ok := m.(*Samples); ok {
				first, step := sizes(s.Has)
				if n >= samplesHead+first && (n-samplesHead-first)%step == 0 {
					continue // fewer whole records are a message of their own
				}
			}
			if _, ok := m.(*Log); ok && n > 0 {
				continue
			}
			if _, ok := m.(*SetupJoint); ok && n >= 30 {
				continue // that of version 1.0
			}
			if !errors.Is(err, ErrMalformed) {
				t.Fatalf("%s cut to %d of %d bytes: %v", m.Type(), n, len(body), err)
			}
		}
	})
}
