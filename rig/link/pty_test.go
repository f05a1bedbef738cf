package link_test

import (
	"errors"
	"io"
	"os"
	"sync"
	"testing"

	"github.com/creack/pty"

	"limbgauge/rig/link"
	"limbgauge/rig/link/linktest"
	"limbgauge/rig/link/port"
)

// serial makes a pseudo terminal and returns the stand's end and the path of the host's.
func serial(t *testing.T) (*os.File, string) {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	path := slave.Name()
	if err := slave.Close(); err != nil {
		t.Fatal(err)
	}
	return master, path
}

// dialSerial serves an ideal stand on a pseudo terminal and opens that as a serial port.
func dialSerial(t *testing.T) io.ReadWriteCloser {
	t.Helper()
	master, path := serial(t)
	p, err := port.Open(path, 500000)
	if err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	wg.Go(func() { linktest.NewStand(linktest.Config{}).Serve(master) })
	// The host's end is closed first: that ends the read of the master, which nothing else would.
	t.Cleanup(func() { _ = p.Close(); wg.Wait(); _ = master.Close() })
	return p
}

// TestSuiteOverSerial lets a stand at a serial port pass the suite.
func TestSuiteOverSerial(t *testing.T) {
	linktest.Suite(t, linktest.Options{Dial: dialSerial, Joints: joints()})
}

// TestUnplug: the other end of a serial port vanishes, which the port reports as if we had closed it.
func TestUnplug(t *testing.T) {
	master, path := serial(t)
	p, err := port.Open(path, 500000)
	if err != nil {
		t.Fatal(err)
	}
	stand := linktest.NewStand(linktest.Config{})
	unplugged := &cable{File: master, cut: make(chan struct{})}
	var wg sync.WaitGroup
	wg.Go(func() { stand.Serve(unplugged) })
	c, err := link.Open(t.Context(), p, link.Options{Joints: joints()})
	if err != nil {
		t.Fatal(err)
	}
	close(unplugged.cut)
	for {
		if _, err = c.Next(t.Context()); err != nil {
			break
		}
	}
	if !errors.Is(err, link.ErrGone) || errors.Is(err, link.ErrClosed) {
		t.Errorf("%v, want gone", err)
	}
	if err := c.Close(); err != nil {
		t.Errorf("close: %v", err)
	}
	wg.Wait()
}

// cable is a master whose next write pulls it out.
type cable struct {
	*os.File
	cut chan struct{}
}

func (c *cable) Write(p []byte) (int, error) {
	select {
	case <-c.cut:
		return 0, errors.Join(os.ErrClosed, c.Close())
	default:
		return c.File.Write(p)
	}
}
