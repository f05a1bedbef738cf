package wire

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

func text(t *testing.T, path string) string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// cells returns the rows of a page's table whose first cell is the given one, without the head.
func cells(t *testing.T, page, first string) [][]string {
	t.Helper()
	var out [][]string
	in := false
	for l := range strings.Lines(page) {
		l = strings.TrimSpace(l)
		if !strings.HasPrefix(l, "|") {
			in = false
			continue
		}
		var row []string
		for _, c := range strings.Split(strings.Trim(l, "|"), "|") {
			row = append(row, strings.TrimSpace(c))
		}
		switch {
		case row[0] == first:
			in = true
		case in && !strings.HasPrefix(row[0], "---"):
			out = append(out, row)
		}
	}
	if len(out) == 0 {
		t.Fatalf("there is no table with %q", first)
	}
	return out
}

// setting returns a macro of config.h as it comes.
func setting(t *testing.T, config, name string) string {
	t.Helper()
	m := regexp.MustCompile(`(?m)^#define ` + name + ` (.+?)\s*(?:/\*.*)?$`).FindStringSubmatch(config)
	if m == nil {
		t.Fatalf("config.h has no %s", name)
	}
	return strings.TrimSuffix(m[1], "UL")
}

// numbers returns the numbers in a list such as {MUX(0), 0x41}.
func numbers(t *testing.T, list string) []int {
	t.Helper()
	var out []int
	for _, s := range regexp.MustCompile(`0x[0-9A-Fa-f]+|\d+`).FindAllString(list, -1) {
		v, err := strconv.ParseInt(s, 0, 32)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, int(v))
	}
	return out
}

// TestPageWiring: the pins, addresses, branches and settings on the page and in the drawing are those of the firmware.
func TestPageWiring(t *testing.T) {
	page, config, drawing := text(t, "STAND.md"), text(t, "avr/config.h"), text(t, "drawings/wiring.svg")
	sensors, pulses, bus := text(t, "avr/board/sensors.c")+text(t, "avr/board/board_avr.h"), text(t, "avr/board/pulses.c"), text(t, "avr/board/bus.c")

	pins := map[string]string{}
	for _, r := range cells(t, page, "what") {
		if len(r) == 3 {
			pins[r[0]] = r[1]
		}
	}
	// The firmware's pins: outputs of the timers in the order of the joints, and the bus, data before clock.
	out := regexp.MustCompile(`DDRB \|= 1 << (PB\d) \| 1 << (PB\d) \| 1 << (PB\d)`).FindStringSubmatch(pulses)
	two := regexp.MustCompile(`PORTC \|= 1 << (PC\d) \| 1 << (PC\d)`).FindStringSubmatch(bus)
	if out == nil || two == nil {
		t.Fatal("the firmware sets its pins otherwise now: this test reads it wrongly")
	}
	for what, pin := range map[string]string{"pulse of servo 0": out[1], "pulse of servo 1": out[2], "pulse of servo 2": out[3],
		"bus, SDA": two[1], "bus, SCL": two[2]} {
		if pins[what] != pin {
			t.Errorf("%s is on %s in the firmware, on %q on the page", what, pin, pins[what])
		}
		if !strings.Contains(drawing, ">"+pin+", ") {
			t.Errorf("the drawing does not show %s", pin)
		}
	}
	if !strings.Contains(config, "OC1A (PB1), OC1B (PB2) and OC2A (PB3), in this order") {
		t.Error("config.h says other pins than PB1, PB2, PB3")
	}

	constant := func(source, name string) string {
		m := regexp.MustCompile(`#define ` + name + ` (\S+)`).FindStringSubmatch(source)
		if m == nil {
			t.Fatalf("no %s in the firmware", name)
		}
		return m[1]
	}
	encoder, mux := constant(sensors, "ENCODER"), constant(sensors, "MULTIPLEXER")
	joint, motor, monitor := numbers(t, setting(t, config, "JOINT_SENSOR")), numbers(t, setting(t, config, "MOTOR_SENSOR")), numbers(t, setting(t, config, "MONITOR"))
	want := map[string]bool{"multiplexer||" + mux + "|": true}
	for j := range 3 {
		want[fmt.Sprintf("joint-side angle|%d|%s|%d", j, encoder, joint[j])] = true
		want[fmt.Sprintf("motor-side angle|%d|%s|%d", j, encoder, motor[j])] = true
		want[fmt.Sprintf("shunt monitor|%d|0x%x|", j, monitor[j])] = true
		for _, s := range []string{fmt.Sprintf(">joint %d, branch %d<", j, joint[j]), fmt.Sprintf(">monitor 0x%x<", monitor[j]), ">angle, " + encoder + "<", "multiplexer " + mux} {
			if !strings.Contains(drawing, s) {
				t.Errorf("the drawing does not show %s", s)
			}
		}
	}
	for _, r := range cells(t, page, "on the bus") {
		k := strings.Join(r, "|")
		if !want[k] {
			t.Errorf("the page has %s, the firmware has not", k)
		}
		delete(want, k)
	}
	for k := range want {
		t.Errorf("the firmware has %s, the page has not", k)
	}

	for _, r := range cells(t, page, "setting of config.h") {
		if got := strings.Trim(setting(t, config, r[0]), "{}"); strings.Split(got, ",")[0] != r[1] {
			t.Errorf("%s is %s in config.h, %s on the page", r[0], got, r[1])
		}
	}
	if shunt := numbers(t, setting(t, config, "SHUNT_MOHM")); shunt[0] != 100 {
		t.Errorf("the page and the drawings speak of 0.1 Ohm, config.h of %d mOhm", shunt[0])
	}
}

// TestPageSketch: the ten-minute start has the pins, the counts and the baud rate of the sketch, which is as short as it says.
func TestPageSketch(t *testing.T) {
	page, sketch := text(t, "STAND.md"), text(t, "text-stand/text-stand.ino")
	constant := func(name string) string {
		m := regexp.MustCompile(`\b` + name + ` = (\w+)`).FindStringSubmatch(sketch)
		if m == nil {
			t.Fatalf("the sketch has no %s: this test reads it wrongly", name)
		}
		return m[1]
	}
	for _, c := range []struct{ name, row string }{{"SERVO_PIN", "servo, signal; "}, {"BUTTON_PIN", "button, to ground"}, {"ANGLE_PIN", "sensor, analogue output; "}} {
		ok := false
		for _, r := range cells(t, page, "what") {
			ok = ok || strings.HasPrefix(r[0], c.row) && r[1] == constant(c.name)
		}
		if !ok {
			t.Errorf("%s is %s in the sketch, not so on the page", c.name, constant(c.name))
		}
	}
	if !strings.Contains(page, "joint_counts = "+constant("TURN_COUNTS")) || constant("BAUD") != setting(t, text(t, "avr/config.h"), "BAUD")[:6] {
		t.Errorf("the sketch has %s counts and %s baud", constant("TURN_COUNTS"), constant("BAUD"))
	}
	if n := strings.Count(sketch, "\n"); n >= 100 {
		t.Errorf("the sketch has %d lines", n)
	}
}

// TestPageFigures recomputes what the page computes.
func TestPageFigures(t *testing.T) {
	page := text(t, "STAND.md")
	for _, r := range cells(t, page, "capacitance of wires and parts, pF") {
		pF, err1 := strconv.ParseFloat(r[0], 64)
		ohm, err2 := strconv.ParseFloat(r[1], 64)
		// UM10204, section 7.1, with the rise time of fast mode.
		if want := 300e-9 / (0.8473 * pF * 1e-12); err1 != nil || err2 != nil || math.Abs(ohm-want) > 0.5 {
			t.Errorf("%s pF: %s Ohm, want %.0f", r[0], r[1], want)
		}
	}
	for what, v := range map[string]float64{
		"(5 V - 0.4 V)/3 mA = %.0f Ω":                (5 - 0.4) / 3e-3,
		"2.4 A · 0.5 ms/2200 µF = %.2f V":            2.4 * 0.5e-3 / 2200e-6,
		"from 6 V to 4 V at 0.12 A it takes %.0f ms": 2200e-6 * (6 - 4) / 0.12 * 1e3,
		"takes %.2f V at 2.4 A":                      0.1 * 2.4,
		"reads 4096 counts per turn: %.3f deg":       360.0 / 4096,
		"reads to %.1f A":                            320e-3 / 0.1,
		"Three servos of 2.4 A\n  stall draw %.1f A": 3 * 2.4,
		"reads up to %.2f deg wrong":                 math.Atan(0.1/12.5) * 180 / math.Pi,
	} {
		if s := fmt.Sprintf(what, v); !strings.Contains(page, s) {
			t.Errorf("the page does not say %q", s)
		}
	}
}

// TestPageLinks: what the page points to is there, its own headings too.
func TestPageLinks(t *testing.T) {
	page := text(t, "STAND.md")
	heads := map[string]bool{}
	for l := range strings.Lines(page) {
		if h := strings.TrimLeft(l, "#"); h != l {
			heads[strings.ReplaceAll(strings.ToLower(strings.TrimSpace(h)), " ", "-")] = true
		}
	}
	n := 0
	for _, m := range regexp.MustCompile(`\]\(([^)]+)\)`).FindAllStringSubmatch(page, -1) {
		n++
		if anchor, own := strings.CutPrefix(m[1], "#"); own {
			if !heads[anchor] {
				t.Errorf("there is no heading %q", anchor)
			}
		} else if _, err := os.Stat(m[1]); err != nil {
			t.Errorf("%v", err)
		}
	}
	if n < 10 {
		t.Errorf("only %d links were found: the test reads the page wrongly", n)
	}
}

// TestDrawings: well formed, named for those who hear them, text as text of a size that stays readable on a phone
// (13 of 400 units are 12 px at 374 px), and nothing that is loaded from elsewhere.
func TestDrawings(t *testing.T) {
	files, err := filepath.Glob("drawings/*.svg")
	if err != nil || len(files) != 3 {
		t.Fatalf("%v, %v", files, err)
	}
	for _, f := range files {
		s := text(t, f)
		seen := map[string]string{}
		texts := 0
		d := xml.NewDecoder(strings.NewReader(s))
		for path := []string{}; ; {
			tok, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatalf("%s: %v", f, err)
			}
			switch e := tok.(type) {
			case xml.StartElement:
				path = append(path, e.Name.Local)
				if e.Name.Local == "text" {
					texts++
				}
				for _, a := range e.Attr {
					if strings.Contains(a.Value, "url(") || a.Name.Local == "href" {
						t.Errorf("%s loads %s", f, a.Value)
					}
					if len(path) == 1 {
						seen["@"+a.Name.Local] = a.Value
					}
				}
			case xml.EndElement:
				path = path[:len(path)-1]
			case xml.CharData:
				if k := path; len(k) > 0 {
					seen[k[len(k)-1]] += strings.TrimSpace(string(e))
				}
			}
		}
		if seen["@role"] != "img" || seen["@aria-labelledby"] != "title desc" || len(seen["title"]) < 10 || len(seen["desc"]) < 200 || texts < 15 {
			t.Errorf("%s: role %q, title %q, %d characters of description, %d texts", f, seen["@role"], seen["title"], len(seen["desc"]), texts)
		}
		if !strings.HasPrefix(seen["@viewBox"], "0 0 400 ") || !strings.Contains(seen["style"], "prefers-color-scheme: dark") {
			t.Errorf("%s: view box %q, or no dark colours", f, seen["@viewBox"])
		}
		for _, m := range regexp.MustCompile(`font-size: (\d+)px`).FindAllStringSubmatch(s, -1) {
			if v, err := strconv.Atoi(m[1]); err != nil || v < 13 {
				t.Errorf("%s: text of %s units", f, m[1])
			}
		}
	}
}
