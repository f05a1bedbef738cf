package wire

import "fmt"

// Hello is a stand's answer to HelloAsk, and what it says unasked (Nonce 0) after a restart.
type Hello struct {
	Major, Minor uint8
	Nonce        uint16
	Firmware     [3]uint8 // major, minor, patch
	Reset        Reason   // why the stand last restarted
	Queue        uint8    // moves a joint's queue holds, the running one included; at least 2
	MaxHz        uint16   // greatest sample rate with all joints sampled
	Joints       int      // how many of Joint are in use
	Joint        [MaxJoints]JointCaps
	Name         string // firmware's name, at most MaxName printable ASCII characters
}

// MaxName is the greatest length of a firmware's name.
const MaxName = 16

// JointCaps is what a stand can do with one joint.
type JointCaps struct {
	Has         Fields
	JointCounts uint32 // of the joint's sensor per turn, 24 bit; 0: none
	MotorCounts uint32 // of the motor side's sensor per turn, 24 bit; 0: none
}

// Ack says that the message with the tag was taken. For a move it means queued.
type Ack struct {
	Tag uint8
	Of  Type
}

// Refusal says that the message with the tag changed nothing, and why.
type Refusal struct {
	Tag   uint8
	Of    Type
	Code  Code
	Joint uint8 // or NoJoint
}

// Clock answers ClockAsk.
type Clock struct {
	Tag    uint8
	TimeUS uint32
}

// ArmToken answers ArmAsk. The token is good once, for TokenMS.
type ArmToken struct {
	Tag   uint8
	Token uint16
}

// Status is how a stand is, sent each StatusEveryMS, at each change of state, and when asked.
type Status struct {
	Tag       uint8 // of the StatusAsk it answers, 0 when unasked
	State     State
	Trip      Reason // of the trip, while StateTripped
	TripJoint uint8  // or NoJoint
	TimeUS    uint32
	BadFrames uint16 // broken frames the stand received since hello
	Joints    int    // how many of Joint are in use
	Joint     [MaxJoints]JointStatus
}

// JointStatus is one joint's part of a Status. Its counts start at 0 at hello and wrap.
type JointStatus struct {
	Flags   JointFlags
	Free    uint8  // moves the queue can take
	Segment uint16 // of the running move, 0: none
	Gone    uint16 // moves that left the queue, finished or discarded
	Seq     uint16 // number the next sample will bear
	Dropped uint16 // samples that were numbered and not sent
	Late    uint16 // samples taken more than a quarter period after their time
}

// JointFlags are the switches of a JointStatus.
type JointFlags uint8

// The switches; the other bits are reserved.
const (
	JointSetUp JointFlags = 1 << 0
	JointArmed JointFlags = 1 << 1
)

// Trip says that the stand stopped its pulses by itself. Value and Limit are in the unit of the Reason.
type Trip struct {
	Reason Reason
	Joint  uint8 // or NoJoint
	TimeUS uint32
	Value  int32
	Limit  int32
}

// MoveGone says that a move left a joint's queue.
type MoveGone struct {
	Joint   uint8
	How     How
	Segment uint16
	Gone    uint16 // as in JointStatus
	TimeUS  uint32
}

// How says how a move left the queue.
type How uint8

// The ways out of a queue.
const (
	Finished  How = 0
	Discarded How = 1
)

// Log is a line of text for people, at most MaxLog bytes of printable ASCII.
type Log struct{ Text string }

// MaxLog is the greatest length of a Log's text.
const MaxLog = 80

func (m *Hello) Type() Type    { return TypeHello }
func (m *Ack) Type() Type      { return TypeAck }
func (m *Refusal) Type() Type  { return TypeRefusal }
func (m *Clock) Type() Type    { return TypeClock }
func (m *ArmToken) Type() Type { return TypeArmToken }
func (m *Status) Type() Type   { return TypeStatus }
func (m *Trip) Type() Type     { return TypeTrip }
func (m *MoveGone) Type() Type { return TypeMoveGone }
func (m *Log) Type() Type      { return TypeLog }

// AppendBody implements Message.
func (m *Hello) AppendBody(b []byte) ([]byte, error) {
	if err := within("joints", int32(m.Joints), 0, MaxJoints); err != nil {
		return b, err
	}
	if err := printable("name", m.Name, MaxName); err != nil {
		return b, err
	}
	for _, j := range m.Joint[:m.Joints] {
		if j.JointCounts >= 1<<24 || j.MotorCounts >= 1<<24 {
			return b, fmt.Errorf("counts per turn %d, %d: greatest is %d", j.JointCounts, j.MotorCounts, 1<<24-1)
		}
	}
	b = append(b, byte(TypeHello), magic0, magic1, m.Major, m.Minor)
	b = append16(b, m.Nonce)
	b = append(b, m.Firmware[0], m.Firmware[1], m.Firmware[2], byte(m.Reset), m.Queue)
	b = append(append16(b, m.MaxHz), byte(m.Joints), byte(len(m.Name)))
	for _, j := range m.Joint[:m.Joints] {
		b = append24(append24(append(b, byte(j.Has)), int32(j.JointCounts)), int32(j.MotorCounts))
	}
	return append(b, m.Name...), nil
}

// ParseBody implements Message. Of a stand with another Major it reads the versions only, which
// stand in the same place in every version.
func (m *Hello) ParseBody(b []byte) error {
	if err := need(b, TypeHello, 7); err != nil {
		return err
	}
	if b[1] != magic0 || b[2] != magic1 {
		return fmt.Errorf("%w: hello without its magic bytes", ErrMalformed)
	}
	*m = Hello{Major: b[3], Minor: b[4], Nonce: get16(b[5:])}
	if m.Major != Major {
		return nil
	}
	if err := need(b, TypeHello, 16); err != nil {
		return err
	}
	n, k := int(b[14]), int(b[15])
	if n > MaxJoints || k > MaxName || len(b) < 16+7*n+k {
		return fmt.Errorf("%w: hello of %d bytes with %d joints and a name of %d", ErrMalformed, len(b), n, k)
	}
	m.Firmware, m.Reset, m.Queue, m.MaxHz, m.Joints = [3]uint8(b[7:]), Reason(b[10]), b[11], get16(b[12:]), n
	for j := range n {
		p := b[16+7*j:]
		m.Joint[j] = JointCaps{Has: Fields(p[0]), JointCounts: getU24(p[1:]), MotorCounts: getU24(p[4:])}
	}
	m.Name = clean(b[16+7*n:][:k])
	return nil
}

// AppendBody implements Message.
func (m *Ack) AppendBody(b []byte) ([]byte, error) {
	return append(b, byte(TypeAck), m.Tag, byte(m.Of)), nil
}

// ParseBody implements Message.
func (m *Ack) ParseBody(b []byte) error {
	if err := need(b, TypeAck, 3); err != nil {
		return err
	}
	*m = Ack{Tag: b[1], Of: Type(b[2])}
	return nil
}

// AppendBody implements Message.
func (m *Refusal) AppendBody(b []byte) ([]byte, error) {
	return append(b, byte(TypeRefusal), m.Tag, byte(m.Of), byte(m.Code), m.Joint), nil
}

// ParseBody implements Message.
func (m *Refusal) ParseBody(b []byte) error {
	if err := need(b, TypeRefusal, 5); err != nil {
		return err
	}
	*m = Refusal{Tag: b[1], Of: Type(b[2]), Code: Code(b[3]), Joint: b[4]}
	return nil
}

// AppendBody implements Message.
func (m *Clock) AppendBody(b []byte) ([]byte, error) {
	return append32(append(b, byte(TypeClock), m.Tag), m.TimeUS), nil
}

// ParseBody implements Message.
func (m *Clock) ParseBody(b []byte) error {
	if err := need(b, TypeClock, 6); err != nil {
		return err
	}
	*m = Clock{Tag: b[1], TimeUS: get32(b[2:])}
	return nil
}

// AppendBody implements Message.
func (m *ArmToken) AppendBody(b []byte) ([]byte, error) {
	return append16(append(b, byte(TypeArmToken), m.Tag), m.Token), nil
}

// ParseBody implements Message.
func (m *ArmToken) ParseBody(b []byte) error {
	if err := need(b, TypeArmToken, 4); err != nil {
		return err
	}
	*m = ArmToken{Tag: b[1], Token: get16(b[2:])}
	return nil
}

// AppendBody implements Message.
func (m *Status) AppendBody(b []byte) ([]byte, error) {
	if err := within("joints", int32(m.Joints), 0, MaxJoints); err != nil {
		return b, err
	}
	b = append(b, byte(TypeStatus), m.Tag, byte(m.State), byte(m.Trip), m.TripJoint)
	b = append(append16(append32(b, m.TimeUS), m.BadFrames), byte(m.Joints))
	for _, j := range m.Joint[:m.Joints] {
		b = append16(append16(append(b, byte(j.Flags), j.Free), j.Segment), j.Gone)
		b = append16(append16(append16(b, j.Seq), j.Dropped), j.Late)
	}
	return b, nil
}

// ParseBody implements Message.
func (m *Status) ParseBody(b []byte) error {
	if err := need(b, TypeStatus, 12); err != nil {
		return err
	}
	n := int(b[11])
	if n > MaxJoints || len(b) < 12+12*n {
		return fmt.Errorf("%w: status of %d bytes with %d joints", ErrMalformed, len(b), n)
	}
	*m = Status{Tag: b[1], State: State(b[2]), Trip: Reason(b[3]), TripJoint: b[4], TimeUS: get32(b[5:]),
		BadFrames: get16(b[9:]), Joints: n}
	for j := range n {
		p := b[12+12*j:]
		m.Joint[j] = JointStatus{Flags: JointFlags(p[0]), Free: p[1], Segment: get16(p[2:]), Gone: get16(p[4:]),
			Seq: get16(p[6:]), Dropped: get16(p[8:]), Late: get16(p[10:])}
	}
	return nil
}

// AppendBody implements Message.
func (m *Trip) AppendBody(b []byte) ([]byte, error) {
	b = append32(append(b, byte(TypeTrip), byte(m.Reason), m.Joint), m.TimeUS)
	return append32(append32(b, uint32(m.Value)), uint32(m.Limit)), nil
}

// ParseBody implements Message.
func (m *Trip) ParseBody(b []byte) error {
	if err := need(b, TypeTrip, 15); err != nil {
		return err
	}
	*m = Trip{Reason: Reason(b[1]), Joint: b[2], TimeUS: get32(b[3:]), Value: int32(get32(b[7:])), Limit: int32(get32(b[11:]))}
	return nil
}

// AppendBody implements Message.
func (m *MoveGone) AppendBody(b []byte) ([]byte, error) {
	b = append(b, byte(TypeMoveGone), m.Joint, byte(m.How))
	return append32(append16(append16(b, m.Segment), m.Gone), m.TimeUS), nil
}

// ParseBody implements Message.
func (m *MoveGone) ParseBody(b []byte) error {
	if err := need(b, TypeMoveGone, 11); err != nil {
		return err
	}
	*m = MoveGone{Joint: b[1], How: How(b[2]), Segment: get16(b[3:]), Gone: get16(b[5:]), TimeUS: get32(b[7:])}
	return nil
}

// AppendBody implements Message.
func (m *Log) AppendBody(b []byte) ([]byte, error) {
	if err := printable("text", m.Text, MaxLog); err != nil {
		return b, err
	}
	return append(append(b, byte(TypeLog)), m.Text...), nil
}

// ParseBody implements Message.
func (m *Log) ParseBody(b []byte) error {
	if err := need(b, TypeLog, 1); err != nil {
		return err
	}
	m.Text = clean(b[1:])
	return nil
}

func printable(what, s string, most int) error {
	if len(s) > most {
		return fmt.Errorf("%s of %d bytes is longer than %d", what, len(s), most)
	}
	for i := range len(s) {
		if s[i] < 0x20 || s[i] > 0x7E {
			return fmt.Errorf("%s holds byte 0x%02X, which is not printable ASCII", what, s[i])
		}
	}
	return nil
}

// clean makes a stand's text safe to show: whatever a stand sends must not steer a terminal.
func clean(b []byte) string {
	out := make([]byte, len(b))
	for i, c := range b {
		if c < 0x20 || c > 0x7E {
			c = '?'
		}
		out[i] = c
	}
	return string(out)
}
