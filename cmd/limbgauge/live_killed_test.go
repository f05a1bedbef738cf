//go:build unix

package main

import (
	"bufio"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
	"golang.org/x/term"

	"limbgauge/cmd/limbgauge/web"
	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
	"limbgauge/rig/virtual"
)

// relay puts a virtual stand in real time behind a port that stays there when nobody has it open, and returns
// its path.
func relay(t *testing.T, joints []rig.Joint) (*ear, string) {
	t.Helper()
	line, err := virtual.Pipe(virtual.Options{Joints: joints, Speed: 1})
	if err != nil {
		t.Fatal(err)
	}
	near, far, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := term.MakeRaw(int(far.Fd())); err != nil {
		t.Fatal(err)
	}
	e := newEar(line)
	done := make(chan struct{}, 2)
	go func() { io.Copy(near, e); done <- struct{}{} }()
	go func() { io.Copy(e, near); done <- struct{}{} }()
	t.Cleanup(func() {
		e.Close()
		far.Close()
		near.Close()
		<-done
		<-done
	})
	return e, far.Name()
}

// A program that is killed says nothing more to anybody: the stand stops by its own rule, 250 ms after the last
// heartbeat it had (SPEC.md, section 8).
func TestServeKilled(t *testing.T) {
	folder := t.TempDir()
	b, err := rig.ParseBench("example", []byte(rig.ExampleBench()))
	if err != nil {
		t.Fatal(err)
	}
	e, port := relay(t, b.Joints)
	text := strings.Replace(rig.ExampleBench(), `port = "virtual"`, `port = "`+port+`"`, 1)
	if err := os.WriteFile(filepath.Join(folder, benchFile), []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	serve := exec.Command("limbgauge", "-b", folder, "serve", "--listen", "127.0.0.1:0") // the one of TestMain
	out, err := serve.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	serve.Stderr = t.Output()
	if err := serve.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { serve.Process.Kill() }) // it is dead already, unless the test failed before
	first, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		t.Fatal(err)
	}
	at := regexp.MustCompile(`http://\S+`).FindString(first)
	v := visit(t, at, "a-page-that-reads-0")
	quiet := v.begin(web.Sweep{Joints: []string{"knee"}, Routine: "quick"})
	wait := func(what string, is func() bool) {
		t.Helper()
		for range 3000 {
			e.mu.Lock()
			yes := is()
			e.mu.Unlock()
			if yes {
				return
			}
			time.Sleep(10 * time.Millisecond)
		}
		t.Fatalf("%s did not come", what)
	}
	wait("a move", func() bool { return e.samples > 0 && e.joint(uint8(b.Joints[2].Channel)).n > 0 })
	quiet()
	if err := serve.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	serve.Wait() // its error is that it was killed
	wait("the trip", func() bool { return e.trip != nil })
	e.mu.Lock()
	trip, told := *e.trip, e.saidStop != (time.Time{})
	e.mu.Unlock()
	if trip.Reason != wire.ReasonHeartbeat || trip.Value < wire.HeartbeatTripMS || told { // how much later is the machine's
		t.Errorf("the stand tripped with %+v, told to stop: %v", trip, told)
	}
	t.Logf("the stand stopped %d ms after the last heartbeat", trip.Value)
}
