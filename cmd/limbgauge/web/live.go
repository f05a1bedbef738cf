package web

import (
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/http"
	"time"

	"limbgauge/analyze/report"
)

// breath is how often a stream says something even when nothing happens, so that a connection that is
// gone is noticed.
const breath = 5 * time.Second

// writeAtMost is how long a page may take to receive its news before it counts as gone.
const writeAtMost = 5 * time.Second

// backAfter is how soon a page that lost its stream tries again.
const backAfter = time.Second

// live streams news to a page until it is closed. When the page that armed the stand ends its stream,
// motion ends.
func (s *server) live(w http.ResponseWriter, r *http.Request) {
	id := r.URL.Query().Get("page")
	if len(id) < 16 || len(id) > 64 {
		http.Error(w, "The stream needs a page's own mark.", http.StatusBadRequest)
		return
	}
	p := s.hub.join(id, browserOf(r))
	if p == nil { // and a browser does not ask again
		w.WriteHeader(http.StatusNoContent)
		return
	}
	defer s.motion.left(id)
	defer s.hub.leave(p)
	w.Header().Set("Content-Type", "text/event-stream; charset=utf-8")
	out := http.NewResponseController(w)
	send := func(format string, args ...any) error {
		if err := out.SetWriteDeadline(s.now().Add(writeAtMost)); err != nil && !errors.Is(err, http.ErrNotSupported) {
			return err
		}
		if _, err := fmt.Fprintf(w, format, args...); err != nil {
			return err
		}
		return out.Flush()
	}
	told := map[string]int{} // the newest of each kind
	tell := func(n news) error {
		if n.count < told[n.kind] { // it was kept, and a newer one came first
			return nil
		}
		told[n.kind] = n.count
		return send("event: %s\ndata: %s\n\n", n.kind, n.data)
	}
	if err := send("retry: %d\n\n", backAfter.Milliseconds()); err != nil {
		return
	}
	beat := time.NewTicker(breath)
	defer beat.Stop()
	for {
		var err error
		for _, n := range s.hub.takeKept(p) {
			err = errors.Join(err, tell(n))
		}
		select {
		case n := <-p.news:
			err = errors.Join(err, tell(n))
		case <-beat.C:
			err = send(": still here\n\n")
		case <-r.Context().Done():
			return
		case <-s.closed.Done():
			return
		}
		if err != nil {
			return
		}
	}
}

// browserOf tells browsers apart as far as that matters for join.
func browserOf(r *http.Request) string {
	host, _, _ := net.SplitHostPort(r.RemoteAddr) // "" for an address of another kind
	return host + " " + r.UserAgent()
}

// deed is something a page may ask to be done.
type deed func(r *http.Request, page string) error

// deeds are what pages may ask for. They answer with nothing, or with an error in words.
func (s *server) deeds() map[string]deed {
	return map[string]deed{
		"/arm": func(r *http.Request, page string) error {
			ask, err := readSweep(r.PostFormValue("sweep"))
			if err != nil {
				return err
			}
			return s.motion.arm(r.Context(), page, ask)
		},
		"/start": func(_ *http.Request, page string) error { return s.motion.start(page) },
		"/stop":  func(*http.Request, string) error { s.motion.stop(errStopped); return nil },
		"/alive": func(_ *http.Request, page string) error { s.motion.alive(page); return nil },
		"/gone":  func(_ *http.Request, page string) error { s.motion.gone(page); return nil },
	}
}

func (s *server) deed(do deed) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if err := do(r, r.PostFormValue("page")); err != nil {
			w.Header().Set("Content-Type", "application/json")
			w.WriteHeader(http.StatusConflict)
			_ = json.NewEncoder(w).Encode(map[string]string{"error": report.Sentence(err.Error()), "hint": report.Sentence(s.desk.Hint(err))}) // the page is gone then
			return
		}
		w.WriteHeader(http.StatusNoContent)
	}
}
