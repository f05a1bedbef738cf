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

// A sense is told from the first moves [common practice].
const (
	senseEveryUS  = 250_000 // from reading to reading: longer than a servo lags
	senseLeastDeg = 2       // of command between them
	senseStraight = 0.9     // of the command's way, turns taken off
	senseEnough   = 4       // readings that agree
)

// sense compares the ways of one sensor with those of the command.
type sense struct {
	begun         bool
	atUS          int64
	angle         int32      // at the reading before
	command       int32      // at the sample before
	net, gone     [2]float64 // ways of the command since the reading before, and between that and its own
	with, against int
}

// take looks at a reading that belongs to a move. A way of less than half the command's says nothing, and
// so does a command that turns: an angle that merely lags goes the other way then.
func (s *sense) take(atUS int64, command, angle int32) {
	if s.with >= senseEnough {
		return
	}
	if s.begun {
		d := float64(command) - float64(s.command)
		s.net[0], s.gone[0] = s.net[0]+d, s.gone[0]+math.Abs(d)
	}
	s.command = command
	if angle == rig.Missing || s.begun && atUS-s.atUS < senseEveryUS {
		return
	}
	const least = senseLeastDeg * 1000
	asked := s.net[0]
	if math.Abs(asked) >= least && math.Abs(s.net[1]) >= least && math.Abs(asked+s.net[1]) >= senseStraight*(s.gone[0]+s.gone[1]) {
		switch followed := (float64(angle) - float64(s.angle)) / asked; {
		case followed <= -0.5:
			s.against++
		case followed >= 0.5:
			s.with++
		}
	}
	s.net, s.gone = [2]float64{0, s.net[0]}, [2]float64{0, s.gone[0]}
	s.begun, s.atUS, s.angle = true, atUS, angle
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
