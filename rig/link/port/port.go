package port

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"go.bug.st/serial"

	"limbgauge/rig"
)

const (
	// readFor bounds each Read, so that Close never has to wake one: the library closes the file
	// before it wakes its reader, and by then the number may belong to another file.
	readFor = 100 * time.Millisecond
	// resetFor is how long DTR is down: boards that reset themselves on an opening port see it.
	resetFor = 50 * time.Millisecond
)

// Error says which port could not be opened, why, and what to do.
type Error struct {
	Path string
	Err  error // what went wrong
	Hint string
}

func (e *Error) Error() string {
	s := "open serial port"
	if e.Path != "" {
		s += " " + e.Path
	}
	s += ": " + e.Err.Error()
	if e.Hint != "" {
		s += "; " + e.Hint
	}
	return s
}

// Unwrap returns what went wrong.
func (e *Error) Unwrap() error { return e.Err }

// The kinds of failure, for errors.Is.
var (
	ErrNotThere   = errors.New("there is no such port")
	ErrBusy       = errors.New("it is in use")
	ErrPermission = errors.New("no permission")
	ErrNoPort     = errors.New("no serial port of a board was found")
	ErrManyPorts  = errors.New("more than one serial port was found")
	ErrNotSerial  = errors.New("it is not a serial port")
	ErrBaud       = errors.New("it can not do this baud rate")
)

// List returns the serial ports of this machine that a stand may be on, in order. Pseudo
// terminals are never listed; they open when named.
func List() ([]string, error) {
	all, err := serial.GetPortsList()
	if err != nil {
		return nil, fmt.Errorf("list serial ports: %w", err)
	}
	return boards(all), nil
}

// builtIn matches ports that sit on the machine's own board: they are nearly always there, and
// nearly never a stand. One that is can be named. On macOS each port has two names; cu is the one
// that does not wait for a carrier.
var builtIn = regexp.MustCompile(`^/dev/(ttyS|tty\.|cu\.(Bluetooth|debug|wlan))`)

func boards(all []string) []string {
	found := slices.DeleteFunc(slices.Clone(all), builtIn.MatchString)
	slices.Sort(found)
	return found
}

// Line is an open serial port.
type Line interface {
	io.ReadWriteCloser
	// Retune changes the baud rate without closing the port, so that the board behind it is not reset,
	// and throws away what waited. The error is an *Error.
	Retune(baud int) error
}

// Open opens a port at a baud rate with 8 data bits, no parity, one stop bit, for this process
// alone, and throws away what waited in it. path may be rig.PortAuto, which takes the only board
// there is. Where the line has one, DTR is pulsed, so that boards which can restart themselves do.
//
// A Read that gets nothing for 100 ms returns 0 bytes and no error. A Write may block for as long
// as the other end takes nothing. The error is an *Error.
func Open(path string, baud int) (Line, error) {
	if err := checkBaud(path, baud); err != nil {
		return nil, err
	}
	if path == rig.PortAuto {
		found, err := List()
		if err != nil {
			return nil, &Error{Err: err}
		}
		if path, err = only(found); err != nil {
			return nil, err
		}
	}
	lock, err := lockPort(path)
	if err != nil {
		return nil, explain(path, baud, err)
	}
	p, err := serial.Open(path, mode(baud))
	if err != nil {
		return nil, errors.Join(explain(path, baud, err), lock.Close())
	}
	o := &port{Port: p, path: path, lock: lock}
	if err := o.prepare(); err != nil {
		return nil, errors.Join(explain(path, baud, err), o.Close())
	}
	return o, nil
}

// There says whether a port of that name is there, without opening it; for rig.PortAuto, whether there is
// just one. The error is an *Error. Where a port has no file nothing is known before it is opened.
func There(path string) error {
	if path == rig.PortAuto {
		found, err := List()
		if err != nil {
			return &Error{Err: err}
		}
		_, err = only(found)
		return err
	}
	if runtime.GOOS == "windows" {
		return nil
	}
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return explain(path, 0, err)
	}
	return nil
}

func mode(baud int) *serial.Mode {
	return &serial.Mode{BaudRate: baud, DataBits: 8, Parity: serial.NoParity, StopBits: serial.OneStopBit}
}

// checkBaud refuses rates that the library would take for 9600.
func checkBaud(path string, baud int) error {
	if baud <= 0 {
		return &Error{path, fmt.Errorf("%w (%d)", ErrBaud, baud), "set baud under [stand] in bench.toml"}
	}
	return nil
}

// only takes the one port of a list.
func only(found []string) (string, error) {
	switch len(found) {
	case 0:
		return "", &Error{Err: ErrNoPort, Hint: `plug the stand in, or name its port under [stand] in bench.toml`}
	case 1:
		return found[0], nil
	}
	return "", &Error{Err: ErrManyPorts, Hint: "name one under [stand] in bench.toml: " + strings.Join(found, ", ")}
}

// explain turns what the library or the system says into words that help.
func explain(path string, baud int, err error) *Error {
	var code serial.PortErrorCode = -1
	if pe := (*serial.PortError)(nil); errors.As(err, &pe) {
		code = pe.Code()
	}
	wrap := func(kind error, hint string) *Error { return &Error{path, fmt.Errorf("%w (%w)", kind, err), hint} }
	switch {
	case errors.Is(err, fs.ErrNotExist) || code == serial.PortNotFound:
		return &Error{path, fmt.Errorf("%w (%w)", ErrNotThere, fs.ErrNotExist), thereAre()}
	case errors.Is(err, syscall.EBUSY) || code == serial.PortBusy:
		return &Error{path, ErrBusy, "close the other program that uses it"}
	case errors.Is(err, fs.ErrPermission) || code == serial.PermissionDenied:
		return &Error{path, ErrPermission, permissionHint(path)}
	case code == serial.InvalidSpeed:
		return wrap(ErrBaud, fmt.Sprintf("choose another baud than %d under [stand] in bench.toml", baud))
	case code == serial.InvalidSerialPort || errors.Is(err, syscall.ENOTTY) || errors.Is(err, syscall.EISDIR):
		return wrap(ErrNotSerial, thereAre())
	}
	return &Error{path, err, ""}
}

func thereAre() string {
	found, err := List()
	if err != nil || len(found) == 0 {
		return "no serial port of a board is here: is the stand plugged in?"
	}
	return "there are: " + strings.Join(found, ", ")
}

// port is an open port.
type port struct {
	serial.Port
	path    string
	lock    io.Closer
	closing atomic.Bool
	reading sync.Mutex
	once    sync.Once
	err     error
}

// prepare brings a fresh port and the board behind it into a known state.
func (p *port) prepare() error {
	if err := p.SetReadTimeout(readFor); err != nil {
		return fmt.Errorf("set the read timeout: %w", err)
	}
	for _, up := range []bool{false, true} {
		// A pseudo terminal has no such line; the hello brings a stand into the same state.
		if err := p.SetDTR(up); err != nil && !errors.Is(err, syscall.ENOTTY) && !errors.Is(err, syscall.EINVAL) {
			return fmt.Errorf("pulse DTR: %w", err)
		} else if err == nil && !up {
			time.Sleep(resetFor)
		}
	}
	if err := p.ResetInputBuffer(); err != nil {
		return fmt.Errorf("throw away old input: %w", err)
	}
	return nil
}

// Read implements io.Reader.
func (p *port) Read(b []byte) (int, error) {
	p.reading.Lock()
	defer p.reading.Unlock()
	if p.closing.Load() {
		return 0, os.ErrClosed
	}
	return p.Port.Read(b)
}

// Retune implements Line.
func (p *port) Retune(baud int) error {
	if err := checkBaud(p.path, baud); err != nil {
		return err
	}
	p.reading.Lock()
	defer p.reading.Unlock()
	if p.closing.Load() {
		return &Error{Path: p.path, Err: os.ErrClosed}
	}
	if err := p.Port.SetMode(mode(baud)); err != nil {
		return explain(p.path, baud, err)
	}
	if err := p.ResetInputBuffer(); err != nil {
		return explain(p.path, baud, fmt.Errorf("throw away old input: %w", err))
	}
	return nil
}

// Close waits for a Read under way, at most 100 ms, and closes the port. A Write that is stuck in
// a dead line stays so until the other end goes.
func (p *port) Close() error {
	p.once.Do(func() {
		p.closing.Store(true)
		p.reading.Lock()
		defer p.reading.Unlock()
		p.err = errors.Join(p.Port.Close(), p.lock.Close())
	})
	return p.err
}
