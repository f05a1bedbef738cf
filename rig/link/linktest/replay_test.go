package linktest

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	wire "limbgauge/firmware-protocol"
)

// A host that says something else than was recorded is told so, with the line of the capture.
func TestReplayTellsAnotherConversation(t *testing.T) {
	path := filepath.Join(t.TempDir(), "capture.txt")
	// arm_ask and its token, disarm and its ack: SPEC.md, section 4.
	if err := os.WriteFile(path, []byte("# by hand\nh 0605\ns 45053412\nh 0806\ns 420608\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, test := range []struct {
		name string
		says []wire.Message
		want string // in the error, "" for none
	}{
		{"the same with other tags", []wire.Message{&wire.ArmAsk{Tag: 9}, &wire.Disarm{Tag: 10}}, ""},
		{"heartbeats between", []wire.Message{&wire.Heartbeat{}, &wire.ArmAsk{Tag: 9}, &wire.Heartbeat{}, &wire.Disarm{Tag: 10}}, ""},
		{"another message", []wire.Message{&wire.ArmAsk{Tag: 9}, &wire.Bye{Tag: 10}}, "capture.txt: the host says 0C0A, which was not recorded here (line 4"},
		{"more than was said", []wire.Message{&wire.ArmAsk{Tag: 9}, &wire.Disarm{Tag: 10}, &wire.Bye{Tag: 11}}, "after its end"},
	} {
		t.Run(test.name, func(t *testing.T) {
			line, err := Play(path)
			if err != nil {
				t.Fatal(err)
			}
			c := newClient(t, line)
			for _, m := range test.says {
				c.send(m)
			}
			if test.want == "" {
				if m := wait[*wire.ArmToken](c, "its token", nil); m.Token != 0x1234 || m.Tag != 9 {
					t.Errorf("token %#x for tag %d, want 0x1234 for 9", m.Token, m.Tag)
				}
				wait(c, "its ack", func(m *wire.Ack) bool { return m.Tag == 10 })
			}
			err = line.Close()
			if test.want == "" && err != nil || test.want != "" && (err == nil || !strings.Contains(err.Error(), test.want)) {
				t.Errorf("closing says %v, want %q", err, test.want)
			}
		})
	}
}

// A line that is none is told with its number.
func TestReplayWantsACapture(t *testing.T) {
	path := filepath.Join(t.TempDir(), "capture.txt")
	for _, text := range []string{"h 06 05\n", "x 0605\n", "h \n", "h 060\n"} {
		if err := os.WriteFile(path, []byte("h 0605\n"+text), 0o644); err != nil {
			t.Fatal(err)
		}
		if _, err := Play(path); err == nil || !strings.Contains(err.Error(), "line 2") {
			t.Errorf("%q: %v, want an error that names line 2", text, err)
		}
	}
	if _, err := Play(path + "x"); err == nil {
		t.Error("a capture that is not there opened")
	}
}
