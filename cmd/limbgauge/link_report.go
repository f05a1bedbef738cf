package main

import (
	"fmt"
	"math"
	"strings"

	"limbgauge/analyze/rhythm"
	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
	"limbgauge/rig/link"
	"limbgauge/rig/link/find"
)

// linkReport is what "limbgauge link" answers. What was not seen is left out of the JSON.
type linkReport struct {
	Port        string      `json:"port"`
	Baud        int         `json:"baud,omitempty"`
	Form        string      `json:"form"`
	Firmware    string      `json:"firmware,omitempty"`
	Protocol    string      `json:"protocol,omitempty"`
	HelloAfterS float64     `json:"hello_after_s,omitempty"`
	Restart     string      `json:"last_restart,omitempty"`
	State       string      `json:"state,omitempty"`
	Queue       int         `json:"queue_moves,omitempty"`
	MaxHz       int         `json:"max_hz,omitempty"`
	AskedHz     float64     `json:"asked_hz"`
	TakenHz     float64     `json:"sample_hz,omitempty"`
	Seconds     float64     `json:"listened_s,omitempty"`
	Clock       *linkClock  `json:"clock,omitempty"`
	Arrival     *linkLate   `json:"arrival_ms,omitempty"`
	BadFrames   *linkBad    `json:"bad_frames,omitempty"`
	BadLines    int         `json:"bad_lines,omitempty"`
	Joints      []linkJoint `json:"joints,omitempty"`
	Notes       []string    `json:"notes,omitempty"`
	Error       string      `json:"error,omitempty"`
	Hint        string      `json:"hint,omitempty"`
	ExitCode    int         `json:"exit_code"`

	bench  *rig.Bench
	joined []joinedNote // until all joints were looked at
}

type linkClock struct {
	PPM    *float64 `json:"fast_ppm,omitempty"`
	U95    *float64 `json:"u95_ppm,omitempty"`
	Reason string   `json:"reason,omitempty"` // why it is not known
}

type linkLate struct {
	Typical float64 `json:"typical"`
	P99     float64 `json:"p99"`
	Most    float64 `json:"most"`
}

type linkBad struct {
	Checksum  int `json:"checksum"`
	Form      int `json:"form"` // stuffing, length
	Malformed int `json:"malformed"`
	Unknown   int `json:"unknown"`
	AtStand   int `json:"at_stand"` // that the stand received
	Overflow  int `json:"overflow_samples"`
}

func (b linkBad) here() int { return b.Checksum + b.Form + b.Malformed }

type linkJoint struct {
	Name        string      `json:"joint"`
	Channel     int         `json:"channel"`
	OnBench     bool        `json:"in_bench"`
	Servo       bool        `json:"servo"`
	JointCounts int         `json:"joint_counts,omitempty"`
	MotorCounts int         `json:"motor_counts,omitempty"`
	JointMagnet string      `json:"joint_magnet,omitempty"` // good, weak, strong, none
	MotorMagnet string      `json:"motor_magnet,omitempty"`
	Samples     int         `json:"samples"`
	PerS        *float64    `json:"samples_per_s,omitempty"`
	IntervalMS  *linkSpread `json:"interval_ms,omitempty"`
	Lost        *int        `json:"lost_samples,omitempty"`
	Damaged     int         `json:"damaged_frames"`
	Late        int         `json:"late_samples"`
	Dropped     int         `json:"dropped_by_stand"`
	Angle       *linkRead   `json:"joint_deg,omitempty"`
	Motor       *linkRead   `json:"motor_deg,omitempty"`
	Current     *linkRead   `json:"current_a,omitempty"`
	Supply      *linkRead   `json:"supply_v,omitempty"`
	Torque      *linkRead   `json:"torque_nm,omitempty"`
	Temp        *linkRead   `json:"temp_c,omitempty"`

	has wire.Fields // what the stand says the channel measures
}

type linkSpread struct {
	Mean  float64 `json:"mean"`
	SD    float64 `json:"sd"`
	Least float64 `json:"least"`
	Most  float64 `json:"most"`
}

type linkRead struct {
	Mean     float64 `json:"mean"`
	Least    float64 `json:"least"`
	Most     float64 `json:"most"`
	Noise    float64 `json:"noise"`
	Values   int     `json:"values"`
	Missing  int     `json:"missing"`
	Constant bool    `json:"constant"`
}

func (r *linkReport) note(format string, args ...any) {
	r.Notes = append(r.Notes, fmt.Sprintf(format, args...))
}

// about notes something of a joint. What is said of several joints alike is said once.
func (r *linkReport) about(j *linkJoint, format string, args ...any) {
	text := fmt.Sprintf(format, args...)
	for i := range r.joined {
		if r.joined[i].text == text {
			r.joined[i].names = append(r.joined[i].names, j.Name)
			return
		}
	}
	r.joined = append(r.joined, joinedNote{[]string{j.Name}, text})
}

// joinedNote is a note on one or more joints.
type joinedNote struct {
	names []string
	text  string
}

// met keeps what a stand said of itself.
func (r *linkReport) met(m *find.Met) {
	s := m.Stand()
	r.Firmware, r.Protocol, r.HelloAfterS = s.Firmware, s.Protocol, s.After.Seconds()
	r.Restart, r.Queue, r.MaxHz = link.ResetWords(s.Reset), s.Queue, s.MaxHz
	if m.Slow {
		r.note("It was slow to answer: its boot loader takes long, and other commands may give up on it.")
	}
	if s.Newer {
		r.note("It speaks a newer version of the protocol than this limbgauge (%d.%d), which leaves out what it does not know.", wire.Major, wire.Minor)
	}
	if s.Reset == wire.ReasonSupply || s.Reset == wire.ReasonWatchdog {
		r.note("The stand's last restart was no good sign (%s).", r.Restart)
	}
	for _, j := range r.bench.Joints {
		if err := s.FrameError(j); err != nil {
			r.note("It can not be swept so: %v.", err)
		}
	}
	for i, j := range m.Joints() {
		c := s.Channels[j.Channel]
		r.Joints = append(r.Joints, linkJoint{Name: j.Name, Channel: j.Channel, OnBench: i < len(r.bench.Joints),
			Servo: c.Has&wire.HasServo != 0, JointCounts: int(c.JointCounts), MotorCounts: int(c.MotorCounts), has: c.Has})
	}
	if float64(s.MaxHz) < r.AskedHz {
		r.note("%g samples per second were asked for, %d is the most this stand can do: set sample_hz under [stand].", r.AskedHz, s.MaxHz)
	}
}

// watched keeps what came; hz is the rate asked for, 0 when the stand has its own.
func (r *linkReport) watched(s find.Seen, came []link.Arrival, joints []rig.Joint, losses []link.Loss, hz float64) {
	var times, samples []rhythm.Point
	for _, a := range came {
		p := rhythm.Point{Device: float64(a.DeviceUS) / 1e6, Host: a.At.Sub(s.Began).Seconds()}
		switch a.What {
		case link.ArrivedTime:
			times = append(times, p)
		case link.ArrivedSamples:
			samples = append(samples, p)
		}
		r.Seconds = max(r.Seconds, p.Host)
	}
	clock := rhythm.FitClock(times, rhythm.BeatAnswers)
	if hz == 0 {
		clock = rhythm.FitClock(samples, rhythm.BeatLines)
	}
	r.clock(clock, samples)
	for i := range joints {
		if i >= len(r.Joints) { // of the text form, which says nothing of itself
			r.Joints = append(r.Joints, linkJoint{Name: joints[i].Name, Channel: joints[i].Channel, OnBench: true})
		}
		b, j := &s.Batches[i], &r.Joints[i]
		j.pace(rhythm.PaceOf(b.TimeUS, hz))
		if losses[i].Known {
			j.Lost = &losses[i].Lost
		}
		j.Damaged, j.Late = losses[i].Damaged, losses[i].Late
		for _, c := range []struct {
			to   **linkRead
			x    []int32
			unit float64
		}{{&j.Angle, b.Angle, 1e-3}, {&j.Motor, b.Motor, 1e-3}, {&j.Current, b.Current, 1e-3}, {&j.Supply, b.Supply, 1e-3},
			{&j.Torque, b.Torque, 1e-3}, {&j.Temp, b.Temp, 1e-2}} {
			if v := rhythm.ReadingOf(c.x, rig.Missing, c.unit); v.N > 0 {
				*c.to = &linkRead{v.Mean, v.Least, v.Most, seenOr(v.Noise, 0), v.N, v.Missing, v.Constant}
			}
		}
	}
	for _, text := range s.Logs {
		r.note("The stand says: %s", text)
	}
	for i := range r.Joints {
		r.sensors(&r.Joints[i])
	}
	r.join()
}

// join makes notes of what was said about joints.
func (r *linkReport) join() {
	for _, n := range r.joined {
		r.note("%s: %s", strings.Join(n.names, ", "), n.text)
	}
	r.joined = nil
}

func (r *linkReport) clock(c rhythm.Clock, samples []rhythm.Point) {
	r.Clock = &linkClock{Reason: c.PPM.Unseen}
	if !c.PPM.Seen() {
		return
	}
	u := c.PPM.Expanded()
	r.Clock.PPM, r.Clock.U95 = &c.PPM.Value, &u
	if late := c.Lateness(samples); late.N > 0 {
		r.Arrival = &linkLate{late.Typical * 1e3, late.P99 * 1e3, late.Most * 1e3}
	}
	r.clockNote(c.PPM.Value, u)
}

func (r *linkReport) clockNote(ppm, u float64) {
	if math.Abs(ppm)-u > clockWrongPPM {
		r.note("The stand's clock is off by %+.1f %%: its firmware was built for another clock than the board has (F_CPU), or it is a virtual or emulated one that does not keep real time.", ppm/1e4)
	}
}

// clockWrongPPM is beyond what any resonator of a board is off: ceramic ones are within 0.5 % (common practice).
const clockWrongPPM = 10000

func (j *linkJoint) pace(t rhythm.Pace) {
	j.Samples = t.Samples
	if !math.IsNaN(t.PerS) {
		j.PerS = &t.PerS
	}
	if !math.IsNaN(t.Mean) {
		j.IntervalMS = &linkSpread{t.Mean * 1e3, seenOr(t.SD, 0) * 1e3, t.Least * 1e3, t.Most * 1e3}
	}
}

func seenOr(v, otherwise float64) float64 {
	if math.IsNaN(v) {
		return otherwise
	}
	return v
}

// counted keeps the counts of the line as a whole.
func (r *linkReport) counted(m *find.Met) {
	n, s := m.Counts(), m.Status()
	r.BadFrames = &linkBad{Checksum: n.Drops.Checksum, Form: n.Drops.Total() - n.Drops.Checksum, Malformed: n.Malformed,
		Unknown: n.Unknown, AtStand: s.Bad, Overflow: n.Overflow}
	for i := range r.Joints {
		if i < len(s.Dropped) {
			r.Joints[i].Dropped = s.Dropped[i]
		}
	}
	r.magnets(s.Magnets)
	late := 0
	for _, j := range r.Joints {
		late += j.Late
	}
	r.countNotes(r.BadFrames.here()+s.Bad, late)
}

func (r *linkReport) countNotes(broken, late int) {
	if broken > 0 {
		r.note("Broken frames: look at ground between board and adapter, at the cable's length and at the servos' current, which must not flow through the ground of the logic.")
	}
	if late > 0 {
		r.note("The stand took %d samples late by its own account: ask for fewer per second.", late)
	}
}

// trouble keeps an error for the JSON.
func (r *linkReport) trouble(err error) {
	if r.ExitCode = exitCode(err); err != nil {
		r.Error, r.Hint = err.Error(), strings.TrimSpace(hintOf(err))
	}
}
