package wire

// The magic bytes of hello_ask and hello. With the two version bytes behind them they stay where
// they are in every version to come.
const (
	magic0 = 'L'
	magic1 = 'G'
)

// HelloAsk begins a conversation: the stand disarms, stops sampling, forgets all set-up and
// queues, and answers with Hello.
type HelloAsk struct {
	Major, Minor uint8
	Nonce        uint16 // comes back in the answer, so that an old answer is not taken for it; not 0
}

// Setup starts sampling of the joints in Mask at Hz, or stops it with Hz 0. Only while disarmed.
type Setup struct {
	Tag  uint8
	Hz   uint16 // samples per second and joint
	Mask uint8  // bit j: joint j
}

// SetupJoint tells the stand what it needs of one joint before it may be armed. Only while disarmed.
type SetupJoint struct {
	Tag, Joint uint8
	Flags      SetupFlags
	RangeMin   int32 // mdeg, joint side
	RangeMax   int32
	PulseMinUS uint16 // pulse width that commands CommandMin
	PulseMaxUS uint16 // pulse width that commands CommandMax
	CommandMin int32  // mdeg, joint side; greater than CommandMax on a joint mounted the other way round
	CommandMax int32
	CurrentMax uint16 // mA, 0: no limit
	OverMS     uint16 // how long the current may stay above it
	JointZero  int32  // mdeg of the joint's sensor at joint angle 0
	MotorZero  int32  // mdeg of the motor side's sensor at motor angle 0
	FrameHz    uint16 // servo pulses per second, 0: the stand's own rate; of version 1.1, left out when 0
}

// Servo pulses per second that a stand may be asked for, and what lies at least between the end of a pulse and the
// next one. A pulse of 2.5 ms and its gap fit each.
const (
	MinFrameHz = 50
	MaxFrameHz = 333
	PulseGapUS = 500
)

// LongestPulseUS is the longest pulse that fits so many a second.
func LongestPulseUS(frameHz int) int { return 1_000_000/frameHz - PulseGapUS }

// SetupFlags are the switches of SetupJoint.
type SetupFlags uint8

// The switches; the other bits are reserved and 0.
const (
	JointReversed SetupFlags = 1 << 0 // the joint's sensor counts the other way
	MotorReversed SetupFlags = 1 << 1 // the motor side's sensor counts the other way
)

// ClockAsk asks for the stand's time at the moment this message arrived whole.
type ClockAsk struct{ Tag uint8 }

// Heartbeat says that the host is alive. It is not answered.
type Heartbeat struct{ Count uint8 }

// ArmAsk asks for an arming token.
type ArmAsk struct{ Tag uint8 }

// Arm switches the pulses of the joints in Mask on, if the token is the one the stand just gave.
type Arm struct {
	Tag   uint8
	Token uint16
	Mask  uint8
}

// Disarm switches all pulses off, empties the queues and acknowledges a trip. Never refused.
type Disarm struct{ Tag uint8 }

// Move queues one move of one joint.
type Move struct {
	Tag, Joint uint8
	Kind       uint8  // the table of kinds in SPEC.md
	Segment    uint16 // running number of the move, from 1; a repeated number is acknowledged and not queued twice
	Target     int32  // mdeg
	Rate       uint32 // mdeg/s, 24 bit; 0: at once
	DwellMS    uint32
}

// Stop ends the moves of the joints in Mask where they are and empties their queues. Pulses go on.
type Stop struct{ Tag, Mask uint8 }

// StatusAsk asks for a status now.
type StatusAsk struct{ Tag uint8 }

// Bye ends a conversation: the stand disarms and stops sampling.
type Bye struct{ Tag uint8 }

// Type implements Message.
func (m *HelloAsk) Type() Type { return TypeHelloAsk }

// Type implements Message.
func (m *Setup) Type() Type { return TypeSetup }

// Type implements Message.
func (m *SetupJoint) Type() Type { return TypeSetupJoint }

// Type implements Message.
func (m *ClockAsk) Type() Type { return TypeClockAsk }

// Type implements Message.
func (m *Heartbeat) Type() Type { return TypeHeartbeat }

// Type implements Message.
func (m *ArmAsk) Type() Type { return TypeArmAsk }

// Type implements Message.
func (m *Arm) Type() Type { return TypeArm }

// Type implements Message.
func (m *Disarm) Type() Type { return TypeDisarm }

// Type implements Message.
func (m *Move) Type() Type { return TypeMove }

// Type implements Message.
func (m *Stop) Type() Type { return TypeStop }

// Type implements Message.
func (m *StatusAsk) Type() Type { return TypeStatusAsk }

// Type implements Message.
func (m *Bye) Type() Type { return TypeBye }

// AppendBody implements Message.
func (m *HelloAsk) AppendBody(b []byte) ([]byte, error) {
	b = append(b, byte(TypeHelloAsk), magic0, magic1, m.Major, m.Minor)
	return append16(b, m.Nonce), nil
}

// ParseBody implements Message.
func (m *HelloAsk) ParseBody(b []byte) error {
	if err := need(b, TypeHelloAsk, 7); err != nil {
		return err
	}
	if b[1] != magic0 || b[2] != magic1 {
		return ErrMalformed
	}
	*m = HelloAsk{Major: b[3], Minor: b[4], Nonce: get16(b[5:])}
	return nil
}

// AppendBody implements Message.
func (m *Setup) AppendBody(b []byte) ([]byte, error) {
	return append(append16(append(b, byte(TypeSetup), m.Tag), m.Hz), m.Mask), nil
}

// ParseBody implements Message.
func (m *Setup) ParseBody(b []byte) error {
	if err := need(b, TypeSetup, 5); err != nil {
		return err
	}
	*m = Setup{Tag: b[1], Hz: get16(b[2:]), Mask: b[4]}
	return nil
}

// AppendBody implements Message.
func (m *SetupJoint) AppendBody(b []byte) ([]byte, error) {
	for _, f := range [...]struct {
		name string
		v    int32
	}{{"range min", m.RangeMin}, {"range max", m.RangeMax}, {"command min", m.CommandMin},
		{"command max", m.CommandMax}, {"joint zero", m.JointZero}, {"motor zero", m.MotorZero}} {
		if err := within(f.name, f.v, Min24, Max24); err != nil {
			return b, err
		}
	}
	b = append(b, byte(TypeSetupJoint), m.Tag, m.Joint, byte(m.Flags))
	b = append24(append24(b, m.RangeMin), m.RangeMax)
	b = append16(append16(b, m.PulseMinUS), m.PulseMaxUS)
	b = append24(append24(b, m.CommandMin), m.CommandMax)
	b = append16(append16(b, m.CurrentMax), m.OverMS)
	b = append24(append24(b, m.JointZero), m.MotorZero)
	if m.FrameHz != 0 { // as short as ever where nothing new is said
		b = append16(b, m.FrameHz)
	}
	return b, nil
}

// ParseBody implements Message.
func (m *SetupJoint) ParseBody(b []byte) error {
	if err := need(b, TypeSetupJoint, 30); err != nil {
		return err
	}
	*m = SetupJoint{Tag: b[1], Joint: b[2], Flags: SetupFlags(b[3]),
		RangeMin: get24(b[4:]), RangeMax: get24(b[7:]), PulseMinUS: get16(b[10:]), PulseMaxUS: get16(b[12:]),
		CommandMin: get24(b[14:]), CommandMax: get24(b[17:]), CurrentMax: get16(b[20:]), OverMS: get16(b[22:]),
		JointZero: get24(b[24:]), MotorZero: get24(b[27:])}
	if len(b) >= 32 {
		m.FrameHz = get16(b[30:])
	}
	return nil
}

// AppendBody implements Message.
func (m *ClockAsk) AppendBody(b []byte) ([]byte, error) {
	return append(b, byte(TypeClockAsk), m.Tag), nil
}

// ParseBody implements Message.
func (m *ClockAsk) ParseBody(b []byte) error { return parse1(b, TypeClockAsk, &m.Tag) }

// AppendBody implements Message.
func (m *Heartbeat) AppendBody(b []byte) ([]byte, error) {
	return append(b, byte(TypeHeartbeat), m.Count), nil
}

// ParseBody implements Message.
func (m *Heartbeat) ParseBody(b []byte) error { return parse1(b, TypeHeartbeat, &m.Count) }

// AppendBody implements Message.
func (m *ArmAsk) AppendBody(b []byte) ([]byte, error) {
	return append(b, byte(TypeArmAsk), m.Tag), nil
}

// ParseBody implements Message.
func (m *ArmAsk) ParseBody(b []byte) error { return parse1(b, TypeArmAsk, &m.Tag) }

// AppendBody implements Message.
func (m *Arm) AppendBody(b []byte) ([]byte, error) {
	return append(append16(append(b, byte(TypeArm), m.Tag), m.Token), m.Mask), nil
}

// ParseBody implements Message.
func (m *Arm) ParseBody(b []byte) error {
	if err := need(b, TypeArm, 5); err != nil {
		return err
	}
	*m = Arm{Tag: b[1], Token: get16(b[2:]), Mask: b[4]}
	return nil
}

// AppendBody implements Message.
func (m *Disarm) AppendBody(b []byte) ([]byte, error) {
	return append(b, byte(TypeDisarm), m.Tag), nil
}

// ParseBody implements Message.
func (m *Disarm) ParseBody(b []byte) error { return parse1(b, TypeDisarm, &m.Tag) }

// AppendBody implements Message.
func (m *Move) AppendBody(b []byte) ([]byte, error) {
	if err := within("target", m.Target, Min24, Max24); err != nil {
		return b, err
	}
	if m.Rate > 1<<24-1 {
		return b, within("rate", int32(min(m.Rate, 1<<31-1)), 0, 1<<24-1)
	}
	b = append16(append(b, byte(TypeMove), m.Tag, m.Joint, m.Kind), m.Segment)
	b = append24(append24(b, m.Target), int32(m.Rate))
	return append32(b, m.DwellMS), nil
}

// ParseBody implements Message.
func (m *Move) ParseBody(b []byte) error {
	if err := need(b, TypeMove, 16); err != nil {
		return err
	}
	*m = Move{Tag: b[1], Joint: b[2], Kind: b[3], Segment: get16(b[4:]), Target: get24(b[6:]),
		Rate: getU24(b[9:]), DwellMS: get32(b[12:])}
	return nil
}

// AppendBody implements Message.
func (m *Stop) AppendBody(b []byte) ([]byte, error) {
	return append(b, byte(TypeStop), m.Tag, m.Mask), nil
}

// ParseBody implements Message.
func (m *Stop) ParseBody(b []byte) error {
	if err := need(b, TypeStop, 3); err != nil {
		return err
	}
	*m = Stop{Tag: b[1], Mask: b[2]}
	return nil
}

// AppendBody implements Message.
func (m *StatusAsk) AppendBody(b []byte) ([]byte, error) {
	return append(b, byte(TypeStatusAsk), m.Tag), nil
}

// ParseBody implements Message.
func (m *StatusAsk) ParseBody(b []byte) error { return parse1(b, TypeStatusAsk, &m.Tag) }

// AppendBody implements Message.
func (m *Bye) AppendBody(b []byte) ([]byte, error) { return append(b, byte(TypeBye), m.Tag), nil }

// ParseBody implements Message.
func (m *Bye) ParseBody(b []byte) error { return parse1(b, TypeBye, &m.Tag) }

// parse1 reads a message that is one byte behind its type.
func parse1(b []byte, t Type, v *uint8) error {
	if err := need(b, t, 2); err != nil {
		return err
	}
	*v = b[1]
	return nil
}
