package main

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"limbgauge/analyze/report"
	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
	"limbgauge/rig/link"
	"limbgauge/rig/link/find"
	"limbgauge/rig/link/port"
	"limbgauge/rig/session"
)

func standPage(t *testing.T) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(repoRoot(t), "firmware-protocol", "STAND.md"))
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// provoked are errors as the packages make them, each with the exit code that "limbgauge link" gives it.
func provoked() []error {
	const dev = "/dev/ttyUSB0"
	tried := []int{500000, 250000}
	hello := func(h link.Heard) error { return &link.NoHelloError{Heard: h, Waited: 4 * time.Second} }
	mute := linkReport{Joints: []linkJoint{{Name: "knee", OnBench: true, Samples: 10}}}
	return []error{
		&port.Error{Path: dev, Err: port.ErrNotThere}, &port.Error{Err: port.ErrNoPort}, &port.Error{Path: dev, Err: port.ErrBusy},
		&port.Error{Path: dev, Err: port.ErrPermission},
		&find.BaudError{Asked: 500000, Speaks: 250000, Form: rig.FormFrames}, &find.NoiseError{Tried: tried},
		&find.SilenceError{Waited: 4 * time.Second, Tried: tried}, &find.BootLoaderError{Baud: 115200},
		&link.QuietError{Waited: 5 * time.Second}, &link.QuietError{Waited: 5 * time.Second, Lines: 7, Bad: 7},
		hello(link.HeardText), hello(link.HeardRestarts), hello(link.HeardEcho), hello(link.HeardFrames),
		&link.VersionError{StandMajor: 0, StandMinor: 9}, &link.VersionError{StandMajor: 2},
		&link.FrameError{Joint: "knee", Hz: 250, Protocol: "1.0"},
		link.ErrGone, link.ErrRestarted, errSpeaksFrames, errNoChannels,
		&link.NoReplyError{Of: wire.TypeSetup}, &link.TrippedError{Trip: link.Tripped{Reason: wire.ReasonButton, Joint: -1}},
		&link.ChannelError{Joint: "knee", Channel: 2, Has: 1}, mute.sensorError(),
	}
}

// provokedNotes are notes that the report makes of readings like these.
func provokedNotes() []string {
	var r linkReport
	r.Firmware = "x"
	r.bench = &rig.Bench{Joints: []rig.Joint{{Name: "knee", RangeDeg: [2]float64{-75, 75}, Sensors: rig.Sensors{JointCounts: 4096}, Servo: rig.Servo{Rated: []rig.Rating{{Volts: 5}, {Volts: 6}}}}}}
	all := wire.HasAngle | wire.HasCurrent | wire.HasSupply
	for _, j := range []linkJoint{
		{has: all, Servo: true},
		{has: all, Servo: true, JointCounts: 4096, Angle: &linkRead{Values: 1238, Missing: 12}},
		{has: all, Servo: true, JointCounts: 4096, Angle: &linkRead{Values: 1250, Constant: true}},
		{has: all, Servo: true, JointCounts: 4096, Angle: &linkRead{Values: 1250, Noise: 1.5, Least: -5, Most: 5}},
		{has: all, Servo: true, Current: &linkRead{Mean: -0.05}, Supply: &linkRead{Mean: 0.02}},
		{has: all, Servo: true, Supply: &linkRead{Mean: 8.4}},
		{has: all},
		{has: all, Servo: true, Angle: &linkRead{Mean: 37.2}},
		{has: all, Servo: true, Angle: &linkRead{Mean: 150}},
	} {
		j.Name, j.OnBench, j.Samples = "knee", true, 1250
		r.sensors(&j)
	}
	var out []string
	for _, n := range r.joined {
		out = append(out, strings.Join(n.names[:1], "")+": "+n.text)
	}
	r.Joints = []linkJoint{{Name: "knee"}, {Name: "knee"}, {Name: "knee"}}
	r.magnets([]link.Magnets{{Joint: wire.MagnetWeak}, {Joint: wire.MagnetStrong}, {Joint: wire.MagnetNone}})
	r.clockNote(1e6, 100)
	r.countNotes(3, 7)
	return append(out, r.Notes...)
}

func provokedTrips() []string {
	var out []string
	for _, t := range []link.Tripped{
		{Reason: wire.ReasonHeartbeat, Value: 251, Limit: 250}, {Reason: wire.ReasonCurrent, Value: 2600, Limit: 2500},
		{Reason: wire.ReasonRange, Value: 63500, Limit: 60000}, {Reason: wire.ReasonBus, Value: 50, Limit: 50},
		{Reason: wire.ReasonSupply, Value: 4200, Limit: 4500},
	} {
		out = append(out, link.TripWords(t))
	}
	return append(out, (&session.SenseError{Joint: "knee", Keys: []string{"joint_reversed = true"}}).Error())
}

// TestStandPageMessages: each message that the page quotes is the beginning of one the program prints, with the exit code
// that stands beside it; and each trouble that "limbgauge link" tells apart is on the page.
func TestStandPageMessages(t *testing.T) {
	page := standPage(t)
	_, page, found := strings.Cut(page, "\n## Nothing comes\n")
	if !found {
		t.Fatal(`the page has no "Nothing comes", to which hints point`)
	}
	s := rig.DefaultStand()
	s.Port = "/dev/ttyUSB0"
	said, codes := map[string]int{}, map[int]bool{}
	for _, e := range provoked() {
		e := linkTrouble(e, s)
		if hintOf(e) == "" && exitCode(e) >= exitNoPort {
			t.Errorf("%v: nothing is said of what to do", e)
		}
		said[e.Error()] = exitCode(e)
	}
	for _, row := range regexp.MustCompile("(?m)^\\| (\\d+) \\| `([^`]+)` \\|").FindAllStringSubmatch(page, -1) {
		code, err := strconv.Atoi(row[1])
		if err != nil {
			t.Fatal(err)
		}
		ok := false
		for text, c := range said {
			ok = ok || strings.HasPrefix(text, row[2]) && c == code
		}
		if !ok {
			t.Errorf("exit code %d with %q is on the page; the program has no such", code, row[2])
		}
		codes[code] = true
	}
	for _, tr := range troubles() {
		if !codes[tr.code] {
			t.Errorf("exit code %d (%s) is not on the page", tr.code, tr.what)
		}
	}
	if !codes[exitNoAngle] {
		t.Errorf("exit code %d is not on the page", exitNoAngle)
	}
	lines := append(provokedNotes(), provokedTrips()...)
	quotes := regexp.MustCompile("(?m)^\\| `([^`]+)` \\|").FindAllStringSubmatch(page, -1)
	if len(quotes) < 15 {
		t.Fatalf("%d notes and trips were found on the page: the test reads it wrongly", len(quotes))
	}
	for _, q := range quotes {
		ok := false
		for _, l := range lines {
			ok = ok || strings.HasPrefix(l, q[1])
		}
		if !ok {
			t.Errorf("%q is on the page; the program says no such thing, but\n%s", q[1], strings.Join(lines, "\n"))
		}
	}
}

// TestStandPageRest: its commands are ones the program takes, its cautions those that are shown before
// motion, its headings those that hints name, its example what the program prints.
func TestStandPageRest(t *testing.T) {
	page := standPage(t)
	checkCommands(t, page, 12)
	for _, c := range report.Cautions() {
		if !strings.Contains(page, "\n* "+c+"\n") {
			t.Errorf("the page lacks the caution %q", c)
		}
	}
	for _, tr := range troubles() {
		for _, m := range regexp.MustCompile(`STAND\.md, "([^"]+)"`).FindAllStringSubmatch(tr.hint, -1) {
			if !strings.Contains(page, "\n## "+m[1]+"\n") {
				t.Errorf("a hint points to %q; the page has no such heading", m[1])
			}
		}
	}
	// The form of the example: the report's own, of made figures.
	one, lost := 250.0, 0
	r := linkReport{Port: "p", Baud: 500000, Firmware: "f", Clock: &linkClock{PPM: &one, U95: &one}, Arrival: &linkLate{}, BadFrames: &linkBad{},
		Joints: []linkJoint{{Name: "channel 0", PerS: &one, IntervalMS: &linkSpread{}, Lost: &lost, Angle: &linkRead{}, Current: &linkRead{}, Supply: &linkRead{}}}}
	var b strings.Builder
	r.print(&b)
	figure := regexp.MustCompile(`[-+]?\d[\d.]*`)
	words := func(l string) string {
		return strings.Join(strings.Fields(figure.ReplaceAllString(l, "")), " ")
	}
	have := map[string]bool{}
	for l := range strings.Lines(page) {
		have[words(l)] = true
	}
	for l := range strings.Lines(b.String()) {
		if w := words(l); strings.HasPrefix(w, "joint ") || strings.HasPrefix(w, "channel ") || strings.HasPrefix(w, "broken ") || strings.HasPrefix(w, "clock ") {
			if !have[w] {
				t.Errorf("the page's example has no line like %q", fmt.Sprint(strings.TrimSpace(l)))
			}
		}
	}
}
