package wire

import (
	"fmt"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode"
)

var ascii = &unicode.RangeTable{R16: []unicode.Range16{{Lo: 0x20, Hi: 0x7E, Stride: 1}}}

func allTypes() []Type {
	var all []Type
	for t := range typeNames {
		all = append(all, t)
	}
	slices.Sort(all)
	return all
}

func TestNewKnowsEveryType(t *testing.T) {
	for i := range 256 {
		typ := Type(i)
		_, named := typeNames[typ]
		m := New(typ)
		if (m != nil) != named {
			t.Errorf("%s: New gives %v, named %t", typ, m, named)
		}
		if m != nil && m.Type() != typ {
			t.Errorf("New(%s) makes a %s", typ, m.Type())
		}
	}
}

// TestSpecNamesTheSame holds the numbers and names of the code against the tables of SPEC.md.
func TestSpecNamesTheSame(t *testing.T) {
	text, err := os.ReadFile("SPEC.md")
	if err != nil {
		t.Fatal(err)
	}
	spec := string(text)
	has := func(format string, args ...any) {
		t.Helper()
		if want := fmt.Sprintf(format, args...); !strings.Contains(spec, want) {
			t.Errorf("SPEC.md does not say %q", want)
		}
	}
	for typ, name := range typeNames {
		if !regexp.MustCompile("`?" + name + "`? +0x" + fmt.Sprintf("%02X", uint8(typ))).MatchString(spec) {
			t.Errorf("SPEC.md does not give %s the number 0x%02X", name, uint8(typ))
		}
	}
	for c := CodeUnknown; !strings.HasPrefix(c.String(), "code "); c++ {
		has("| %d | %s |", c, c)
	}
	for r := ReasonHeartbeat; !strings.HasPrefix(r.String(), "reason "); r++ {
		has("| %d | %s |", r, r)
	}
	for s := StateDisarmed; s <= StateTripped; s++ {
		has("%d %s", s, s)
	}
	has("| body, stand to host | %d |", MaxBody)
	has("| body, host to stand | %d |", MaxHostBody)
	has("| stuffed frame with its delimiter | %d (%d) |", MaxFrame, MaxHostBody+4)
	has("version %d.%d", Major, Minor)
	has("0 to %d !", MaxJoints)
	has("0 to %d !", MaxName)
	has("0 to %d bytes", MaxLog)
	has("more than %d ms", HeartbeatTripMS)
	has("`heartbeat` each %d ms", HeartbeatEveryMS)
	has("`status` each %d ms", StatusEveryMS)
	has("is %d ms old", SampleHoldMS)
	has("after %d s without a heartbeat", QuietAfterMS/1000)
	has("within %d s. A token", TokenMS/1000)
	has("at most at 30,000 mdeg/s")
	has("servo pulses per second, %d to %d;", MinFrameHz, MaxFrameHz)
	has("a gap of %.1f ms", PulseGapUS/1000.)
	header, err := os.ReadFile("avr/core/limits.h")
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]int{"HEARTBEAT_US": HeartbeatTripMS * 1000, "FRAME_HZ_MIN": MinFrameHz, "FRAME_HZ_MAX": MaxFrameHz, "PULSE_GAP_US": PulseGapUS} {
		if got := setting(t, string(header), name); got != fmt.Sprint(want) {
			t.Errorf("limits.h of the firmware has %s %s, want %d", name, got, want)
		}
	}
	// The table of what a sample costs.
	for _, row := range []struct {
		fields Fields
		words  string
	}{
		{HasAngle | HasCurrent | HasSupply, "angle, current, supply"},
		{HasAngle | HasMotor | HasCurrent | HasSupply, "angle, motor, current, supply"},
		{hasRecord, "all six"},
	} {
		m := new(Samples)
		m.Start(0, row.fields, 0, 0)
		lengths := map[int]int{}
		for i := 0; m.Add(uint16(i), Record{}); i++ {
			body, err := m.AppendBody(nil)
			if err != nil {
				t.Fatal(err)
			}
			lengths[m.N] = len(body) + 4 // CRC, COBS, delimiter
		}
		has("| %s | %d bytes | %d in %d bytes: %.1f each |", row.words, lengths[1], m.N, lengths[m.N], float64(lengths[m.N])/float64(m.N))
	}
}

// SPEC.md, section 4: bits 0 and 1 of the flags, then three bits for each magnet.
func TestMagnets(t *testing.T) {
	for _, c := range []struct {
		flags        JointFlags
		joint, motor Magnet
	}{
		{0x03, MagnetUnknown, MagnetUnknown}, {0x04, MagnetGood, MagnetUnknown}, {0x68, MagnetWeak, MagnetStrong}, {0x91, MagnetNone, MagnetNone}, {0xFC, 7, 7},
	} {
		if c.flags.JointMagnet() != c.joint || c.flags.MotorMagnet() != c.motor {
			t.Errorf("%#x: %s and %s, want %s and %s", uint8(c.flags), c.flags.JointMagnet(), c.flags.MotorMagnet(), c.joint, c.motor)
		}
		if got := (c.flags & 3).WithMagnets(c.joint, c.motor); got != c.flags {
			t.Errorf("put in again: %#x, want %#x", uint8(got), uint8(c.flags))
		}
	}
	if MagnetNone.String() != "none" || Magnet(7).String() != "magnet 7" {
		t.Errorf("%s, %s", MagnetNone, Magnet(7))
	}
}
