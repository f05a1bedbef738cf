package port

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
)

// terminal makes a pseudo terminal and returns its master and the path of its slave. No slave
// file stays open: a stand that keeps one would hide that its host went away.
func terminal(t *testing.T) (*os.File, string) {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	path := slave.Name()
	t.Cleanup(func() { _ = master.Close() }) // some tests close it themselves
	if err := slave.Close(); err != nil {
		t.Fatal(err)
	}
	return master, path
}

func TestOpenOnTerminal(t *testing.T) {
	master, path := terminal(t)
	p, err := Open(path, 500000)
	if err != nil {
		t.Fatal(err)
	}
	all := make([]byte, 256) // raw mode: every value passes both ways
	for i := range all {
		all[i] = byte(i)
	}
	if _, err := master.Write(all); err != nil {
		t.Fatal(err)
	}
	var got []byte
	buf := make([]byte, 512)
	for len(got) < len(all) {
		n, err := p.Read(buf)
		if err != nil || n == 0 {
			t.Fatalf("read %d bytes of %d, then %d, %v", len(got), len(all), n, err)
		}
		got = append(got, buf[:n]...)
	}
	if !bytes.Equal(got, all) {
		t.Errorf("read %x", got)
	}
	if _, err := p.Write(all); err != nil {
		t.Fatal(err)
	}
	for got = got[:0]; len(got) < len(all); {
		n, err := master.Read(buf)
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, buf[:n]...)
	}
	if !bytes.Equal(got, all) {
		t.Errorf("the other end read %x", got)
	}
	if n, err := p.Read(buf); n != 0 || err != nil {
		t.Errorf("reading a silent line: %d, %v; want nothing and no error", n, err)
	}
	if err := errors.Join(p.Close(), p.Close()); err != nil {
		t.Error(err)
	}
	if _, err := p.Read(buf); !errors.Is(err, os.ErrClosed) {
		t.Errorf("read after close: %v", err)
	}
}

func TestCloseDuringRead(t *testing.T) {
	_, path := terminal(t)
	p, err := Open(path, 500000)
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan error)
	go func() {
		buf := make([]byte, 16)
		for {
			if _, err := p.Read(buf); err != nil {
				done <- err
				return
			}
		}
	}()
	time.Sleep(10 * time.Millisecond) // so that a Read is under way; the test holds without
	if err := p.Close(); err != nil {
		t.Error(err)
	}
	if err := <-done; !errors.Is(err, os.ErrClosed) {
		t.Errorf("the reader got %v", err)
	}
}

func TestOldInputIsThrownAway(t *testing.T) {
	master, path := terminal(t)
	first, err := Open(path, 115200)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = first.Close() }() // closed below too
	if _, err := master.Write([]byte("from the conversation before")); err != nil {
		t.Fatal(err)
	}
	if err := first.Close(); err != nil {
		t.Fatal(err)
	}
	p, err := Open(path, 115200)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = p.Close() }()
	buf := make([]byte, 64)
	if n, err := p.Read(buf); n != 0 || err != nil {
		t.Errorf("read %q, %v from a fresh port", buf[:n], err)
	}
}

func TestOpenTwice(t *testing.T) {
	_, path := terminal(t)
	p, err := Open(path, 500000)
	if err != nil {
		t.Fatal(err)
	}
	if q, err := Open(path, 500000); !errors.Is(err, ErrBusy) || q != nil {
		t.Errorf("second open: %v, %v; want busy", q, err)
	}
	if err := p.Close(); err != nil {
		t.Fatal(err)
	}
	q, err := Open(path, 500000)
	if err != nil {
		t.Fatalf("open after close: %v", err)
	}
	if err := q.Close(); err != nil {
		t.Error(err)
	}
}

func TestOpenErrors(t *testing.T) {
	plain := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(plain, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	_, path := terminal(t)
	for _, test := range []struct {
		name, path string
		baud       int
		want       error
		words      string
	}{
		{"not there", plain + ".none", 500000, ErrNotThere, plain + ".none"},
		{"a plain file", plain, 500000, ErrNotSerial, "serial port"},
		{"no baud", path, 0, ErrBaud, "baud"},
	} {
		_, err := Open(test.path, test.baud)
		var e *Error
		if !errors.Is(err, test.want) || !errors.As(err, &e) || !strings.Contains(err.Error(), test.words) || e.Hint == "" {
			t.Errorf("%s: %v; want %v with %q and a hint", test.name, err, test.want, test.words)
		}
	}
	if e := explain("/dev/ttyACM0", 0, &fs.PathError{Op: "open", Path: "x", Err: fs.ErrPermission}); !errors.Is(e, ErrPermission) || !strings.Contains(e.Hint, "group") {
		t.Errorf("permission: %v", e)
	}
}

// Whether a port is there is known without opening it, and said as opening it would.
func TestThere(t *testing.T) {
	path := filepath.Join(t.TempDir(), "port")
	err := There(path)
	if e := (*Error)(nil); !errors.As(err, &e) || e.Path != path || !errors.Is(err, ErrNotThere) {
		t.Errorf("no file: %v", err)
	}
	if err := os.WriteFile(path, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := There(path); err != nil {
		t.Errorf("a file: %v", err)
	}
}

func TestOnly(t *testing.T) {
	all := []string{"/dev/ttyUSB1", "/dev/ttyS0", "/dev/tty.usbmodem1", "/dev/cu.usbmodem1", "/dev/cu.Bluetooth-Incoming-Port", "COM3"}
	if got, want := boards(all), []string{"/dev/cu.usbmodem1", "/dev/ttyUSB1", "COM3"}; !slices.Equal(got, want) {
		t.Errorf("boards: %v, want %v", got, want)
	}
	if _, err := only(nil); !errors.Is(err, ErrNoPort) {
		t.Errorf("of none: %v", err)
	}
	if got, err := only([]string{"/dev/ttyACM0"}); got != "/dev/ttyACM0" || err != nil {
		t.Errorf("of one: %q, %v", got, err)
	}
	_, err := only([]string{"/dev/ttyACM0", "/dev/ttyUSB1"})
	if !errors.Is(err, ErrManyPorts) || !strings.Contains(err.Error(), "/dev/ttyACM0, /dev/ttyUSB1") {
		t.Errorf("of two: %v", err)
	}
}

func TestRetune(t *testing.T) {
	master, path := terminal(t)
	p, err := Open(path, 500000)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := master.Write([]byte("at the old rate")); err != nil {
		t.Fatal(err)
	}
	for _, baud := range []int{250000, 74880, 9600} {
		if err := p.Retune(baud); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := master.Write([]byte("new")); err != nil {
		t.Fatal(err)
	}
	buf := make([]byte, 64)
	if n, err := p.Read(buf); err != nil || string(buf[:n]) != "new" {
		t.Errorf("read %q, %v", buf[:n], err)
	}
	if err := p.Retune(0); !errors.Is(err, ErrBaud) {
		t.Errorf("no baud: %v", err)
	}
	if err := p.Close(); err != nil {
		t.Error(err)
	}
	if err := p.Retune(9600); !errors.Is(err, os.ErrClosed) {
		t.Errorf("after close: %v", err)
	}
}
