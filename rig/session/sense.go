package session

import (
	"fmt"
	"strings"

	"limbgauge/rig"
)

// SenseError says that a joint's angle runs against its command: a sensor counts the other way than
// bench.toml says. Motion was stopped, as nothing that such a run shows is true.
type SenseError struct {
	Joint string
	Keys  []string // of the joint's sensors in bench.toml, with the value each should have
}

// Error implements error.
func (e *SenseError) Error() string {
	return fmt.Sprintf("joint %s turns against its command by its own sensor: write %s below its [joint.sensors] in bench.toml, or turn the sensor's direction pin round",
		e.Joint, strings.Join(e.Keys, " and "))
}

// A sense is told from the first moves [common practice].
const (
	senseEveryUS  = 250_000 // from reading to reading: long against the servo's delay
	senseLeastDeg = 2       // of command between them
	senseEnough   = 4       // readings that agree
)

// sense compares the ways of one sensor with those of the command.
type sense struct {
	begun          bool
	atUS           int64
	command, angle int32
	with, against  int
}

// take looks at a reading that belongs to a move. A way of less than half the command's says nothing.
func (s *sense) take(atUS int64, command, angle int32) {
	if angle == rig.Missing || s.with >= senseEnough || s.begun && atUS-s.atUS < senseEveryUS {
		return
	}
	asked, came := float64(command-s.command), float64(angle-s.angle)
	if asked < 0 {
		asked, came = -asked, -came
	}
	switch {
	case !s.begun || asked < senseLeastDeg*1000:
	case came <= -asked/2:
		s.against++
	case came >= asked/2:
		s.with++
	}
	s.begun, s.atUS, s.command, s.angle = true, atUS, command, angle
}

// wrong says that the ways went against the command, but for what a single wild reading does.
func (s *sense) wrong() bool { return s.against >= senseEnough && s.against > 3*s.with }

// senses are those of a joint's two sensors.
type senses struct{ joint, motor sense }

// look takes what came of a joint and says whether it turns against its command.
func (s *senses) look(b *rig.Batch, j rig.Joint) error {
	for i, segment := range b.Segment {
		if segment != 0 {
			r := b.Row(i)
			s.joint.take(r.TimeUS, r.Command, r.Angle)
			s.motor.take(r.TimeUS, r.Command, r.Motor)
		}
	}
	var keys []string
	if s.joint.wrong() {
		keys = append(keys, fmt.Sprintf("joint_reversed = %t", !j.Sensors.JointReversed))
	}
	if s.motor.wrong() {
		keys = append(keys, fmt.Sprintf("motor_reversed = %t", !j.Sensors.MotorReversed))
	}
	if keys == nil {
		return nil
	}
	return &SenseError{Joint: j.Name, Keys: keys}
}
