package wire

import "fmt"

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

// The switches. Bits 2 to 4 and 5 to 7 hold the magnets of the two angle sensors.
const (
	JointSetUp JointFlags = 1 << 0
	JointArmed JointFlags = 1 << 1

	jointMagnetBit, motorMagnetBit = 2, 5
	magnetMask                     = 7
)

// Magnet is what an angle sensor says of the magnet it looks at.
type Magnet uint8

// What it can say. Other numbers are of a later version.
const (
	MagnetUnknown Magnet = 0 // the stand does not know, or does not tell
	MagnetGood    Magnet = 1
	MagnetWeak    Magnet = 2
	MagnetStrong  Magnet = 3
	MagnetNone    Magnet = 4 // none is found
)

// String returns the name.
func (m Magnet) String() string {
	return nameOf("magnet", uint8(m), "unknown", "good", "weak", "strong", "none")
}

// JointMagnet returns that of the joint's angle sensor.
func (f JointFlags) JointMagnet() Magnet { return Magnet(f >> jointMagnetBit & magnetMask) }

// MotorMagnet returns that of the motor side's.
func (f JointFlags) MotorMagnet() Magnet { return Magnet(f >> motorMagnetBit & magnetMask) }

// WithMagnets returns the flags with both magnets put in.
func (f JointFlags) WithMagnets(joint, motor Magnet) JointFlags {
	return f&(JointSetUp|JointArmed) | JointFlags(joint&magnetMask)<<jointMagnetBit | JointFlags(motor&magnetMask)<<motorMagnetBit
}

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

// Type implements Message.
func (m *Status) Type() Type { return TypeStatus }

// Type implements Message.
func (m *Trip) Type() Type { return TypeTrip }

// Type implements Message.
func (m *MoveGone) Type() Type { return TypeMoveGone }

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
