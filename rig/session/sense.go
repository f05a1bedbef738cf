package session

import (
	"fmt"
	"math"
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

// senseEnough is how many pieces of rig.Ways that agree tell a sense [common practice].
const senseEnough = 4

// sense compares the ways of one sensor with those of the command, in its first moves.
type sense struct {
	ways          rig.Ways
	with, against int
}

// take looks at a reading that belongs to a move.
func (s *sense) take(atUS int64, command, angle int32) {
	if s.with >= senseEnough {
		return
	}
	deg := math.NaN()
	if angle != rig.Missing {
		deg = float64(angle) / 1000
	}
	switch w := s.ways.Take(float64(atUS)/1e6, float64(command)/1000, deg); {
	case w.Against:
		s.against++
	case w.Along:
		s.with++
	}
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
