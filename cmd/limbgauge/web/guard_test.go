package web

import (
	"context"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"
)

var here = &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: 7117}

func ask(g guard, change func(*http.Request)) int {
	r := httptest.NewRequest(http.MethodPost, "http://127.0.0.1:7117/start", strings.NewReader(url.Values{tokenField: {g.token}}.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Origin", "http://127.0.0.1:7117")
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	change(r)
	w := httptest.NewRecorder()
	g.wrap(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusNoContent) })).ServeHTTP(w, r)
	return w.Code
}

// What a browser sends for a page of another origin (Fetch Standard: Origin, Sec-Fetch-Site), for a name
// that was bent to this computer (Host), and without what only our pages know, changes nothing.
func TestOnlyOurPagesChangeAnything(t *testing.T) {
	g := newGuard(here, []string{"bench.lan"}, "", time.Now)
	for name, c := range map[string]struct {
		change func(*http.Request)
		want   int
	}{
		"our page":               {func(*http.Request) {}, 204},
		"our page by name":       {func(r *http.Request) { r.Host = "bench.lan:7117"; r.Header.Set("Origin", "http://bench.lan:7117") }, 204},
		"another site":           {func(r *http.Request) { r.Header.Set("Origin", "http://evil.example") }, 403},
		"another port here":      {func(r *http.Request) { r.Header.Set("Origin", "http://127.0.0.1:8000") }, 403},
		"no origin":              {func(r *http.Request) { r.Header.Del("Origin") }, 403},
		"origin null":            {func(r *http.Request) { r.Header.Set("Origin", "null") }, 403},
		"same site only":         {func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "same-site") }, 403},
		"a name bent to us":      {func(r *http.Request) { r.Host = "evil.example"; r.Header.Set("Origin", "http://evil.example") }, 403},
		"our name, other port":   {func(r *http.Request) { r.Host = "127.0.0.1:80"; r.Header.Set("Origin", "http://127.0.0.1:80") }, 403},
		"no token":               {func(r *http.Request) { r.Body = http.NoBody }, 403},
		"old token":              {func(r *http.Request) { r.Header.Set(tokenHeader, "0123") }, 403},
		"old browser":            {func(r *http.Request) { r.Header.Del("Sec-Fetch-Site") }, 204},
		"reading by a bent name": {func(r *http.Request) { r.Method = http.MethodGet; r.Host = "evil.example:7117" }, 403},
		"reading":                {func(r *http.Request) { r.Method = http.MethodGet; r.Header.Del("Origin") }, 204},
	} {
		if got := ask(g, c.change); got != c.want {
			t.Errorf("%s: %d, want %d", name, got, c.want)
		}
	}
}

func TestPasswordIsAskedFor(t *testing.T) {
	g := newGuard(here, nil, "ten green pots", time.Now)
	for name, c := range map[string]struct {
		change func(*http.Request)
		want   int
	}{
		"none":  {func(*http.Request) {}, 401},
		"wrong": {func(r *http.Request) { r.SetBasicAuth("any", "ten green pot") }, 401},
		"right": {func(r *http.Request) { r.SetBasicAuth("any", "ten green pots") }, 204},
	} {
		if got := ask(g, c.change); got != c.want {
			t.Errorf("%s: %d, want %d", name, got, c.want)
		}
	}
}

// Wrong passwords are tried one after the other, however many come at once, and the right one too has to wait, so that
// a quick answer tells nothing. A page of ours, which has shown the password before, waits for nobody.
func TestGuessingIsSlow(t *testing.T) {
	const many = 8 // fewer than have their turn in time
	synctest.Test(t, func(t *testing.T) {
		g := newGuard(here, nil, "ten green pots", time.Now)
		began := time.Now() // of a clock that only waiting moves
		try := func(password, token string, want int, least time.Duration) {
			got := ask(g, func(r *http.Request) { r.SetBasicAuth("any", password); r.Header.Set(tokenHeader, token) })
			if took := time.Since(began); got != want || took < least {
				t.Errorf("%q: %d after %v, want %d after at least %v", password, got, took, want, least)
			}
		}
		var all sync.WaitGroup
		for range many {
			all.Go(func() { try("ten green pot", g.token, http.StatusUnauthorized, slowDown) })
		}
		synctest.Wait()
		all.Go(func() { try("ten green pots", "", http.StatusNoContent, many*slowDown) }) // its mark is in the body, which comes later
		synctest.Wait()
		try("ten green pots", g.token, http.StatusNoContent, 0)
		if took := time.Since(began); took != 0 {
			t.Errorf("a page of ours waited for %v", took)
		}
		all.Wait()
		if took := time.Since(began); took != many*slowDown {
			t.Errorf("%d wrong passwords took %v, want %v", many, took, many*slowDown)
		}
	})
}

// A request whose turn does not come is told so without its password being looked at.
func TestManyGuessers(t *testing.T) {
	const many = 100
	synctest.Test(t, func(t *testing.T) {
		g := newGuard(here, nil, "ten green pots", time.Now)
		var tried, waited atomic.Int64
		var all sync.WaitGroup
		for range many {
			all.Go(func() {
				switch got := ask(g, func(r *http.Request) { r.SetBasicAuth("any", "a guess") }); got {
				case http.StatusUnauthorized:
					tried.Add(1)
				case http.StatusServiceUnavailable:
					waited.Add(1)
				default:
					t.Errorf("a guess: %d", got)
				}
			})
		}
		all.Wait()
		if most := int64(turnMost/slowDown) + 1; tried.Load() > most || tried.Load()+waited.Load() != many {
			t.Errorf("%d were tried and %d told to wait; want at most %d of %d tried", tried.Load(), waited.Load(), most, many)
		}
	})
}

// Of who does not know the password no body is read.
func TestPasswordBeforeTheBody(t *testing.T) {
	g := newGuard(here, nil, "ten green pots", time.Now)
	for name, change := range map[string]func(*http.Request){
		"none":         func(*http.Request) {},
		"another name": func(r *http.Request) { r.Host = "evil.example"; r.SetBasicAuth("any", "ten green pots") },
	} {
		read := false
		ask(g, func(r *http.Request) {
			change(r)
			r.Body = io.NopCloser(reader(func([]byte) (int, error) { read = true; return 0, io.EOF }))
		})
		if read {
			t.Errorf("%s: its body was read", name)
		}
	}
}

type reader func([]byte) (int, error)

func (r reader) Read(p []byte) (int, error) { return r(p) }

// An address that others can reach is refused without a password.
func TestNoOpenBench(t *testing.T) {
	l, err := net.Listen("tcp", "0.0.0.0:0")
	if err != nil {
		t.Fatal(err)
	}
	if err := Serve(t.Context(), l, Options{}); err != ErrOpen {
		t.Errorf("serving %s without a password: %v, want %v", l.Addr(), err, ErrOpen)
	}
}

// A password that is guessed in an hour is none, wherever the page is served: by its characters, not its bytes.
func TestShortPassword(t *testing.T) {
	over, end := context.WithCancel(t.Context())
	end() // what is served is so for no time
	for password, want := range map[string]error{"short": ErrShort, "äöüäöüä": ErrShort, "eight to": nil, "": nil} {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		if err := Serve(over, l, Options{Desk: &table{}, Password: password, Now: time.Now}); err != want {
			t.Errorf("with the password %q: %v, want %v", password, err, want)
		}
	}
}
