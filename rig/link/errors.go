package link

import (
	"errors"
	"fmt"
	"time"

	wire "limbgauge/firmware-protocol"
)

// How a conversation can end.
var (
	// ErrClosed: Close was called.
	ErrClosed = errors.New("the conversation with the stand was closed")
	// ErrGone: the line broke or the stand fell silent.
	ErrGone = errors.New("the stand went away: look at its cable and its supply, then start again")
	// ErrRestarted: the stand restarted in the middle; its clock and numbers began anew.
	ErrRestarted = errors.New("the stand restarted: look at its supply (brown-out?) and its reset line, then start again")
)

// Heard says what came back instead of a hello.
type Heard int

// What can come back.
const (
	HeardNothing  Heard = iota
	HeardNoise          // bytes that make no frames
	HeardText           // lines of the text form
	HeardEcho           // our own frames
	HeardFrames         // frames, but no hello
	HeardRestarts       // the hello of a restart, again and again
)

// NoHelloError says that whoever is at the other end did not introduce itself as a stand.
type NoHelloError struct {
	Heard  Heard
	Waited time.Duration
	Reset  wire.Reason // of HeardRestarts: what the last one gave as its reason
}

func (e *NoHelloError) Error() string {
	what := [...]string{
		HeardNothing: "nothing came back: is it powered, is this the right port?",
		HeardNoise:   "what came back is no frames: wrong baud rate, or not a stand",
		HeardText:    `it prints lines of the text form: set form = "text" under [stand] and listen`,
		HeardEcho:    "our own bytes came back: sending and receiving wire are joined, or the port is a loop",
		HeardFrames:  "frames came back but no hello: not a stand's firmware, or one that hangs",
		HeardRestarts: fmt.Sprintf("it restarts again and again (%s): look at its supply (brown-out?) and its reset line",
			ResetWords(e.Reset)),
	}[e.Heard]
	return fmt.Sprintf("no hello from a stand within %s; %s", e.Waited, what)
}

// ResetWords says in words why a stand restarted.
func ResetWords(r wire.Reason) string {
	switch r {
	case wire.ReasonPowerUp:
		return "its supply came on"
	case wire.ReasonReset:
		return "reset line, or the port was opened"
	case wire.ReasonSupply:
		return "brown-out: its supply sank"
	case wire.ReasonWatchdog:
		return "watchdog: the firmware hung"
	case wire.ReasonNone:
		return "it does not know why"
	}
	return r.String()
}

// ChannelError says that the bench has a joint on a channel that the stand does not have.
type ChannelError struct {
	Joint        string
	Channel, Has int
}

func (e *ChannelError) Error() string {
	if e.Has == 0 {
		return fmt.Sprintf("joint %q is on channel %d, the stand has none: flash a firmware made for joints", e.Joint, e.Channel)
	}
	return fmt.Sprintf("joint %q is on channel %d, the stand has %d (0 to %d): correct channel in bench.toml",
		e.Joint, e.Channel, e.Has, e.Has-1)
}

// VersionError says that the stand speaks another major version of the protocol.
type VersionError struct{ StandMajor, StandMinor uint8 }

func (e *VersionError) Error() string {
	older := "flash the firmware that belongs to this limbgauge"
	if e.StandMajor > wire.Major {
		older = "use the limbgauge that belongs to this firmware"
	}
	return fmt.Sprintf("the stand speaks protocol %d.%d, this limbgauge %d.%d: %s",
		e.StandMajor, e.StandMinor, wire.Major, wire.Minor, older)
}

// FrameError says that a stand of an older minor version can not be told how often a servo gets a pulse. It
// would go on at a rate of its own.
type FrameError struct {
	Joint    string
	Hz       int
	Protocol string // of the stand
}

func (e *FrameError) Error() string {
	return fmt.Sprintf("joint %q has frame_hz = %d in bench.toml, and the stand speaks protocol %s, which knows no such thing: flash the firmware that belongs to this limbgauge, or leave the key out",
		e.Joint, e.Hz, e.Protocol)
}

// RefusedError says that the stand refused a request and changed nothing.
type RefusedError struct {
	Of    wire.Type
	Code  wire.Code
	Joint string // name of the joint it is about; empty for none
}

func (e *RefusedError) Error() string {
	joint := ""
	if e.Joint != "" {
		joint = fmt.Sprintf(" for joint %q", e.Joint)
	}
	return fmt.Sprintf("the stand refused %s%s: %s", e.Of, joint, codeWords[e.Code].or(e.Code))
}

type words string

func (w words) or(c wire.Code) string {
	if w == "" {
		return c.String()
	}
	return string(w)
}

var codeWords = map[wire.Code]words{
	wire.CodeUnknown:     "its firmware does not know this message",
	wire.CodeMalformed:   "the message is malformed",
	wire.CodeNoHello:     "it wants a hello first",
	wire.CodeNotArmed:    "it is not armed",
	wire.CodeArmed:       "not while it is armed",
	wire.CodeTripped:     "it has tripped; disarm it first",
	wire.CodeNotSetUp:    "the joint is not set up",
	wire.CodeNoJoint:     "it has no such joint, or the joint can not be moved",
	wire.CodeRange:       "the target is outside the joint's range",
	wire.CodeQueueFull:   "its queue is full",
	wire.CodeValue:       "a value it can not carry out",
	wire.CodeToken:       "the arming token was wrong or too old",
	wire.CodeRate:        "it can not sample that fast",
	wire.CodeNoHeartbeat: "it hears no heartbeat",
	wire.CodeFrame:       "it can not give this servo another number of pulses a second than the joints beside it; state one frame_hz for all of them, or set up one joint at a time",
}

// NoReplyError says that a request was repeated and never answered.
type NoReplyError struct{ Of wire.Type }

func (e *NoReplyError) Error() string {
	return fmt.Sprintf("the stand did not answer %s in %d tries of %s", e.Of, requestTries, requestEvery)
}

// TrippedError says that something could not be done because the stand has tripped.
type TrippedError struct {
	Trip  Tripped
	Joint string // name of the joint; empty for none in particular
}

func (e *TrippedError) Error() string {
	s := "the stand tripped: " + TripWords(e.Trip)
	if e.Joint != "" {
		s += fmt.Sprintf(" (joint %q)", e.Joint)
	}
	return s
}

// HostLate says that the stand tripped since it heard nothing of us for too long: the computer was busy
// or the cable failed, and the joint has nothing to do with it.
func (e *TrippedError) HostLate() bool { return e.Trip.Reason == wire.ReasonHeartbeat }

// TripWords says a trip's reason with its figures in words.
func TripWords(t Tripped) string {
	v, l := float64(t.Value), float64(t.Limit)
	if t.Value == 0 && t.Limit == 0 {
		return t.Reason.String()
	}
	switch t.Reason {
	case wire.ReasonHeartbeat:
		return fmt.Sprintf("no heartbeat for %d ms (%d allowed)", t.Value, t.Limit)
	case wire.ReasonCurrent:
		return fmt.Sprintf("current %.2f A stayed over %.2f A", v/1e3, l/1e3)
	case wire.ReasonRange:
		return fmt.Sprintf("joint at %.1f deg, past the end of its range at %.1f deg", v/1e3, l/1e3)
	case wire.ReasonBus:
		return fmt.Sprintf("a sensor gave no reading %d times (%d allowed)", t.Value, t.Limit)
	case wire.ReasonSupply:
		return fmt.Sprintf("supply %.2f V, needs %.2f V", v/1e3, l/1e3)
	case wire.ReasonWatchdog:
		return fmt.Sprintf("its sample clock was %.1f ms late (%.1f allowed)", v/1e3, l/1e3)
	case wire.ReasonCommand:
		return fmt.Sprintf("move %d could not be carried out", t.Value)
	}
	return fmt.Sprintf("%s (%d, limit %d)", t.Reason, t.Value, t.Limit)
}
