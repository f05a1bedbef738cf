//go:build linux

package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"

	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
	"limbgauge/rig/link/linktest"
	"limbgauge/rig/link/port"
)

// peer puts somebody at the other end of a pseudo-terminal that works as a serial line of a baud rate,
// and returns the path of the host's end.
func peer(t *testing.T, baud int, life func(*linktest.UART)) string {
	return peerUntil(t, baud, func(u *linktest.UART, _ <-chan struct{}) { life(u) })
}

// peerUntil is peer for somebody who must be told when the test is over: the write of a master goes on
// when nobody holds the other end.
func peerUntil(t *testing.T, baud int, life func(*linktest.UART, <-chan struct{})) string {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	path := slave.Name()
	var wg sync.WaitGroup
	over := make(chan struct{})
	wg.Go(func() {
		life(&linktest.UART{File: master, Baud: baud}, over)
		_, _ = io.Copy(io.Discard, master) // whoever is dead still lets bytes go by
	})
	t.Cleanup(func() {
		close(over)
		// A master whose line is full waits in its write for ever, whether anybody is there or not.
		_ = unix.IoctlSetInt(int(slave.Fd()), unix.TCFLSH, unix.TCIFLUSH)
		// Closing the last slave ends the master's read.
		_ = slave.Close()
		wg.Wait()
		_ = master.Close() // some partners closed it themselves
	})
	return path
}

// linked runs the command in an empty folder, with the bench of the example when bench is given.
func linked(t *testing.T, bench string, args ...string) (code int, out, errs string) {
	t.Helper()
	dir := t.TempDir()
	if bench != "" {
		if err := os.WriteFile(filepath.Join(dir, benchFile), []byte(bench), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	var o, e bytes.Buffer
	code = run(context.Background(), append([]string{"-b", dir, "link"}, args...), strings.NewReader(""), &o, &e)
	for _, l := range strings.Split(o.String(), "\n") {
		if len([]rune(l)) > pageWidth && !slices.Contains(args, "--json") {
			t.Errorf("%d characters wide: %s", len([]rune(l)), l)
		}
	}
	return code, o.String(), e.String()
}

// injected is a stand's line into which a test puts frames of its own.
type injected struct {
	*linktest.UART
	mu sync.Mutex
}

func (i *injected) Write(p []byte) (int, error) {
	i.mu.Lock()
	defer i.mu.Unlock()
	return i.UART.Write(p)
}

// standWith serves an ideal stand and sends a frame in between after a while.
func standWith(t *testing.T, after time.Duration, m wire.Message) func(*linktest.UART) {
	var enc wire.Encoder
	frame, err := enc.Append(nil, m)
	if err != nil {
		t.Fatal(err)
	}
	return func(u *linktest.UART) {
		line := &injected{UART: u}
		first := true
		linktest.NewStand(linktest.Config{}).Serve(readHook{line, func() {
			if first { // the hello: from now on it may speak
				first = false
				time.AfterFunc(after, func() { _, _ = line.Write(frame) })
			}
		}})
	}
}

// readHook calls a function after each read.
type readHook struct {
	io.ReadWriteCloser
	read func()
}

func (h readHook) Read(p []byte) (int, error) {
	n, err := h.ReadWriteCloser.Read(p)
	h.read()
	return n, err
}

// printing prints lines of the text form, 100 a second.
func printing(joint string) func(*linktest.UART, <-chan struct{}) {
	return func(u *linktest.UART, over <-chan struct{}) {
		begin := time.Now()
		for i := 0; ; i++ {
			if _, err := fmt.Fprintf(u, "sample,joint=%s command_deg=0,joint_deg=%g,current_a=0.12 %d\n", joint, 0.1*float64(i%2), time.Since(begin).Microseconds()); err != nil {
				return
			}
			select {
			case <-time.After(10 * time.Millisecond):
			case <-over:
				return
			}
		}
	}
}

func ideal(cfg linktest.Config) func(*linktest.UART) {
	return func(u *linktest.UART) { linktest.NewStand(cfg).Serve(u) }
}

// TestLinkTellsApart: each trouble has its own words and its own exit code.
func TestLinkTellsApart(t *testing.T) {
	t.Parallel()
	var all sync.WaitGroup // side by side, however few processors there are: they mostly wait
	defer all.Wait()
	for _, c := range []struct {
		name  string
		baud  int // the partner's
		life  func(*linktest.UART)
		args  []string
		bench string
		code  int
		words []string // in the error or its hint, PORT filled in
		out   string   // in the report
	}{
		{"half the rate", 250000, ideal(linktest.Config{}), nil, "", exitOtherBaud,
			[]string{"at 250000 the stand is understood, at 500000 it is not", "set baud = 250000 under [stand]"}, ""},
		{"an adapter's rate", 115200, ideal(linktest.Config{}), nil, "", exitOtherBaud, []string{"at 115200 the stand is understood"}, ""},
		{"the rate of the board, asked for another", 500000, ideal(linktest.Config{}), []string{"--baud", "1000000"}, "", exitOtherBaud, []string{"at 500000"}, ""},
		{"silence", 500000, func(*linktest.UART) {}, nil, "", exitSilence, []string{"silence: not one byte", "is the board's lamp on, is PORT its port"}, ""},
		{"boot loader", 115200, func(u *linktest.UART) {
			buf := make([]byte, 64)
			for {
				n, err := u.Read(buf)
				if err != nil {
					return
				}
				if strings.Contains(string(buf[:n]), "0 ") {
					_, _ = u.Write([]byte{0x14, 0x10})
				}
			}
		}, nil, "", exitBootLoader, []string{"boot loader answers (at 115200 baud)", "flash a firmware"}, ""},
		{"text form", 115200, nil, []string{"--baud", "115200"}, "", exitTextForm, []string{"it prints lines of the text form", `"limbgauge listen JOINT --port PORT"`}, ""},
		{"newer protocol", 500000, ideal(linktest.Config{Major: wire.Major + 1}), nil, "", exitNewFirmware, []string{"the stand speaks protocol 2.0", "update limbgauge"}, ""},
		{"older protocol", 500000, func(u *linktest.UART) {
			var dec wire.Decoder
			buf := make([]byte, 512)
			for {
				n, err := u.Read(buf)
				if err != nil {
					return
				}
				for chunk := buf[:n]; len(chunk) > 0; {
					var body []byte
					if body, chunk = dec.Next(chunk); len(body) >= 7 && wire.Type(body[0]) == wire.TypeHelloAsk {
						_, _ = u.Write(wire.AppendFrame(nil, []byte{byte(wire.TypeHello), 'L', 'G', 0, 9, body[5], body[6], 0, 9, 1}))
					}
				}
			}
		}, nil, "", exitOldFirmware, []string{"the stand speaks protocol 0.9", "flash the firmware"}, ""},
		{"trip", 500000, standWith(t, 1500*time.Millisecond, &wire.Trip{Reason: wire.ReasonBus, Joint: 1, TimeUS: 5, Value: 50, Limit: 50}), []string{"--seconds", "3"}, "",
			exitStopped, []string{`the stand tripped: a sensor gave no reading 50 times (50 allowed) (joint "channel 1")`, "find the reason"}, "channel 1"},
		{"restart", 500000, standWith(t, 1500*time.Millisecond, &wire.Hello{Major: wire.Major, Reset: wire.ReasonSupply, Queue: 4, Joints: 3}), []string{"--seconds", "3"}, "",
			exitRestarts, []string{"the stand restarted", "brown-out: its supply sank", "supplies of their own"}, "channel 1"},
		{"unplugged", 500000, func(u *linktest.UART) {
			time.AfterFunc(2*time.Second, func() { _ = u.Close() })
			linktest.NewStand(linktest.Config{}).Serve(u)
		}, nil, "", exitGone, []string{"the stand went away", "look at the plug"}, "channel 1"},
		{"loop", 500000, func(u *linktest.UART) { _, _ = io.Copy(u, u) }, nil, "", exitEcho, []string{"our own bytes came back", "part the wires"}, ""},
		{"a bench with a channel too many", 500000, ideal(linktest.Config{Joints: 1}), nil, rig.ExampleBench(), exitInput, []string{"the stand has 1 (0 to 0): correct channel in bench.toml"}, ""},
		{"a servo frame rate that a stand of 1.0 can not be told", 500000, ideal(linktest.Config{}), []string{"--seconds", "1"},
			strings.Replace(rig.ExampleBench(), "deadband_us = 3.0", "deadband_us = 3.0\nframe_hz = 250", 1), exitDone, nil,
			`It can not be swept so: joint "yaw" has frame_hz = 250`},
	} {
		all.Go(func() {
			path := ""
			if c.life == nil {
				path = peerUntil(t, c.baud, printing("knee"))
			} else {
				path = peer(t, c.baud, c.life)
			}
			code, out, errs := linked(t, c.bench, append([]string{"--port", path}, c.args...)...)
			if code != c.code {
				t.Errorf("%s: exit code %d, want %d", c.name, code, c.code)
			}
			for _, w := range c.words {
				if w = strings.ReplaceAll(w, "PORT", path); !strings.Contains(errs, w) {
					t.Errorf("%s: the error does not say %q:\n%s", c.name, w, errs)
				}
			}
			if !strings.Contains(out, c.out) || c.out == "" && out != "" {
				t.Errorf("%s: the report should hold %q:\n%s", c.name, c.out, out)
			}
		})
	}
	t.Run("busy", func(t *testing.T) {
		path := peer(t, 500000, func(*linktest.UART) {})
		p, err := port.Open(path, 500000)
		if err != nil {
			t.Fatal(err)
		}
		defer p.Close()
		if code, _, errs := linked(t, "", "--port", path); code != exitBusy || !strings.Contains(errs, "it is in use") || !strings.Contains(errs, "close serial monitors") {
			t.Errorf("exit code %d, want %d\n%s", code, exitBusy, errs)
		}
	})
	t.Run("permission", func(t *testing.T) {
		// A process of root may open everything: the error is made, and its way from there on looked at.
		err := linkTrouble(&port.Error{Path: "/dev/ttyUSB0", Err: port.ErrPermission, Hint: "x"}, rig.DefaultStand())
		if exitCode(err) != exitPermission || hintOf(err) == "" {
			t.Errorf("exit code %d, want %d", exitCode(err), exitPermission)
		}
	})
}

// TestLinkReport looks at a stand whose clock runs 2000 ppm fast, in JSON.
func TestLinkReport(t *testing.T) {
	t.Parallel()
	path := peer(t, 500000, ideal(linktest.Config{PPM: 2000, Name: "bench"}))
	code, out, errs := linked(t, rig.ExampleBench(), "--port", path, "--json", "--seconds", "6", "--hz", "200")
	if code != exitDone || errs != "" {
		t.Fatalf("exit code %d: %s", code, errs)
	}
	var r linkReport
	if err := json.Unmarshal([]byte(out), &r); err != nil {
		t.Fatal(err)
	}
	if r.Firmware != "bench 1.0.0" || r.Protocol != "1.0" || r.State != "disarmed" || r.MaxHz != 1000 || r.TakenHz != 200 || r.Baud != 500000 {
		t.Errorf("%s", out)
	}
	if r.Clock == nil || r.Clock.PPM == nil || !(math.Abs(*r.Clock.PPM-2000) < 2.5**r.Clock.U95) || *r.Clock.U95 > 1500 {
		t.Errorf("clock %s", out)
	}
	if r.Arrival == nil || !(r.Arrival.Typical >= 0 && r.Arrival.Typical <= r.Arrival.P99 && r.Arrival.P99 <= r.Arrival.Most) {
		t.Errorf("arrival %+v", r.Arrival)
	}
	if len(r.Joints) != 3 || r.Joints[2].Name != "knee" {
		t.Fatalf("joints %+v", r.Joints)
	}
	for _, j := range r.Joints {
		if j.PerS == nil || math.Abs(*j.PerS-200) > 5 || j.Samples < 1000 || j.Lost == nil || !j.OnBench || !j.Servo || j.JointCounts != 4096 {
			t.Errorf("%+v", j)
		}
		if j.Angle == nil || !j.Angle.Constant || j.Current == nil || j.Supply == nil || j.Temp != nil {
			t.Errorf("%+v", j)
		}
	}
	if !strings.Contains(out, "knee: the angle did not change at all") { // the ideal stand's joints do not even tremble
		t.Errorf("notes %q", r.Notes)
	}
}

// TestLinkListens looks at a stand that prints lines, as bench.toml says, and at lines it can not use.
func TestLinkListens(t *testing.T) {
	t.Parallel()
	var all sync.WaitGroup // side by side, however few processors there are: they mostly wait
	defer all.Wait()
	bench := strings.Replace(rig.ExampleBench(), `form = "frames"`, `form = "text"`, 1)
	bench = strings.Replace(bench, "baud = 500000", "baud = 115200", 1)
	for _, c := range []struct {
		name, joint string
		baud, code  int
		out, errs   string
	}{
		{"lines", "knee", 115200, exitNoAngle, "of the text form", "no angle comes from: yaw, hip"},
		{"of another joint", "tail", 115200, exitSilence, "", "no good sample within 5s"},
		{"at another rate", "knee", 57600, exitOtherBaud, "", "at 57600 the stand is understood"},
	} {
		all.Go(func() {
			code, out, errs := linked(t, bench, "--port", peerUntil(t, c.baud, printing(c.joint)))
			if code != c.code || !strings.Contains(errs, c.errs) || !strings.Contains(out, c.out) {
				t.Errorf("%s: exit code %d, want %d and %q\n%s%s", c.name, code, c.code, c.errs, out, errs)
			}
		})
	}
	all.Go(func() {
		code, _, errs := linked(t, bench, "--port", peer(t, 115200, ideal(linktest.Config{})))
		if code != exitTextForm || !strings.Contains(errs, "the stand speaks frames") || !strings.Contains(errs, `form = "frames"`) {
			t.Errorf("frames after all: exit code %d, want %d\n%s", code, exitTextForm, errs)
		}
	})
}

// TestSweepOfAnOldStand: a servo frame rate that can not be told ends a sweep before anything moves.
func TestSweepOfAnOldStand(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	bench := strings.Replace(rig.ExampleBench(), "deadband_us = 3.0", "deadband_us = 3.0\nframe_hz = 250", 1)
	if err := os.WriteFile(filepath.Join(dir, benchFile), []byte(bench), 0o644); err != nil {
		t.Fatal(err)
	}
	var o, e bytes.Buffer
	args := []string{"-b", dir, "sweep", "yaw", "--port", peer(t, 500000, ideal(linktest.Config{})), "--yes", "--hands-clear"}
	code := run(context.Background(), args, strings.NewReader(""), &o, &e)
	said := strings.Join(strings.Fields(e.String()), " ")
	if code != exitStand || !strings.Contains(said, "the stand speaks protocol 1.0, which knows no such thing: flash the firmware that belongs to this limbgauge, or leave the key out") {
		t.Errorf("exit code %d\n%s%s", code, o.String(), e.String())
	}
	if _, err := os.Stat(filepath.Join(dir, "runs")); err == nil {
		t.Error("a run was begun")
	}
}
