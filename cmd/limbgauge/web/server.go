package web

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"net"
	"net/http"
	"time"
	"unicode/utf8"

	"limbgauge/analyze/report"
)

//go:embed look pages
var files embed.FS

// Options say how the page is served.
type Options struct {
	Desk Desk
	// Hosts are names the server is known by beside the loopback ones and its own address.
	Hosts []string
	// Password is asked for before anything is shown; empty: none, which is for loopback only.
	Password string
	Now      func() time.Time
	// Ready is called once the page can be opened; nil for nothing.
	Ready func(at net.Addr)
}

// bodyAtMost bounds what a page may send: a form.
const bodyAtMost = 1 << 16

// server answers the pages.
type server struct {
	desk   Desk
	guard  guard
	hub    *hub
	motion *motion
	pages  *template.Template
	now    func() time.Time
	closed context.Context
}

// PasswordLeast is how many characters a password has at least (NIST SP 800-63B, 5.1.1.1; from memory).
const PasswordLeast = 8

var (
	// ErrOpen says that a page without a password was to be served to others than this computer.
	ErrOpen = errors.New("an address that others can reach needs a password")
	// ErrShort says that a password is too short to be one.
	ErrShort = fmt.Errorf("the password has fewer than %d characters", PasswordLeast)
)

// Serve answers at a listener, which it closes, until the context ends. Motion is stopped before it
// returns, and what was recorded is kept.
func Serve(ctx context.Context, l net.Listener, o Options) error {
	defer l.Close()
	if o.Password == "" && !loopback(l.Addr()) {
		return ErrOpen
	}
	if n := utf8.RuneCountInString(o.Password); 0 < n && n < PasswordLeast {
		return ErrShort
	}
	closing, end := context.WithCancel(context.WithoutCancel(ctx))
	defer end()
	s, err := newServer(closing, l.Addr(), o)
	if err != nil {
		return err
	}
	srv := &http.Server{Handler: s.handler(), ReadHeaderTimeout: 10 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 1 << 16}
	failed := make(chan error, 1)
	go func() { failed <- srv.Serve(l) }()
	if o.Ready != nil {
		o.Ready(l.Addr())
	}
	select {
	case err = <-failed:
	case <-ctx.Done():
	}
	s.motion.wind() // motion first
	end()           // the streams end themselves
	out, cancel := context.WithTimeout(context.WithoutCancel(ctx), 2*time.Second)
	defer cancel()
	if e := srv.Shutdown(out); e != nil {
		srv.Close() // a request that does not end is cut
	}
	if err != nil && !errors.Is(err, http.ErrServerClosed) {
		return fmt.Errorf("serve the page: %w", err)
	}
	return nil
}

func loopback(a net.Addr) bool {
	t, ok := a.(*net.TCPAddr)
	return ok && t.IP.IsLoopback()
}

func newServer(ctx context.Context, at net.Addr, o Options) (*server, error) {
	h := newHub()
	s := &server{desk: o.Desk, guard: newGuard(at, o.Hosts, o.Password, o.Now), hub: h, motion: newMotion(ctx, o.Desk, h, o.Now), now: o.Now, closed: ctx}
	t, err := template.New("").Funcs(s.words()).ParseFS(files, "pages/*.html")
	if err != nil {
		return nil, fmt.Errorf("parse the pages: %w", err)
	}
	s.pages = t
	return s, nil
}

func (s *server) handler() http.Handler {
	mux := http.NewServeMux()
	look, err := fs.Sub(files, "look")
	if err != nil {
		panic("web: no look: " + err.Error()) // it is embedded
	}
	static := http.FileServerFS(look)
	mux.Handle("GET /look/", http.StripPrefix("/look/", lasting(static)))
	mux.Handle("GET /look/report.css", lasting(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/css; charset=utf-8")
		fmt.Fprint(w, report.CSS())
	})))
	for _, p := range s.table() {
		mux.HandleFunc("GET "+p.path, s.show(p))
	}
	mux.HandleFunc("GET /", s.show(view{page: "trouble", shows: s.unknown}))
	mux.Handle("GET /favicon.ico", lasting(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { // asked for unasked
		w.Header().Set("Content-Type", "image/svg+xml")
		http.ServeFileFS(w, r, look, "icon.svg")
	})))
	mux.HandleFunc("GET /runs/{run}/{file}", s.file)
	mux.HandleFunc("GET /live", s.live)
	for path, do := range s.deeds() {
		mux.HandleFunc("POST "+path, s.deed(do))
		mux.HandleFunc("GET "+path, func(w http.ResponseWriter, _ *http.Request) { // no page, though what is unknown has one
			w.Header().Set("Allow", http.MethodPost)
			http.Error(w, "This is asked for by a page's own buttons only.", http.StatusMethodNotAllowed)
		})
	}
	return http.MaxBytesHandler(s.guard.wrap(mux), bodyAtMost) // the guard reads bodies too
}

// lasting lets a browser keep a file until the program is another one.
func lasting(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Cache-Control", "max-age=60")
		next.ServeHTTP(w, r)
	})
}
