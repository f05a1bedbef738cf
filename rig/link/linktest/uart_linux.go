package linktest

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// UART makes the master of a pseudo terminal a serial line with a baud rate: what goes over it is
// resampled to the rate that the host has set at the other end, and back.
type UART struct {
	*os.File
	Baud int
	rest []byte
}

// HostBaud returns the rate that the host has set.
func (u *UART) HostBaud() (int, error) {
	t, err := unix.IoctlGetTermios(int(u.Fd()), unix.TCGETS2)
	if err != nil {
		return 0, err
	}
	if t.Ospeed == 0 {
		return 0, errors.New("the host has set no baud rate")
	}
	return int(t.Ospeed), nil
}

// Read implements io.Reader.
func (u *UART) Read(p []byte) (int, error) {
	for len(u.rest) == 0 {
		buf := make([]byte, 512)
		n, err := u.File.Read(buf)
		if err != nil {
			return 0, err
		}
		host, err := u.HostBaud()
		if err != nil {
			return 0, err
		}
		u.rest = Resample(buf[:n], host, u.Baud)
	}
	n := copy(p, u.rest)
	u.rest = u.rest[n:]
	return n, nil
}

// Write implements io.Writer.
func (u *UART) Write(p []byte) (int, error) {
	host, err := u.HostBaud()
	if err != nil {
		return 0, err
	}
	if _, err := u.File.Write(Resample(p, u.Baud, host)); err != nil {
		return 0, err
	}
	return len(p), nil
}
