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

// Log is a line of text for people, at most MaxLog bytes of printable ASCII.
type Log struct{ Text string }

// MaxLog is the greatest length of a Log's text.
const MaxLog = 80

// Type implements Message.
func (m *Hello) Type() Type { return TypeHello }

// Type implements Message.
func (m *Ack) Type() Type { return TypeAck }

// Type implements Message.
func (m *Refusal) Type() Type { return TypeRefusal }

// Type implements Message.
func (m *Clock) Type() Type { return TypeClock }

// Type implements Message.
func (m *ArmToken) Type() Type { return TypeArmToken }

// Type implements Message.
func (m *Log) Type() Type { return TypeLog }

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
