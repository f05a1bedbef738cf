package wire

import "fmt"

// Version of the protocol this package speaks. What changes which is in SPEC.md.
const (
	Major = 1
	Minor = 1
)

// Times that both sides rely on.
const (
	HeartbeatEveryMS = 100  // the host sends a heartbeat this often
	HeartbeatTripMS  = 250  // an armed stand trips when none came for this long
	QuietAfterMS     = 5000 // a stand without any heartbeat stops sampling after this long
	TokenMS          = 2000 // an arming token is good for this long
	StatusEveryMS    = 100  // the stand sends a status this often once the host said hello
	SampleHoldMS     = 20   // a sample waits in the stand no longer than this for company
)

// StartRate is the greatest rate, mdeg/s, of a joint's first move after arming, whatever the move asks.
const StartRate = 30000

// MaxJoints is the greatest number of joints of one stand.
const MaxJoints = 6

// NoJoint stands in a joint field for "no joint in particular".
const NoJoint = 0xFF

// AllJoints is the mask of every joint, for Stop.
const AllJoints = 0xFF

// Type is the first byte of a body.
type Type uint8

// The messages. Those below 0x40 go from host to stand, those from 0x40 to 0x7F back.
const (
	TypeHelloAsk   Type = 0x01
	TypeSetup      Type = 0x02
	TypeSetupJoint Type = 0x03
	TypeClockAsk   Type = 0x04
	TypeHeartbeat  Type = 0x05
	TypeArmAsk     Type = 0x06
	TypeArm        Type = 0x07
	TypeDisarm     Type = 0x08
	TypeMove       Type = 0x09
	TypeStop       Type = 0x0A
	TypeStatusAsk  Type = 0x0B
	TypeBye        Type = 0x0C

	TypeHello    Type = 0x41
	TypeAck      Type = 0x42
	TypeRefusal  Type = 0x43
	TypeClock    Type = 0x44
	TypeArmToken Type = 0x45
	TypeStatus   Type = 0x46
	TypeTrip     Type = 0x47
	TypeMoveGone Type = 0x48
	TypeLog      Type = 0x49
	TypeSamples  Type = 0x50
)

var typeNames = map[Type]string{
	TypeHelloAsk: "hello_ask", TypeSetup: "setup", TypeSetupJoint: "setup_joint", TypeClockAsk: "clock_ask",
	TypeHeartbeat: "heartbeat", TypeArmAsk: "arm_ask", TypeArm: "arm", TypeDisarm: "disarm", TypeMove: "move",
	TypeStop: "stop", TypeStatusAsk: "status_ask", TypeBye: "bye",
	TypeHello: "hello", TypeAck: "ack", TypeRefusal: "refusal", TypeClock: "clock", TypeArmToken: "arm_token",
	TypeStatus: "status", TypeTrip: "trip", TypeMoveGone: "move_gone", TypeLog: "log", TypeSamples: "samples",
}

// String returns the name SPEC.md gives the message.
func (t Type) String() string {
	if s, ok := typeNames[t]; ok {
		return s
	}
	return fmt.Sprintf("type 0x%02X", uint8(t))
}

// FromHost says whether the type lies in the host's half of the numbers, known or not.
func (t Type) FromHost() bool { return t < 0x40 }

// New returns an empty message of a type, nil for a type this version does not know.
func New(t Type) Message {
	switch t {
	case TypeHelloAsk:
		return new(HelloAsk)
	case TypeSetup:
		return new(Setup)
	case TypeSetupJoint:
		return new(SetupJoint)
	case TypeClockAsk:
		return new(ClockAsk)
	case TypeHeartbeat:
		return new(Heartbeat)
	case TypeArmAsk:
		return new(ArmAsk)
	case TypeArm:
		return new(Arm)
	case TypeDisarm:
		return new(Disarm)
	case TypeMove:
		return new(Move)
	case TypeStop:
		return new(Stop)
	case TypeStatusAsk:
		return new(StatusAsk)
	case TypeBye:
		return new(Bye)
	case TypeHello:
		return new(Hello)
	case TypeAck:
		return new(Ack)
	case TypeRefusal:
		return new(Refusal)
	case TypeClock:
		return new(Clock)
	case TypeArmToken:
		return new(ArmToken)
	case TypeStatus:
		return new(Status)
	case TypeTrip:
		return new(Trip)
	case TypeMoveGone:
		return new(MoveGone)
	case TypeLog:
		return new(Log)
	case TypeSamples:
		return new(Samples)
	}
	return nil
}

// Parse makes a message of a body. It allocates the message: where that matters, look at body[0]
// and call ParseBody of a message that is kept.
func Parse(body []byte) (Message, error) {
	if len(body) == 0 {
		return nil, fmt.Errorf("%w: empty", ErrMalformed)
	}
	m := New(Type(body[0]))
	if m == nil {
		return nil, fmt.Errorf("%w: unknown %s", ErrMalformed, Type(body[0]))
	}
	return m, m.ParseBody(body)
}

// State is what the stand is ready for.
type State uint8

// The states of a stand. It sends pulses in StateArmed only.
const (
	StateDisarmed State = 0
	StateArmed    State = 1
	StateTripped  State = 2
)

// String returns the state's name.
func (s State) String() string { return nameOf("state", uint8(s), "disarmed", "armed", "tripped") }

// Reason says why a stand tripped or restarted.
type Reason uint8

// The reasons. Value and limit of a trip are in the unit given here.
const (
	ReasonNone      Reason = 0
	ReasonHeartbeat Reason = 1  // no heartbeat: ms since the last, ms allowed
	ReasonCurrent   Reason = 2  // current over its limit for too long: mA, mA
	ReasonRange     Reason = 3  // joint angle outside its range: mdeg, mdeg of the end passed
	ReasonBus       Reason = 4  // a sensor does not answer: count of failed readings, count allowed
	ReasonSupply    Reason = 5  // supply too low to hold: mV, mV
	ReasonReset     Reason = 6  // the stand restarted: 0, 0
	ReasonWatchdog  Reason = 7  // the firmware lost its rhythm: us late, us allowed
	ReasonCommand   Reason = 8  // an accepted move could not be carried out: segment, 0
	ReasonButton    Reason = 9  // a stop switch on the stand: 0, 0
	ReasonPowerUp   Reason = 10 // reset reason only: supply switched on
)

// String returns the reason's name.
func (r Reason) String() string {
	return nameOf("reason", uint8(r), "none", "heartbeat", "current", "range", "bus", "supply", "reset",
		"watchdog", "command", "button", "power_up")
}

// Code says why a stand refused a message.
type Code uint8

// The codes of a refusal.
const (
	CodeUnknown     Code = 1  // the stand knows no such message
	CodeMalformed   Code = 2  // too short, or reserved values
	CodeNoHello     Code = 3  // no hello of this protocol version yet
	CodeNotArmed    Code = 4  // moves need an armed stand
	CodeArmed       Code = 5  // set-up needs a disarmed stand
	CodeTripped     Code = 6  // disarm first to acknowledge the trip
	CodeNotSetUp    Code = 7  // the joint has no range yet
	CodeNoJoint     Code = 8  // no such joint, or it can not move
	CodeRange       Code = 9  // target outside the joint's range
	CodeQueueFull   Code = 10 // no room for another move
	CodeValue       Code = 11 // a field the stand can not carry out
	CodeToken       Code = 12 // wrong, used or stale arming token
	CodeRate        Code = 13 // sample rate above what the stand can do
	CodeNoHeartbeat Code = 14 // arming needs a running heartbeat
	CodeFrame       Code = 15 // servo frame rate that the outputs can not make, or not beside that of another joint
)

// String returns the code's name.
func (c Code) String() string {
	return nameOf("code", uint8(c), "none", "unknown", "malformed", "no_hello", "not_armed", "armed", "tripped",
		"not_set_up", "no_joint", "range", "queue_full", "value", "token", "rate", "no_heartbeat", "frame")
}

func nameOf(what string, v uint8, names ...string) string {
	if int(v) < len(names) {
		return names[v]
	}
	return fmt.Sprintf("%s %d", what, v)
}

// Fields is a set of what a joint can measure, or what a samples message carries.
type Fields uint8

// The fields, in the order they stand in a record.
const (
	HasAngle   Fields = 1 << 0 // joint-side angle
	HasMotor   Fields = 1 << 1 // motor-side angle
	HasCurrent Fields = 1 << 2
	HasSupply  Fields = 1 << 3
	HasTorque  Fields = 1 << 4
	HasTemp    Fields = 1 << 5
	HasServo   Fields = 1 << 6 // hello only: the joint can be moved
	hasRecord         = HasAngle | HasMotor | HasCurrent | HasSupply | HasTorque | HasTemp
)
