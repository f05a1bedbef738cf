package main

import (
	"fmt"
	"math"
	"strings"

	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
	"limbgauge/rig/link"
)

// Limits beyond which a reading at rest is worth a word [common practice].
const (
	noisyCounts    = 4     // noise of an angle, in counts of its sensor
	noisyRange     = 12    // a span of fewer noises is noise, of more it is motion
	offsetA        = -0.02 // no joint at rest feeds so much back
	zeroOffDeg     = 2.0   // an angle so near to where the load hangs wants no other zero
	supplyOffV     = 1.0
	supplyAboveTop = 1.05 // of the greatest voltage of the data sheet
	supplyBelowLow = 0.9  // of the least
)

// sensors says what is odd about a joint's readings at rest.
func (r *linkReport) sensors(j *linkJoint) {
	if j.Samples == 0 {
		r.about(j, "not one sample came.")
		return
	}
	bench := rig.Joint{}
	for _, b := range r.bench.Joints {
		if b.Name == j.Name {
			bench = b
		}
	}
	r.angle(j, "angle", j.Angle, wire.HasAngle, j.JointCounts, bench.Sensors.JointCounts)
	r.angle(j, "motor-side angle", j.Motor, wire.HasMotor, j.MotorCounts, bench.Sensors.MotorCounts)
	if j.OnBench && r.Firmware != "" {
		r.zeros(j, bench)
	}
	if j.OnBench && r.Firmware != "" && !j.Servo {
		r.about(j, "its channel has no servo output, so that it can not be moved.")
	}
	if j.has&wire.HasCurrent != 0 && j.Current == nil {
		r.about(j, "the current monitor gives nothing: look at its supply, its two bus wires and its address.")
	}
	if c := j.Current; c != nil && c.Mean < offsetA {
		r.about(j, "the current at rest is %.3f A, below nothing: turn the shunt's ends round, or take the offset out with \"limbgauge calibrate current\".", c.Mean)
	}
	r.supply(j, bench.Servo.Rated)
}

// magnets keeps what the angle sensors say of their magnets. Gaps are class values of such sensors' data sheets.
func (r *linkReport) magnets(all []link.Magnets) {
	for i := range r.Joints {
		if i >= len(all) {
			return
		}
		j := &r.Joints[i]
		for _, s := range []struct {
			of   wire.Magnet
			what string
			name *string
		}{{all[i].Joint, "angle sensor", &j.JointMagnet}, {all[i].Motor, "motor-side sensor", &j.MotorMagnet}} {
			switch s.of {
			case wire.MagnetWeak:
				r.about(j, "the magnet is too weak for the %s: bring it to 0.5 to 3 mm from the sensor's face, nearer than now, and centre it; is steel around it?", s.what)
			case wire.MagnetStrong:
				r.about(j, "the magnet is too strong for the %s: move it away from the sensor's face, to within 3 mm.", s.what)
			case wire.MagnetNone:
				r.about(j, "the %s finds no magnet: is one in the shaft, magnetised across its diameter, not along its axis?", s.what)
			case wire.MagnetGood:
			default:
				continue
			}
			*s.name = s.of.String()
		}
	}
	r.join()
}

func (r *linkReport) angle(j *linkJoint, what string, a *linkRead, field wire.Fields, stand, bench int) {
	frames := r.Firmware != "" // a stand of the text form says nothing of itself
	switch {
	case frames && j.OnBench && bench > 0 && j.has&field == 0:
		r.about(j, "bench.toml says it has a sensor for the %s, the stand says that it has none.", what)
	case frames && j.OnBench && bench > 0 && stand != bench:
		r.about(j, "the sensor for the %s has %d counts per turn in bench.toml, %d by the stand.", what, bench, stand)
	}
	if a == nil {
		if j.has&field != 0 {
			r.about(j, "the sensor for the %s gives nothing: look at its supply, its two bus wires, and the channel of the multiplexer.", what)
		}
		return
	}
	if a.Missing > 0 {
		r.about(j, "the %s is missing in %d of %d samples: look at the plugs and the pull-ups of its bus.", what, a.Missing, a.Missing+a.Values)
	}
	counts := max(stand, bench)
	switch {
	case a.Constant:
		r.about(j, "the %s did not change at all. At rest that can be right: turn the joint by hand while you run this again.", what)
	case counts > 0 && a.Noise > noisyCounts*360/float64(counts) && a.Most-a.Least < noisyRange*a.Noise:
		r.about(j, "the %s scatters by %.2f deg without moving: is the magnet in place, centred over the sensor, and as near as its data sheet wants it?", what, a.Noise)
	}
}

// zeros says which zero bench.toml should state if the joint stands at its own now. Where its load hangs
// as it should, it does not.
func (r *linkReport) zeros(j *linkJoint, bench rig.Joint) {
	rest := 0.0
	if bench.Load != nil {
		rest = math.Max(bench.RangeDeg[0], math.Min(bench.RangeDeg[1], bench.Load.DownDeg))
	}
	for _, s := range []struct {
		read      *linkRead
		what, key string
		gear      float64
		mount     rig.Mount
		zero      func(*rig.Joint) *float64
	}{
		{j.Angle, "angle", "joint_zero_deg", 1, bench.Sensors.Joint(), func(b *rig.Joint) *float64 { return &b.Sensors.JointZeroDeg }},
		{j.Motor, "motor-side angle", "motor_zero_deg", bench.Ratio(), bench.Sensors.Motor(), func(b *rig.Joint) *float64 { return &b.Sensors.MotorZeroDeg }},
	} {
		if s.read == nil || math.Abs(s.read.Mean) < zeroOffDeg || math.Abs(s.read.Mean-s.gear*rest) < zeroOffDeg {
			continue
		}
		at := math.Round(s.mount.ZeroAt(s.read.Mean)*10) / 10
		*s.zero(&bench) = at
		if key, _, hint := bench.SensorWrong(); key == s.key {
			r.about(j, "the %s reads %.1f deg. If the joint stands at its zero now: %s, since its range would pass half a turn from the sensor's own 0.", s.what, s.read.Mean, hint)
			continue
		}
		r.about(j, "the %s reads %.1f deg. If the joint stands at its zero now, write %s = %.1f below its [joint.sensors].", s.what, s.read.Mean, s.key, at)
	}
}

func (r *linkReport) supply(j *linkJoint, rated []rig.Rating) {
	v := j.Supply
	switch {
	case v == nil && j.has&wire.HasSupply != 0:
		r.about(j, "the supply voltage can not be read: look at the monitor's wires.")
	case v == nil:
	case v.Mean < supplyOffV:
		r.about(j, "the servos' supply is off (%.2f V). That is right as long as only sensors are looked at.", v.Mean)
	case len(rated) == 0:
	case v.Mean > supplyAboveTop*rated[len(rated)-1].Volts:
		r.about(j, "the servos' supply is %.2f V, the data sheet in bench.toml goes to %g V: turn it down before a servo gets pulses.", v.Mean, rated[len(rated)-1].Volts)
	case v.Mean < supplyBelowLow*rated[0].Volts:
		r.about(j, "the servos' supply is %.2f V, the data sheet in bench.toml begins at %g V.", v.Mean, rated[0].Volts)
	}
}

// sensorError says which joints of the bench give no angle, nil when all do.
func (r *linkReport) sensorError() error {
	var mute []string
	for _, j := range r.Joints {
		if j.OnBench && j.Angle == nil {
			mute = append(mute, j.Name)
		}
	}
	if len(mute) == 0 {
		return nil
	}
	return kindError{fmt.Errorf("no angle comes from: %s", strings.Join(mute, ", ")), exitNoAngle,
		"the line works; look at these sensors: supply, bus wires, address, channel of the multiplexer, and channel in bench.toml"}
}
