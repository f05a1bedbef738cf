package rig

import (
	"fmt"
	"slices"
	"strings"

	wire "limbgauge/firmware-protocol"
)

// The keys of each table: where a value goes, what it may be, and what to write. One list per table.

func standFields(s *Stand) []field {
	return []field{
		{key: "port", into: &s.Port, want: `port = "virtual", "auto" or the path of a serial port`},
		{key: "baud", into: &s.Baud, ok: between(1200, 4e6), want: "the line rate in bits per second, as in baud = 500000"},
		{key: "sample_hz", into: &s.SampleHz, ok: between(1, 10000), want: "samples per second and joint, as in sample_hz = 250"},
		{key: "form", into: &s.Form, want: `form = "frames" or "text"`},
	}
}

func legFields(l *Leg) []field {
	return []field{{key: "name", into: &l.Name, want: `a name in quotes, as in name = "fore-left"`}}
}

func jointFields(j *Joint) []field {
	return []field{
		{key: "name", into: &j.Name, must: true, want: `a name in quotes, as in name = "knee"`},
		{key: "channel", into: &j.Channel, ok: between(0, 255), want: "the stand's channel, as in channel = 0"},
		{key: "range_deg", into: &j.RangeDeg, must: true, ok: between(-360, 360), want: "the joint angles the stand may command, as in range_deg = [-60.0, 60.0]"},
		{key: "current_max_a", into: &j.CurrentMaxA, ok: positive, want: "the current above which the stand trips, as in current_max_a = 2.5"},
		{key: "calibration", into: &j.Calibration, want: `the name of a calibration, as in calibration = "2026-03-01-knee-1"; "limbgauge calibrate list" lists them`},
	}
}

func loadFields(l *Load) []field {
	return []field{
		{key: "mass_kg", into: &l.MassKg, must: true, ok: notNegative, want: "the mass that hangs on the joint in kg, as in mass_kg = 0.25"},
		{key: "lever_m", into: &l.LeverM, must: true, ok: notNegative, want: "its distance from the joint's axis in m, as in lever_m = 0.11"},
		{key: "inertia_kg_m2", into: &l.InertiaKgM2, ok: notNegative, want: "its inertia about the joint's axis, or leave the key out for mass·lever²"},
		{key: "down_deg", into: &l.DownDeg, ok: between(-360, 360), want: "the joint angle at which the load hangs straight down, as in down_deg = 0.0"},
	}
}

func servoFields(s *Servo) []field {
	return []field{
		{key: "idle_a", into: &s.IdleA, ok: notNegative, want: "the current at rest without load, as in idle_a = 0.12"},
		{key: "travel_deg", into: &s.TravelDeg, ok: positive, want: "the angle between the two pulse_us, as in travel_deg = 180.0"},
		{key: "pulse_us", into: &s.PulseUS, ok: between(100, 10000), want: "the least and greatest pulse, as in pulse_us = [500, 2500]"},
		{key: "deadband_us", into: &s.DeadbandUS, ok: notNegative, want: "the servo's dead band, as in deadband_us = 3.0"},
		{key: "frame_hz", into: &s.FrameHz, ok: between(wire.MinFrameHz, wire.MaxFrameHz), want: fmt.Sprintf("pulses per second, from %d to %d, only where the servo's data sheet names that rate, as in frame_hz = 250; else leave the key out",
			wire.MinFrameHz, wire.MaxFrameHz)},
		{key: "current_law", into: (*string)(&s.CurrentLaw), want: `current_law = "motor" or "duty", or leave it out to have it found from the run`},
		{key: "serial", into: &s.Serial, want: `what marks this servo, as in serial = "S-07"`},
		{key: "bare_run", into: &s.BareRun, want: `the run in which this servo was swept by itself, as in bare_run = "0031"`},
	}
}

func ratingFields(r *Rating) []field {
	return []field{
		{key: "volts", into: &r.Volts, must: true, ok: positive, want: "the voltage the other figures hold at, as in volts = 6.0"},
		{key: "stall_nm", into: &r.StallNm, must: true, ok: positive, want: "the stall torque in N·m (1 kg·cm is 0.0981 N·m), as in stall_nm = 1.4"},
		{key: "no_load_deg_per_s", into: &r.NoLoadDegPerS, must: true, ok: positive, want: "the speed without load (0.15 s/60° is 400), as in no_load_deg_per_s = 420.0"},
		{key: "stall_a", into: &r.StallA, must: true, ok: positive, want: "the stall current, as in stall_a = 2.4"},
	}
}

func beltFields(b *Belt) []field {
	return []field{
		{key: "teeth", into: &b.Teeth, must: true, ok: between(6, 1000), want: "the teeth of the motor-side pulley, as in teeth = 20"},
		{key: "pitch_mm", into: &b.PitchMM, must: true, ok: positive, want: "the belt's pitch, as in pitch_mm = 2.0"},
		{key: "ratio", into: &b.Ratio, ok: positive, want: "motor angle : joint angle, as in ratio = 1.0"},
	}
}

func sensorFields(s *Sensors) []field {
	return []field{
		{key: "joint_counts", into: &s.JointCounts, ok: between(1, 1<<24), want: "counts per turn at the joint, as in joint_counts = 4096; the joint's own angle is always needed"},
		{key: "motor_counts", into: &s.MotorCounts, ok: between(0, 1<<24), want: "counts per turn at the motor side, 0 when it is not measured"},
		{key: "joint_zero_deg", into: &s.JointZeroDeg, ok: between(-halfTurnDeg, halfTurnDeg), want: "what the joint's sensor reads where the joint's angle is 0, as in joint_zero_deg = 37.2; of a reading above 180 take 360 off"},
		{key: "motor_zero_deg", into: &s.MotorZeroDeg, ok: between(-halfTurnDeg, halfTurnDeg), want: "what the motor side's sensor reads where its angle is 0, as in motor_zero_deg = -12.5; of a reading above 180 take 360 off"},
		{key: "joint_reversed", into: &s.JointReversed, want: "true when the joint's sensor counts up where the joint's angle goes down, else false"},
		{key: "motor_reversed", into: &s.MotorReversed, want: "true when the motor side's sensor counts up where its angle goes down, else false"},
		{key: "serial", into: &s.Serial, want: `what marks this set of sensors, as in serial = "K-2"`},
	}
}

// limitFields reads into one float per LimitKeys.
func limitFields(into []float64) []field {
	var out []field
	for i, k := range LimitKeys() {
		out = append(out, field{key: k.Key, into: &into[i], ok: notNegative,
			want: "what you accept, in the unit the key ends in, or leave the key out for a figure without a verdict"})
	}
	return out
}

// meant says what a key that is none was most likely meant to be: the nearest of its own table, or
// one that belongs into another.
func meant(key, near, at string, known []string) string {
	if near != "" {
		return fmt.Sprintf("did you mean %q?", near)
	}
	for _, t := range tableKeys() {
		if slices.Contains(t.keys, key) && t.at != at {
			return fmt.Sprintf("it belongs below [%s]", t.at)
		}
	}
	slices.Sort(known)
	return "it can hold " + strings.Join(known, ", ")
}

type keysOfTable struct {
	at   string
	keys []string
}

// tableKeys lists every key of every table.
func tableKeys() []keysOfTable {
	keys := func(fields []field) (out []string) {
		for _, f := range fields {
			out = append(out, f.key)
		}
		return out
	}
	return []keysOfTable{
		{"stand", keys(standFields(new(Stand)))},
		{"leg.geometry", keys(geometryFields(new(Geometry)))},
		{"leg.link.femur", keys(linkFields(new(Link)))},
		{"robot", keys(robotFields(new(Robot)))},
		{"joint.load", keys(loadFields(new(Load)))},
		{"joint.servo", append(keys(servoFields(new(Servo))), "rated")},
		{"joint.belt", keys(beltFields(new(Belt)))},
		{"joint.sensors", keys(sensorFields(new(Sensors)))},
		{"joint.limits", keys(limitFields(make([]float64, len(LimitKeys()))))},
		{"joint", keys(jointFields(new(Joint)))},
	}
}
