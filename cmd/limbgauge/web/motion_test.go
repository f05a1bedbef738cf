package web

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"limbgauge/analyze/health"
	"limbgauge/cmd/limbgauge/clocktest"
	"limbgauge/rig"
	"limbgauge/rig/link"
	"limbgauge/rig/session"
)

// table is a desk whose stand moves until it is stopped, and writes down what was done with it.
type table struct {
	Desk
	mu    sync.Mutex
	done  []string
	plans int
	judge chan struct{} // nil: judging takes no time
	many  chan bool     // nil: a plan is one run; else what it says of being between two
}

func (d *table) note(what string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.done = append(d.done, what)
}

func (d *table) was() []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return slices.Clone(d.done)
}

func (d *table) Bench() (*rig.Bench, error) { return &rig.Bench{}, nil }
func (d *table) Hint(error) string          { return "" }

func (d *table) Plan(_ context.Context, s Sweep) (Plan, error) {
	d.mu.Lock()
	d.plans++
	made := fmt.Sprintf("plan %d of %s", d.plans, s.Joints[0])
	d.mu.Unlock()
	return Plan{What: made, Turns: []Turn{{Joint: s.Joints[0]}}, Run: func(ctx context.Context, w Watch) (Outcome, error) {
		d.note(made + " begins")
		for d.many != nil && ctx.Err() == nil {
			select {
			case b := <-d.many:
				w.Between(b)
			case <-ctx.Done():
			}
		}
		<-ctx.Done()
		d.note("stopped: " + context.Cause(ctx).Error())
		w.AtRest()
		if d.judge != nil {
			<-d.judge
		}
		return Outcome{Run: "0001"}, session.ErrStopped
	}}, nil
}

// hands is a clock that only tests move.
type hands struct {
	mu  sync.Mutex
	now time.Time
}

func (h *hands) read() time.Time {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.now
}

func (h *hands) set(at time.Time) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.now = at
}

func (h *hands) move(d time.Duration) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.now = h.now.Add(d)
}

// served is a bench that is served with a table for a desk.
type served struct {
	t     *testing.T
	url   string
	table *table
	srv   *server
	end   func()
}

// still is a clock that stands, an hour ahead: however busy the computer, nobody is silent and no deadline
// of writing has come.
func still() func() time.Time {
	at := time.Now().Add(time.Hour)
	return func() time.Time { return at }
}

func serveTable(t *testing.T, now func() time.Time) *served {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	d := &table{}
	ctx, cancel := context.WithCancel(context.Background())
	s, err := newServer(ctx, l.Addr(), Options{Desk: d, Now: now})
	if err != nil {
		t.Fatal(err)
	}
	h := &http.Server{Handler: s.handler()}
	over := make(chan struct{})
	go func() { defer close(over); h.Serve(l) }()
	r := &served{t: t, url: "http://" + l.Addr().String(), table: d, srv: s}
	r.end = sync.OnceFunc(func() { s.motion.wind(); cancel(); h.Close(); <-over })
	t.Cleanup(r.end)
	return r
}

// stream is one page's stream of news.
type stream struct {
	t      *testing.T
	states chan status
	beats  chan struct{} // holds one
	leave  func()        // and wait until the server has noticed
}

func (r *served) watch(id string) *stream {
	r.t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	q, err := http.NewRequestWithContext(ctx, http.MethodGet, r.url+"/live?page="+id, nil)
	if err != nil {
		r.t.Fatal(err)
	}
	a, err := new(http.Transport).RoundTrip(q)
	if err != nil {
		r.t.Fatal(err)
	}
	if a.StatusCode != http.StatusOK {
		cancel()
		r.t.Fatalf("watching: %s", a.Status)
	}
	s := &stream{t: r.t, states: make(chan status, 100), beats: make(chan struct{}, 1)}
	over := make(chan struct{})
	go func() {
		defer close(over)
		defer a.Body.Close()
		lines, kind := bufio.NewScanner(a.Body), ""
		for lines.Scan() {
			if k, ok := strings.CutPrefix(lines.Text(), "event: "); ok {
				kind = k
			}
			if kind == "beat" {
				select {
				case s.beats <- struct{}{}:
				default:
				}
			}
			if d, ok := strings.CutPrefix(lines.Text(), "data: "); ok && kind == "state" {
				var st status
				if err := json.Unmarshal([]byte(d), &st); err != nil {
					r.t.Error(err)
				}
				s.states <- st
			}
		}
	}()
	s.leave = sync.OnceFunc(func() {
		before := r.pages()
		cancel()
		<-over
		for range 2000 {
			if r.pages() < before {
				return
			}
			time.Sleep(time.Millisecond)
		}
		r.t.Error("the server did not notice that a page left")
	})
	r.t.Cleanup(func() { cancel(); <-over })
	return s
}

func (r *served) pages() int {
	r.srv.hub.mu.Lock()
	defer r.srv.hub.mu.Unlock()
	return len(r.srv.hub.pages)
}

func (s *stream) waits(want state) status {
	s.t.Helper()
	for late := time.After(10 * time.Second); ; {
		select {
		case st := <-s.states:
			if st.State == want {
				return st
			}
		case <-late:
			s.t.Fatalf("no word that the stand is %s", want)
		}
	}
}

// post returns the code of the answer and what it says.
func (r *served) post(page, path string, more ...string) (int, string) {
	r.t.Helper()
	form := url.Values{"page": {page}, tokenField: {r.srv.guard.token}}
	for i := 0; i < len(more); i += 2 {
		form.Set(more[i], more[i+1])
	}
	q, err := http.NewRequest(http.MethodPost, r.url+path, strings.NewReader(form.Encode()))
	if err != nil {
		r.t.Fatal(err)
	}
	q.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	q.Header.Set("Origin", r.url)
	a, err := http.DefaultClient.Do(q)
	if err != nil {
		r.t.Fatal(err)
	}
	defer a.Body.Close()
	text, err := io.ReadAll(a.Body)
	if err != nil {
		r.t.Fatal(err)
	}
	return a.StatusCode, string(text)
}

func (r *served) must(page, path string, more ...string) {
	r.t.Helper()
	if code, text := r.post(page, path, more...); code != http.StatusNoContent {
		r.t.Fatalf("%s %s: %d %s", page, path, code, text)
	}
}

func (r *served) mustNot(page, path string, want error, more ...string) {
	r.t.Helper()
	if code, text := r.post(page, path, more...); code != http.StatusConflict || !strings.Contains(strings.ToLower(text), want.Error()) {
		r.t.Errorf("%s %s: %d %s, want %q", page, path, code, text, want)
	}
}

func (r *served) didOnly(want ...string) {
	r.t.Helper()
	if got := r.table.was(); !slices.Equal(got, want) {
		r.t.Errorf("the stand did %q, want %q", got, want)
	}
}

const (
	one   = "page-one-0123456789"
	two   = "page-two-0123456789"
	knees = `{"joints":["knee"],"routine":"quick"}`
)

// What a page armed is what it starts; another can neither start it nor arm beside it, its heartbeat does not
// count, and it can stop.
func TestTwoPages(t *testing.T) {
	r := serveTable(t, still())
	a, b := r.watch(one), r.watch(two)
	a.waits(limp)
	b.waits(limp)
	r.mustNot(one, "/start", errNotOwner)
	r.must(one, "/arm", "sweep", knees)
	if st := b.waits(armed); st.Owner != one || len(st.Turns) != 1 {
		t.Errorf("the other page is told %+v", st)
	}
	r.mustNot(two, "/arm", errBusy, "sweep", knees)
	r.mustNot(two, "/start", errNotOwner)
	r.didOnly()
	r.must(one, "/start")
	b.waits(moving)
	r.mustNot(one, "/arm", errBusy, "sweep", knees)
	r.must(two, "/stop")
	if st := a.waits(limp); !strings.Contains(st.Text, "Stopped from a page") || st.Run != "0001" || !st.Bad {
		t.Errorf("the end is told as %+v", st)
	}
	r.didOnly("plan 1 of knee begins", "stopped: "+errStopped.Error()) // plan 2 was made for the page that was refused
}

// A page that does not watch arms nothing.
func TestArmingNeedsAStream(t *testing.T) {
	r := serveTable(t, still())
	r.mustNot(one, "/arm", errNoPage, "sweep", knees)
	r.watch(two).waits(limp)
	r.mustNot(one, "/arm", errNoPage, "sweep", knees)
	r.didOnly()
}

// A page that is frozen keeps its stream and says nothing: its silence ends motion. While it speaks, none of
// the minutes do; and who else speaks is no matter.
func TestSilence(t *testing.T) {
	clock := &hands{now: still()()}
	r := serveTable(t, clock.read)
	a := r.watch(one)
	r.watch(two)
	r.must(one, "/arm", "sweep", knees)
	r.must(one, "/start")
	a.waits(moving)
	for range 100 {
		clock.move(silence * 9 / 10)
		r.must(one, "/alive")
	}
	r.didOnly("plan 1 of knee begins")
	clock.move(silence * 9 / 10)
	r.must(two, "/alive")
	clock.move(silence / 5)
	if st := a.waits(limp); !strings.Contains(st.Text, "silent for "+Silence()) {
		t.Errorf("the end is told as %+v", st)
	}
	r.didOnly("plan 1 of knee begins", "stopped: "+errSilent.Error())
}

// A computer that slept ends motion when it wakes, and a heartbeat of the page that comes first does not save it.
func TestComputerSlept(t *testing.T) {
	for name, first := range map[string]func(*motion){
		"the server": (*motion).overdue,
		"the page":   func(m *motion) { m.alive(one) },
	} {
		t.Run(name, func(t *testing.T) {
			clock := &hands{now: still()()}
			r := serveTable(t, clock.read)
			a := r.watch(one)
			r.must(one, "/arm", "sweep", knees)
			r.must(one, "/start")
			a.waits(moving)
			clock.set(clocktest.Slept(t, clock.read(), time.Hour))
			first(r.srv.motion)
			a.waits(limp)
			r.didOnly("plan 1 of knee begins", "stopped: "+errSilent.Error())
		})
	}
}

// A stream that ends stops motion at once. The page that comes back finds the stand limp and has to arm anew;
// one that came back before its old stream was missed goes on.
func TestStreamEnds(t *testing.T) {
	r := serveTable(t, still())
	a, again := r.watch(one), r.watch(one)
	r.must(one, "/arm", "sweep", knees)
	r.must(one, "/start")
	again.waits(moving)
	a.leave()
	r.srv.motion.left(one) // as its stream does in a moment: it is there by the other
	r.must(two, "/stop")   // had it been taken for gone, that would be why
	again.waits(limp)
	r.didOnly("plan 1 of knee begins", "stopped: "+errStopped.Error())
	r.must(one, "/arm", "sweep", knees)
	r.must(one, "/start")
	again.waits(moving)
	again.leave()
	back := r.watch(one)
	if st := back.waits(limp); !strings.Contains(st.Text, "closed or lost its connection") {
		t.Errorf("the end is told as %+v", st)
	}
	r.mustNot(one, "/start", errNotOwner)
	r.didOnly("plan 1 of knee begins", "stopped: "+errStopped.Error(), "plan 2 of knee begins", "stopped: "+errGone.Error())
}

// An armed page that goes, by its stream or by saying so, leaves nothing armed.
func TestArmedPageGoes(t *testing.T) {
	for name, go_ := range map[string]func(*served, *stream){
		"stream": func(_ *served, s *stream) { s.leave() },
		"beacon": func(r *served, _ *stream) { r.must(one, "/gone") },
		"stop":   func(r *served, _ *stream) { r.must(two, "/stop") },
	} {
		t.Run(name, func(t *testing.T) {
			r := serveTable(t, still())
			a, b := r.watch(one), r.watch(two)
			r.must(one, "/arm", "sweep", knees)
			b.waits(armed)
			go_(r, a)
			if st := b.waits(limp); !strings.Contains(st.Text, "Nothing moved") {
				t.Errorf("the end is told as %+v", st)
			}
			r.mustNot(one, "/start", errNotOwner)
			r.didOnly()
		})
	}
}

// A stop or a leave that was answered holds: the very next thing that happens may be a start, and it is refused.
func TestStartAfterAnAnsweredStop(t *testing.T) {
	for name, end := range map[string]func(*motion){
		"stop": func(m *motion) { m.stop(errStopped) },
		"gone": func(m *motion) { m.gone(one) },
	} {
		t.Run(name, func(t *testing.T) {
			r := serveTable(t, still())
			r.watch(one)
			r.must(one, "/arm", "sweep", knees)
			end(r.srv.motion)
			if err := r.srv.motion.start(one); err != errNotOwner {
				t.Errorf("a start after it: %v, want %v", err, errNotOwner)
			}
			r.didOnly()
		})
	}
}

// While a run is judged nothing moves: the page may go then, and nothing new begins.
func TestJudgingNeedsNoPage(t *testing.T) {
	r := serveTable(t, still())
	r.table.judge = make(chan struct{})
	a, b := r.watch(one), r.watch(two)
	r.must(one, "/arm", "sweep", knees)
	r.must(one, "/start")
	b.waits(moving)
	r.must(one, "/stop")
	b.waits(judging)
	a.leave()
	r.mustNot(two, "/arm", errBusy, "sweep", knees)
	close(r.table.judge)
	if st := b.waits(limp); !strings.Contains(st.Text, "Stopped from a page") {
		t.Errorf("the end is told as %+v", st)
	}
}

// Between two runs of a plan nothing moves, and the pages are told so; but the next one arms by itself, so a stop
// and the silence of the page hold as before. A page whose clock hardly goes hears something to speak up by.
func TestBetweenTwoRuns(t *testing.T) {
	for name, end := range map[string]func(*served, *hands){
		errStopped.Error(): func(r *served, _ *hands) { r.must(two, "/stop") },
		errSilent.Error():  func(_ *served, clock *hands) { clock.move(silence * 2) },
		errGone.Error():    func(r *served, _ *hands) { r.must(one, "/gone") },
	} {
		t.Run(name, func(t *testing.T) {
			clock := &hands{now: still()()}
			r := serveTable(t, clock.read)
			r.table.many = make(chan bool)
			a := r.watch(one)
			r.must(one, "/arm", "sweep", knees)
			r.must(one, "/start")
			if st := a.waits(moving); st.Text != "Moving knee." {
				t.Errorf("it says %q", st.Text)
			}
			r.table.many <- true
			if st := a.waits(moving); !strings.Contains(st.Text, "nothing moves") || st.Owner != one || len(st.Turns) != 1 {
				t.Errorf("between two runs it says %+v", st)
			}
			select {
			case <-a.beats:
			case <-time.After(10 * time.Second):
				t.Error("the page hears nothing between two runs")
			}
			r.table.many <- false
			if st := a.waits(moving); st.Text != "Moving knee." {
				t.Errorf("in the next run it says %q", st.Text)
			}
			r.table.many <- true
			end(r, clock)
			a.waits(limp)
			r.didOnly("plan 1 of knee begins", "stopped: "+name)
		})
	}
}

// A server that ends stops motion first, and waits until what was recorded is kept.
func TestServerEnds(t *testing.T) {
	r := serveTable(t, still())
	r.watch(one).waits(limp)
	r.must(one, "/arm", "sweep", knees)
	r.must(one, "/start")
	r.end()
	r.didOnly("plan 1 of knee begins", "stopped: "+errClosing.Error())
}

// While a server ends its pages are still answered, but nothing is armed or begins any more.
func TestNothingBeginsAtTheEnd(t *testing.T) {
	r := serveTable(t, still())
	r.watch(one).waits(limp)
	r.must(one, "/arm", "sweep", knees)
	r.srv.motion.wind()
	r.mustNot(one, "/start", errClosing)
	r.mustNot(one, "/arm", errClosing, "sweep", knees)
	r.didOnly()
}

// The sixth page of a browser would take the last connection it has, and with it the way of a stop.
func TestABrowserKeepsAConnection(t *testing.T) {
	r := serveTable(t, still())
	var first *stream
	for i := range streamsMost {
		if s := r.watch(fmt.Sprintf("page-%d-0123456789", i)); i == 0 {
			first = s
		}
	}
	sixth := func(browser string) int {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		q, err := http.NewRequestWithContext(ctx, http.MethodGet, r.url+"/live?page="+two, nil)
		if err != nil {
			t.Fatal(err)
		}
		q.Header.Set("User-Agent", browser)
		a, err := new(http.Transport).RoundTrip(q)
		if err != nil {
			t.Fatal(err)
		}
		a.Body.Close()
		return a.StatusCode
	}
	const same = "Go-http-client/1.1"
	if code := sixth(same); code != http.StatusNoContent { // which tells a browser not to ask again (HTML, server-sent events)
		t.Errorf("a sixth page: %d", code)
	}
	if code := sixth("another browser"); code != http.StatusOK {
		t.Errorf("a page of another browser: %d", code)
	}
	first.leave()
	if code := sixth(same); code != http.StatusOK {
		t.Errorf("a page after another was closed: %d", code)
	}
}

// A page that reads nothing is given up when its connection takes no more; the others are told all.
func TestNeverReadingIsGivenUp(t *testing.T) {
	// A clock that is behind makes the deadlines of writing come early.
	r := serveTable(t, func() time.Time { return time.Now().Add(300*time.Millisecond - writeAtMost) })
	c, err := net.Dial("tcp", strings.TrimPrefix(r.url, "http://"))
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	fmt.Fprintf(c, "GET /live?page=%s HTTP/1.1\r\nHost: %s\r\nUser-Agent: dumb\r\n\r\n", two, strings.TrimPrefix(r.url, "http://"))
	for r.pages() == 0 {
		time.Sleep(time.Millisecond)
	}
	big := strings.Repeat("x", 1<<20) // more than the buffers of a system hold, soon
	for i := 0; r.pages() > 0; i++ {
		if i == 1000 {
			t.Fatal("it is still waited for")
		}
		r.srv.hub.tell("said", big, false)
		time.Sleep(10 * time.Millisecond)
	}
}

// What no page of ours sends is refused before anything is made ready.
func TestOddSweeps(t *testing.T) {
	r := serveTable(t, still())
	r.watch(one).waits(limp)
	for name, ask := range map[string]string{
		"no JSON":             "knee",
		"nothing":             "",
		"no joint":            `{"routine":"quick"}`,
		"an unknown word":     `{"joints":["knee"],"speed":9}`,
		"two of them":         knees + knees,
		"a long note":         `{"joints":["knee"],"note":"` + strings.Repeat("n", noteMost+1) + `"}`,
		"a tag with a break":  `{"joints":["knee"],"assembly":"a\nb"}`,
		"a tag written over":  `{"joints":["knee"],"assembly":"a\u202eb"}`,
		"a wrong voltage":     `{"joints":["knee"],"supply_v":-1}`,
		"endless":             `{"joints":["knee"],"endure":{"cycles":0,"check_every":5}}`,
		"endurance of two":    `{"joints":["knee","hip"],"endure":{"cycles":5,"check_every":5}}`,
		"not a number":        `{"joints":["knee"],"ambient_c":1e999}`,
		"a number as a joint": `{"joints":[7]}`,
	} {
		if code, text := r.post(one, "/arm", "sweep", ask); code != http.StatusConflict || !strings.Contains(text, `"error":"`) {
			t.Errorf("%s: %d %s", name, code, text)
		}
	}
	if r.table.plans != 0 {
		t.Errorf("%d plans were made", r.table.plans)
	}
}

// What was recorded before a stop or a trip is not told as a whole run is.
func TestOutcomeOfACutRun(t *testing.T) {
	m := &motion{desk: &table{}}
	stopped, end := context.WithCancelCause(context.Background())
	end(session.ErrStopped)
	none := []health.Finding{{Cause: health.None, Severity: health.SeverityOK}}
	good := health.Health{Joints: []health.Joint{{Joint: "knee", Findings: none, Measures: []health.Measure{health.Judge(health.Of("play", health.Total, 0.1, 0.02, ""), 0.5)}}}}
	mute := health.Health{Joints: []health.Joint{{Joint: "knee", Findings: none, Measures: []health.Measure{health.Unseen("play", health.Total, "", "too short")}}}}
	for name, c := range map[string]struct {
		ctx  context.Context
		h    health.Health
		err  error
		want string
	}{
		"whole":           {context.Background(), good, nil, "No fault found; the one limit is kept."},
		"stopped":         {stopped, good, session.ErrStopped, "Nothing wrong so far, but the run did not reach its end."},
		"stopped at once": {stopped, mute, session.ErrStopped, "Nothing can be said: too little was recorded."},
		"tripped":         {context.Background(), good, &link.TrippedError{}, "Nothing wrong so far, but the run did not reach its end."},
	} {
		if s := m.outcome(c.ctx, Plan{}, Outcome{Run: "0001", Health: c.h}, c.err); s.Verdict == nil || s.Verdict.Text != c.want {
			t.Errorf("%s: %+v, want %q", name, s.Verdict, c.want)
		}
	}
}
