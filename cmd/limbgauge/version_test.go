//go:build unix

package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/creack/pty"

	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
	"limbgauge/rig/link/linktest"
)

// A stand of another protocol version is told as such, with both versions and what to do; no run
// is begun.
func TestOtherProtocolVersion(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, benchFile), []byte(rig.ExampleBench()), 0o644); err != nil {
		t.Fatal(err)
	}
	master, slave, err := pty.Open()
	if err != nil {
		if os.Getenv("LIMBGAUGE_REQUIRE_ALL") != "" {
			t.Fatalf("no pseudo-terminal here: %v", err)
		}
		t.Skipf("no pseudo-terminal here: %v", err)
	}
	path := slave.Name()
	done := make(chan struct{})
	go func() {
		defer close(done)
		linktest.NewStand(linktest.Config{Major: wire.Major + 1}).Serve(master)
	}()
	defer func() {
		slave.Close()
		master.Close()
		<-done
	}()
	var out, errs bytes.Buffer
	code := run(context.Background(), []string{"-b", dir, "sweep", "knee", "--port", path, "--yes", "--hands-clear"},
		strings.NewReader(""), &out, &errs)
	if code != exitStand {
		t.Errorf("exit code %d, want %d", code, exitStand)
	}
	for _, want := range []string{"protocol 2.", "this limbgauge 1.", "use the limbgauge that belongs to this firmware"} {
		if !strings.Contains(errs.String(), want) {
			t.Errorf("the error does not say %q:\n%s", want, errs.String())
		}
	}
	if _, err := os.Stat(filepath.Join(dir, "runs")); err == nil {
		t.Error("a run was begun")
	}
}
