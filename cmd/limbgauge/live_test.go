//go:build unix

package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"hash/fnv"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"limbgauge/cmd/limbgauge/web"
	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
	"limbgauge/rig/link/port"
	"limbgauge/rig/virtual"
)

// liveHz is the rate of each joint in the tests of what is live; the example bench has three.
const liveHz = 1000

// ear is the line to a virtual stand in real time that also hears what goes over it, by the codec alone.
type ear struct {
	io.ReadWriteCloser
	mu       sync.Mutex
	in, out  wire.Decoder
	joints   map[uint8]*heard // by channel
	samples  int              // of all joints
	dropped  uint16           // by the stand itself
	offset   time.Duration    // least of arrival less stand's clock, so far
	offsets  bool
	born     time.Time
	saidStop time.Time     // when the host had written the stop
	actedAt  time.Duration // when the stand had it, by its own clock
	acked    time.Time     // when its answer was back
	trip     *wire.Trip
}

// heard is what was heard of the samples of a joint's moves: how many, a sum of them in the order they came,
// the last, and how many points of the stand's grid between them have none.
type heard struct {
	n, gaps int
	sum     uint64
	last    sample
}

// sample is one of a move.
type sample struct {
	us             uint32
	command, angle int32
	segment        uint16
}

func (h *heard) take(s sample) {
	sum := fnv.New64a()
	fmt.Fprint(sum, h.sum, s)
	if h.sum = sum.Sum64(); h.n > 0 { // a sample is at most 60 µs late
		h.gaps += int(s.us-h.last.us+500)/(1e6/liveHz) - 1
	}
	h.n, h.last = h.n+1, s
}

func newEar(line io.ReadWriteCloser) *ear {
	return &ear{ReadWriteCloser: line, joints: map[uint8]*heard{}, born: time.Now()}
}

func (e *ear) Read(p []byte) (int, error) {
	n, err := e.ReadWriteCloser.Read(p)
	now := time.Now()
	e.mu.Lock()
	defer e.mu.Unlock()
	for chunk := p[:n]; len(chunk) > 0; {
		var body []byte
		if body, chunk = e.in.Next(chunk); body != nil {
			if m, err := wire.Parse(body); err == nil {
				e.hear(m, now)
			}
		}
	}
	return n, err
}

func (e *ear) hear(m wire.Message, now time.Time) {
	timed := func(us uint32) {
		if o := now.Sub(e.born) - time.Duration(us)*time.Microsecond; !e.offsets || o < e.offset {
			e.offset, e.offsets = o, true
		}
	}
	switch m := m.(type) {
	case *wire.Samples:
		e.samples += m.N
		for i := range m.N {
			if r := m.Rec[i]; m.Segment != 0 {
				e.joint(m.Joint).take(sample{r.TimeUS, r.Command, r.Angle, m.Segment})
			}
		}
	case *wire.Status:
		timed(m.TimeUS)
		for _, j := range m.Joint[:m.Joints] {
			e.dropped = max(e.dropped, j.Dropped)
		}
	case *wire.Clock:
		timed(m.TimeUS)
	case *wire.MoveGone:
		timed(m.TimeUS)
		if m.How == wire.Discarded && e.actedAt == 0 {
			e.actedAt = time.Duration(m.TimeUS) * time.Microsecond
		}
	case *wire.Trip:
		e.trip = m
	case *wire.Ack:
		if m.Of == wire.TypeStop && e.acked.IsZero() {
			e.acked = now
		}
	}
}

func (e *ear) drops() int {
	e.mu.Lock()
	defer e.mu.Unlock()
	return int(e.dropped)
}

func (e *ear) joint(channel uint8) *heard {
	if e.joints[channel] == nil {
		e.joints[channel] = new(heard)
	}
	return e.joints[channel]
}

func (e *ear) Write(p []byte) (int, error) {
	n, err := e.ReadWriteCloser.Write(p)
	e.mu.Lock()
	defer e.mu.Unlock()
	for chunk := p[:n]; len(chunk) > 0; {
		var body []byte
		if body, chunk = e.out.Next(chunk); body != nil && wire.Type(body[0]) == wire.TypeStop && e.saidStop.IsZero() {
			e.saidStop = time.Now()
		}
	}
	return n, err
}

// stopped says when the stand had the stop, by its own clock set to that of the host, and when its
// answer was back.
func (e *ear) stopped() (acted, answered time.Time) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.actedAt == 0 || e.acked.IsZero() {
		return
	}
	return e.born.Add(e.offset + e.actedAt), e.acked
}

// standLine puts a stand behind a line and says how it is opened.
type standLine func(testing.TB, virtual.Options) func(baud int) (io.ReadWriteCloser, error)

// byPipe is the shortest line there is: a new stand for each opening, nothing of the system between.
func byPipe(_ testing.TB, o virtual.Options) func(int) (io.ReadWriteCloser, error) {
	return func(int) (io.ReadWriteCloser, error) { return virtual.Pipe(o) }
}

// byPTY is a port as a real one is opened. What goes through it waits for the system's own workers, which a machine
// that is starved by others lets wait as well.
func byPTY(t testing.TB, o virtual.Options) func(int) (io.ReadWriteCloser, error) {
	stand, err := virtual.New(o)
	if err != nil {
		t.Fatal(err)
	}
	ready, ended := make(chan string, 1), make(chan error, 1)
	power, off := context.WithCancel(context.Background())
	go func() { ended <- stand.ServePTY(power, virtual.PTY{Ready: func(path string) { ready <- path }}) }()
	t.Cleanup(func() { off(); <-ended })
	path := <-ready
	return func(baud int) (io.ReadWriteCloser, error) { return port.Open(path, baud) }
}

// liveBench serves the example bench at liveHz on a virtual stand in real time. Its ears are one for
// each run.
type liveBench struct {
	folder, url string
	mu          sync.Mutex
	heard       []*ear
	end         func() error
}

func (b *liveBench) ear() *ear {
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.heard) == 0 {
		return nil
	}
	return b.heard[len(b.heard)-1]
}

// smallBuffers makes connections that hold little, so that a page which does not read is met at once.
type smallBuffers struct{ net.Listener }

func (l smallBuffers) Accept() (net.Conn, error) {
	c, err := l.Listener.Accept()
	if t, ok := c.(*net.TCPConn); ok {
		if err := t.SetWriteBuffer(4096); err != nil {
			return nil, err
		}
	}
	return c, err
}

func serveLive(t testing.TB, open standLine) *liveBench {
	t.Helper()
	b := &liveBench{folder: t.TempDir()}
	text := strings.NewReplacer(`port = "virtual"`, `port = "/dev/bench"`, "sample_hz = 250 ", fmt.Sprintf("sample_hz = %d ", liveHz)).Replace(rig.ExampleBench())
	if err := os.WriteFile(filepath.Join(b.folder, benchFile), []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	joints, err := rig.ParseBench("example", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	a := app{in: strings.NewReader(""), out: t.Output(), err: t.Output(), bench: b.folder, now: time.Now}
	way := open(t, virtual.Options{Joints: joints.Joints, Speed: 1})
	a.open = func(_ string, baud int) (io.ReadWriteCloser, error) {
		line, err := way(baud)
		if err != nil {
			return nil, err
		}
		e := newEar(line)
		b.mu.Lock()
		b.heard = append(b.heard, e)
		b.mu.Unlock()
		return e, nil
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	b.url = "http://" + l.Addr().String()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- web.Serve(ctx, smallBuffers{l}, web.Options{Desk: &desk{app: a}, Now: time.Now}) }()
	b.end = sync.OnceValue(func() error { cancel(); return <-done })
	t.Cleanup(func() {
		if err := b.end(); err != nil {
			t.Errorf("serve: %v", err)
		}
	})
	return b
}

// visitor is a page as a program: it watches, and does what a page does.
type visitor struct {
	t       testing.TB
	url, id string
	token   string
	news    chan visitorNews
	heard   atomic.Int64 // news of movement
	samples atomic.Int64 // as the newest of them says
}

type visitorNews struct {
	kind string
	data string
}

// visit opens a page and watches until the test ends. News of movement are counted, others are handed over.
func visit(t testing.TB, bench, id string) *visitor {
	t.Helper()
	v := &visitor{t: t, url: bench, id: id, news: make(chan visitorNews, 64)}
	v.token = tokenOf(t, bench)
	ctx, leave := context.WithCancel(context.Background())
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, bench+"/live?page="+id, nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("User-Agent", "browser of "+id)
	answer, err := new(http.Transport).RoundTrip(r)
	if err != nil {
		t.Fatal(err)
	}
	if answer.StatusCode != http.StatusOK {
		t.Fatalf("watching: %s", answer.Status)
	}
	over := make(chan struct{})
	t.Cleanup(func() { leave(); <-over })
	go func() {
		defer close(over)
		defer answer.Body.Close()
		lines, kind := bufio.NewScanner(answer.Body), ""
		for lines.Scan() {
			if k, ok := strings.CutPrefix(lines.Text(), "event: "); ok {
				kind = k
			} else if d, ok := strings.CutPrefix(lines.Text(), "data: "); ok && kind == "moved" {
				var m struct{ Samples int64 }
				if err := json.Unmarshal([]byte(d), &m); err != nil {
					t.Errorf("news that are no JSON: %v", err)
				}
				v.samples.Store(m.Samples)
				v.heard.Add(1)
			} else if ok {
				select {
				case v.news <- visitorNews{kind, d}:
				default: // nobody asks this page
				}
			}
		}
	}()
	return v
}

var tokenIn = regexp.MustCompile(`data-token="([0-9a-f]+)"`)

func tokenOf(t testing.TB, bench string) string {
	t.Helper()
	r, err := http.Get(bench)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	body, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	m := tokenIn.FindSubmatch(body)
	if m == nil {
		t.Fatalf("the page has no token: %s", body)
	}
	return string(m[1])
}

// post does one of the page's deeds; it returns what was answered, "" when it was done.
func (v *visitor) post(path string, more url.Values) string {
	v.t.Helper()
	form := url.Values{"page": {v.id}, "token": {v.token}}
	for k, x := range more {
		form[k] = x
	}
	r, err := http.NewRequest(http.MethodPost, v.url+path, strings.NewReader(form.Encode()))
	if err != nil {
		v.t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Origin", v.url)
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		v.t.Fatal(err)
	}
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	if err != nil {
		v.t.Fatal(err)
	}
	if answer.StatusCode == http.StatusNoContent {
		return ""
	}
	return answer.Status + " " + string(body)
}

// state waits for news of a state and returns what they say.
func (v *visitor) state(want string) (text, run string) {
	v.t.Helper()
	late := time.After(30 * time.Second)
	var seen []string
	for {
		select {
		case n := <-v.news:
			var s struct{ State, Text, Run string }
			if n.kind != "state" {
				continue
			}
			if err := json.Unmarshal([]byte(n.data), &s); err != nil {
				v.t.Fatal(err)
			}
			if seen = append(seen, n.data); s.State == want {
				return s.Text, s.Run
			}
		case <-late:
			v.t.Fatalf("%s: no word that the stand is %s; only %v", v.id, want, seen)
		}
	}
}

// forget lets the next run be waited for.
func (b *liveBench) forget() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.heard = nil
}

// begin arms and starts, and says from then on that the page is there, until it is told to stop doing so.
func (v *visitor) begin(sweep web.Sweep) (quiet func()) {
	v.t.Helper()
	ask, err := json.Marshal(sweep)
	if err != nil {
		v.t.Fatal(err)
	}
	if why := v.post("/arm", url.Values{"sweep": {string(ask)}}); why != "" {
		v.t.Fatal(why)
	}
	v.state("armed")
	if why := v.post("/start", nil); why != "" {
		v.t.Fatal(why)
	}
	v.state("moving")
	over, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		beat := time.NewTicker(400 * time.Millisecond)
		defer beat.Stop()
		for {
			select {
			case <-beat.C:
				if why := v.post("/alive", nil); why != "" {
					v.t.Errorf("alive: %s", why)
				}
			case <-over:
				return
			}
		}
	}()
	quiet = sync.OnceFunc(func() { close(over); <-done })
	v.t.Cleanup(quiet)
	return quiet
}

// moves waits until a move of the run is under way.
func (b *liveBench) moves(t testing.TB, segment uint16) *ear {
	t.Helper()
	for range 2000 {
		if e := b.ear(); e != nil {
			e.mu.Lock()
			for _, h := range e.joints {
				if h.last.segment >= segment {
					e.mu.Unlock()
					return e
				}
			}
			e.mu.Unlock()
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Fatalf("move %d did not come", segment)
	return nil
}

// neverReads opens a page's stream and reads nothing of it, not even into the buffers of the system
// beyond the least there are.
func neverReads(t testing.TB, bench string, n int) {
	t.Helper()
	d := net.Dialer{Control: func(_, _ string, c syscall.RawConn) (err error) {
		if e := c.Control(func(fd uintptr) { err = syscall.SetsockoptInt(int(fd), syscall.SOL_SOCKET, syscall.SO_RCVBUF, 2048) }); e != nil {
			return e
		}
		return err
	}}
	host := strings.TrimPrefix(bench, "http://")
	c, err := d.DialContext(t.Context(), "tcp", host)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	if _, err := fmt.Fprintf(c, "GET /live?page=never-reads-%08d HTTP/1.1\r\nHost: %s\r\nUser-Agent: never %d\r\n\r\n", n, host, n); err != nil {
		t.Fatal(err)
	}
}
