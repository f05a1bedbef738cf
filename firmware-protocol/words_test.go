package wire

import (
	"fmt"
	"strings"
)

// inWords writes a message as the fields and records of a vector.
func inWords(m Message) (field, record []string) {
	add := func(name string, values ...any) {
		s := fmt.Sprintln(append([]any{name}, values...)...)
		field = append(field, strings.TrimSuffix(s, "\n"))
	}
	switch m := m.(type) {
	case *HelloAsk:
		add("major", m.Major)
		add("minor", m.Minor)
		add("nonce", m.Nonce)
	case *Setup:
		add("tag", m.Tag)
		add("hz", m.Hz)
		add("mask", m.Mask)
	case *SetupJoint:
		add("tag", m.Tag)
		add("joint", m.Joint)
		add("flags", uint8(m.Flags))
		add("range_min", m.RangeMin)
		add("range_max", m.RangeMax)
		add("pulse_min", m.PulseMinUS)
		add("pulse_max", m.PulseMaxUS)
		add("command_min", m.CommandMin)
		add("command_max", m.CommandMax)
		add("current_max", m.CurrentMax)
		add("over", m.OverMS)
		add("joint_zero", m.JointZero)
		add("motor_zero", m.MotorZero)
		add("frame_hz", m.FrameHz)
	case *ClockAsk:
		add("tag", m.Tag)
	case *ArmAsk:
		add("tag", m.Tag)
	case *Disarm:
		add("tag", m.Tag)
	case *StatusAsk:
		add("tag", m.Tag)
	case *Bye:
		add("tag", m.Tag)
	case *Heartbeat:
		add("count", m.Count)
	case *Arm:
		add("tag", m.Tag)
		add("token", m.Token)
		add("mask", m.Mask)
	case *Move:
		add("tag", m.Tag)
		add("joint", m.Joint)
		add("kind", m.Kind)
		add("segment", m.Segment)
		add("target", m.Target)
		add("rate", m.Rate)
		add("dwell", m.DwellMS)
	case *Stop:
		add("tag", m.Tag)
		add("mask", m.Mask)
	case *Hello:
		add("major", m.Major)
		add("minor", m.Minor)
		add("nonce", m.Nonce)
		add("firmware", fmt.Sprintf("%d.%d.%d", m.Firmware[0], m.Firmware[1], m.Firmware[2]))
		add("reset", uint8(m.Reset))
		add("queue", m.Queue)
		add("max_hz", m.MaxHz)
		for _, j := range m.Joint[:m.Joints] {
			add("joint", uint8(j.Has), j.JointCounts, j.MotorCounts)
		}
		add("name", m.Name)
	case *Ack:
		add("tag", m.Tag)
		add("of", m.Of)
	case *Refusal:
		add("tag", m.Tag)
		add("of", m.Of)
		add("code", m.Code)
		add("joint", m.Joint)
	case *Clock:
		add("tag", m.Tag)
		add("time", m.TimeUS)
	case *ArmToken:
		add("tag", m.Tag)
		add("token", m.Token)
	case *Status:
		add("tag", m.Tag)
		add("state", m.State)
		add("trip", m.Trip)
		add("trip_joint", m.TripJoint)
		add("time", m.TimeUS)
		add("bad_frames", m.BadFrames)
		for _, j := range m.Joint[:m.Joints] {
			add("joint", uint8(j.Flags), j.Free, j.Segment, j.Gone, j.Seq, j.Dropped, j.Late)
		}
	case *Trip:
		add("reason", m.Reason)
		add("joint", m.Joint)
		add("time", m.TimeUS)
		add("value", m.Value)
		add("limit", m.Limit)
	case *MoveGone:
		add("joint", m.Joint)
		add("how", uint8(m.How))
		add("segment", m.Segment)
		add("gone", m.Gone)
		add("time", m.TimeUS)
	case *Log:
		add("text", m.Text)
	case *Samples:
		add("joint", m.Joint)
		add("has", uint8(m.Has))
		add("kind", m.Kind)
		add("segment", m.Segment)
		add("seq", m.Seq)
		for _, r := range m.Rec[:m.N] {
			s := fmt.Sprint(r.TimeUS, " ", r.Command)
			for bit, v := range [...]int32{r.Angle, r.Motor, r.Current, r.Supply, r.Torque, r.Temp} {
				if m.Has&(1<<bit) != 0 {
					s += fmt.Sprint(" ", v)
				} else {
					s += " -"
				}
			}
			record = append(record, s)
		}
	}
	return field, record
}
