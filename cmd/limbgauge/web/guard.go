package web

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"encoding/hex"
	"html/template"
	"net"
	"net/http"
	"strings"
	"time"
)

// guard decides which requests are answered at all. Any page of the web may send requests to this
// computer, so that a request comes from here says nothing.
type guard struct {
	hosts    []string // values of the Host header that are ours
	token    string   // what only our own pages know
	password string   // empty: none is asked for, which only loopback may have
	now      func() time.Time
	trying   chan struct{} // holds one: passwords are tried one after the other
}

// newGuard makes the guard of a server that listens at an address. Hosts are further names the
// server is known by.
func newGuard(at net.Addr, hosts []string, password string, now func() time.Time) guard {
	secret := make([]byte, 32)
	rand.Read(secret) // it never fails
	g := guard{token: hex.EncodeToString(secret), password: password, now: now, trying: make(chan struct{}, 1)}
	host, port, _ := net.SplitHostPort(at.String()) // an address of a listener always splits
	names := append([]string{"localhost", "127.0.0.1", "::1"}, hosts...)
	if ip := net.ParseIP(host); ip != nil && !ip.IsUnspecified() {
		names = append(names, host)
	}
	for _, n := range names {
		g.hosts = append(g.hosts, net.JoinHostPort(n, port))
		if port == "80" {
			g.hosts = append(g.hosts, n)
		}
	}
	return g
}

// tokenHeader carries the token of a request made by script; forms carry it in tokenField.
const (
	tokenHeader = "X-Limbgauge-Token"
	tokenField  = "token"
)

const (
	// slowDown is how long a wrong password takes, so that guessing does. Meanwhile no other is looked at,
	// so that guessing many at once is no quicker.
	slowDown = 500 * time.Millisecond
	// turnMost is how long a request waits for others to be tried.
	turnMost = 5 * time.Second
	// bodyWithin is how long a request's body may take to come.
	bodyWithin = 5 * time.Second
)

// wrap answers only what may be answered, and tells the browser what a page of ours may do.
func (g guard) wrap(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy(""))
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		// What is sent with a request has to come soon. The deadline is that of this one body: a server's own
		// would also end the streams and whatever takes long to answer.
		in := http.NewResponseController(w)
		soon := func() {
			if r.ContentLength != 0 {
				_ = in.SetReadDeadline(g.now().Add(bodyWithin)) // only what is no connection has none
			}
		}
		soon()
		// Host, password, then the rest: who does not know the password has no more read of him than headers.
		if why := g.named(r); why != "" {
			http.Error(w, why, http.StatusForbidden)
			return
		}
		switch g.admits(r) {
		case http.StatusUnauthorized:
			h.Set("WWW-Authenticate", `Basic realm="limbgauge", charset="UTF-8"`)
			http.Error(w, "This bench asks for its password; the user name may be anything.", http.StatusUnauthorized)
			return
		case http.StatusServiceUnavailable:
			h.Set("Retry-After", "5")
			http.Error(w, "Somebody is trying wrong passwords at this bench, so it answers slowly.", http.StatusServiceUnavailable)
			return
		}
		soon() // it may have waited for its turn
		if why := g.refuses(r); why != "" {
			http.Error(w, why, http.StatusForbidden)
			return
		}
		if len(r.PostForm) > 0 { // it has come
			_ = in.SetReadDeadline(time.Time{})
		}
		next.ServeHTTP(w, r)
	})
}

// named says why a request is not for us, "" when it is.
func (g guard) named(r *http.Request) string {
	ours := false
	for _, h := range g.hosts {
		ours = ours || strings.EqualFold(r.Host, h)
	}
	if !ours {
		return "This bench is not known by the name " + strings.ToValidUTF8(r.Host, "?") + "; open the address that limbgauge serve printed, or name it with --host."
	}
	return ""
}

// refuses says why a request does not come from a page of ours, "" when it does.
func (g guard) refuses(r *http.Request) string {
	site := r.Header.Get("Sec-Fetch-Site")
	if r.Method == http.MethodGet || r.Method == http.MethodHead {
		// Another site may lead here with a link; it may not take pages apart or take the place of one that watches.
		if (site == "cross-site" || site == "same-site") && r.Header.Get("Sec-Fetch-Mode") != "navigate" {
			return "Only a page of this bench may ask for this."
		}
		return ""
	}
	if site != "" && site != "same-origin" {
		return "Only a page of this bench may change anything."
	}
	if origin := r.Header.Get("Origin"); !strings.EqualFold(origin, "http://"+r.Host) {
		return "Only a page of this bench may change anything."
	}
	if err := r.ParseForm(); err != nil {
		return "What was sent with this did not come whole; try it again."
	}
	given := r.Header.Get(tokenHeader)
	if given == "" {
		given = r.PostForm.Get(tokenField)
	}
	if !same(given, g.token) {
		return "This page is of an earlier start of limbgauge serve; load it again."
	}
	return ""
}

// admits returns 200 for the right password, 401 for none or a wrong one, and 503 where so many are
// being tried that its turn did not come.
func (g guard) admits(r *http.Request) int {
	_, password, given := r.BasicAuth()
	if g.password == "" {
		return http.StatusOK
	}
	if !given { // nothing is tried: a browser asks so first
		return http.StatusUnauthorized
	}
	// A page of ours that was opened with the password waits for nobody: it may want to stop a joint. Who does
	// not have its mark cannot guess the password by it.
	if same(r.Header.Get(tokenHeader), g.token) && same(password, g.password) {
		return http.StatusOK
	}
	turn := time.NewTimer(turnMost)
	defer turn.Stop()
	select {
	case g.trying <- struct{}{}:
	case <-turn.C:
		return http.StatusServiceUnavailable
	case <-r.Context().Done():
		return http.StatusServiceUnavailable
	}
	defer func() { <-g.trying }()
	if same(password, g.password) {
		return http.StatusOK
	}
	time.Sleep(slowDown) // also for who has hung up: else that would be the way to guess quickly
	return http.StatusUnauthorized
}

// same compares without telling by its time where two texts differ.
func same(a, b string) bool {
	x, y := sha256.Sum256([]byte(a)), sha256.Sum256([]byte(b))
	return subtle.ConstantTimeCompare(x[:], y[:]) == 1
}

// policy is what a page may load: scripts and styles that are files of ours, and the one inline style
// that is given, known by its hash. Nothing inline runs, nothing outside is asked.
func policy(style template.CSS) string {
	own := ""
	if style != "" {
		sum := sha256.Sum256([]byte(style))
		own = " 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
	}
	return "default-src 'none'; script-src 'self'; style-src 'self'" + own + "; img-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
}
