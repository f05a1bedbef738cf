package main

import (
	"math"

	"limbgauge/rig"
	"limbgauge/rig/session"
	"limbgauge/rig/virtual"
)

// stillStep is a step that compares readings of a limp joint with a reference.
type stillStep struct {
	use, short, long, example string
	key                       string // of the file
	unit                      string // as printed
	at                        []float64
	within                    float64 // what the reference is taken to be right within
	only                      rig.Model
	angle                     bool
	sane                      float64 // scatter of a reading beyond which something moved
	reference, reading        string  // columns of a file of points
	prompt                    string  // with the value
	of                        func(session.Reading) session.Average
	hold                      func(h *virtual.Hand, v float64)
}

// jigWithin and meterShare are what a printed jig and a common multimeter are right within
// [common practice]; the builder who knows better says so.
const (
	jigWithinDeg = 0.1
	meterWithinA = 0.01
	meterWithinV = 0.02
)

func stillSteps() []stillStep {
	jig := func(h *virtual.Hand, v float64) { h.Jig(0, v) }
	angle := func(r session.Reading) session.Average { return r.Angle }
	return []stillStep{
		{use: "angle", short: "zero and scale of the angle sensor against a jig", key: "joint_angle", unit: "deg",
			within: jigWithinDeg, angle: true, sane: 0.5, reference: "jig_deg", reading: "reading_deg",
			prompt: "Set the joint into the jig at %g deg", of: angle, hold: jig,
			long: `Hold the joint in a jig at known angles, servo limp, and fit zero and scale. Two angles
give a line and nothing to check it by; three or more show how well a line holds; from
six on a curve is taken where the points show one.`,
			example: `  limbgauge calibrate angle knee --at -60,-30,0,30,60 --within 0.1
  limbgauge calibrate angle knee --motor --points jig.csv
  limbgauge calibrate angle knee --point -30=-28.1 --point 0=2.0 --point 30=32.2`},
		{use: "form", short: "waves per turn of an angle sensor (off-centre magnet)", key: "joint_angle", unit: "deg",
			at: []float64{-165, -135, -105, -75, -45, -15, 15, 45, 75, 105, 135, 165}, within: jigWithinDeg, angle: true, sane: 0.5, only: rig.ModelWaves,
			reference: "jig_deg", reading: "reading_deg", prompt: "Set the sensor to %g deg", of: angle, hold: jig,
			long: `Turn the sensor through most of a turn, off the joint if need be, and fit the one and two
waves per turn of an off-centre magnet. Below 270 deg waves cannot be told from scale,
and the step is refused: "angle" then gives a line or a curve for the range there is.`,
			example: "  limbgauge calibrate form knee --points turn.csv"},
		{use: "current", short: "zero and gain of the current sensor", key: "current", unit: "A",
			at: []float64{0, 0.5, 1}, within: meterWithinA, sane: math.Inf(1), reference: "meter_a", reading: "reading_a",
			prompt: "Unplug the servo and let %g A flow in its place, as a meter shows", of: func(r session.Reading) session.Average { return r.Current },
			hold: func(h *virtual.Hand, v float64) { h.Draw(0, v) },
			long: `Compare the current sensor with a meter: 0 A with the servo unplugged gives the zero, a
resistor in its place (watch its power) the gain. In a file of points, resistor_ohm
and supply_v may stand for meter_a. The zero alone: --at 0 --model zero.`,
			example: "  limbgauge calibrate current knee --point 0=0.004 --point 1.02=1.061"},
		{use: "supply", short: "zero and gain of the voltage", key: "supply", unit: "V",
			at: []float64{5, 6, 7}, within: meterWithinV, sane: math.Inf(1), reference: "meter_v", reading: "reading_v",
			prompt: "Set the supply to %g V, as a meter at the servo's plug shows", of: func(r session.Reading) session.Average { return r.Supply },
			hold: func(h *virtual.Hand, v float64) {
				h.Draw(0, 0)
				h.Supply(v)
			},
			long:    "Compare the voltage the stand reads with a meter at the servo's plug, servo unplugged.",
			example: "  limbgauge calibrate supply knee --point 5.01=4.93 --point 7.22=7.11"},
	}
}

// forMotor turns a step of the joint's angle sensor into one of the motor side's.
func (s stillStep) forMotor() stillStep {
	s.key, s.of = "motor_angle", func(r session.Reading) session.Average { return r.Motor }
	return s
}

// places reads --at.
func (k *calibrating) places(s stillStep) ([]float64, error) {
	switch {
	case k.o.at != "":
		return numbers("--at", k.o.at)
	case s.at != nil:
		return s.at, nil
	}
	ratio := 1.0
	if s.key == "motor_angle" {
		ratio = k.j.Ratio()
	}
	return jigPlaces(k.j.RangeDeg, ratio), nil
}

// jigPlaces are five angles over 80 % of a range, on whole fives where it is wide enough.
func jigPlaces(rangeDeg [2]float64, ratio float64) []float64 {
	lo, hi := rangeDeg[0]*ratio, rangeDeg[1]*ratio
	grid := 5.0
	if hi-lo < 50 {
		grid = 1
	}
	var out []float64
	for _, share := range []float64{-0.4, -0.2, 0, 0.2, 0.4} {
		out = append(out, grid*math.Round(((lo+hi)/2+share*(hi-lo))/grid))
	}
	return out
}
