package web

import (
	"bytes"
	"context"
	"errors"
	"html/template"
	"net/http"
	"strconv"
	"strings"

	"limbgauge/analyze/book"
	"limbgauge/analyze/health"
	"limbgauge/analyze/report"
)

// view is one page: where it is, what the way there says, and what it shows.
type view struct {
	path, page, name, title string
	shows                   func(ctx context.Context, r *http.Request) (any, error)
	script                  string // of its own
}

// table lists the pages in the order of the way there; one without a name is reached from another.
func (s *server) table() []view {
	return []view{
		{"/{$}", "bench", "Bench", "Bench", s.bench, ""},
		{"/runs", "runs", "Runs", "Runs", s.runs, ""},
		{"/runs/{run}", "run", "", "Run", s.run, "plot.js"},
		{"/lost", "lost", "Lost motion", "Where motion is lost", s.lost, ""},
		{"/trend", "trend", "Trend", "Trend", s.trend, "plot.js"},
		{"/compare", "compare", "Compare", "Compare", s.compare, ""},
		{"/revisions", "revisions", "Revisions", "Revisions", s.revisions, ""},
		{"/problems", "problems", "Problems", "Problems", s.problems, ""},
	}
}

// frame is what every page has around what it shows.
type frame struct {
	Title, Leg, Token, Script string
	Way                       []step
	Style                     template.CSS // of its own
	Shapes                    template.HTML
	Body                      any
}

// step is one word of the way to the pages.
type step struct {
	Path, Name string
	Here       string // of aria-current: "page", or "true" where the page is reached from it
}

// titled is shown by a page whose title says more than its name, styled by one with a style of its own.
type (
	titled interface{ title() string }
	styled interface{ style() template.CSS }
)

// notThere says that what a page was asked for does not exist, and where the way goes on.
type notThere struct {
	what string
	on   step
}

func (e notThere) Error() string { return e.what }

func (s *server) show(v view) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		f := frame{Title: v.title, Token: s.guard.token, Script: v.script}
		code := http.StatusOK
		for _, o := range s.table() {
			if o.name != "" {
				path := strings.TrimSuffix(o.path, "{$}")
				here := ""
				if o.path == v.path {
					here = "page"
				} else if v.name == "" && strings.HasPrefix(v.path, o.path+"/") {
					here = "true"
				}
				f.Way = append(f.Way, step{path, o.name, here})
			}
		}
		if b, err := s.desk.Bench(); err == nil {
			f.Leg = b.Leg.Name
		}
		page := v.page
		var err error
		if f.Shapes, err = report.Shapes(); err == nil {
			f.Body, err = v.shows(r.Context(), r)
		}
		if t, ok := f.Body.(titled); ok && err == nil {
			f.Title = t.title()
		}
		if t, ok := f.Body.(styled); ok && err == nil {
			f.Style = t.style()
			w.Header().Set("Content-Security-Policy", policy(f.Style))
		}
		if err != nil {
			code, page = http.StatusInternalServerError, "trouble"
			t := trouble{Text: report.Sentence(err.Error()), Hint: report.Sentence(s.desk.Hint(err))}
			if none := (notThere{}); errors.As(err, &none) {
				code, t.On = http.StatusNotFound, none.on
			}
			f.Title, f.Body, f.Script = "Trouble", t, ""
		}
		var out bytes.Buffer
		if err := s.pages.ExecuteTemplate(&out, page+".html", f); err != nil {
			http.Error(w, "The page could not be made: "+err.Error(), http.StatusInternalServerError)
			return
		}
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.WriteHeader(code)
		_, _ = w.Write(out.Bytes()) // the reader is gone then
	}
}

// came is what came of a revision, in one way.
type came struct {
	Sign     report.Sign
	Problems []book.Problem
}

// trouble is what is said in place of a page.
type trouble struct {
	Text, Hint string
	On         step // where to go from here; without a name nowhere
}

// unknown answers an address that no page has.
func (s *server) unknown(_ context.Context, r *http.Request) (any, error) {
	return nil, notThere{"there is no page " + strings.ToValidUTF8(r.URL.Path, "?"), step{Path: "/", Name: "Bench"}}
}

// words are the functions of the templates.
func (s *server) words() template.FuncMap {
	return template.FuncMap{
		"verdict":  report.VerdictSign,
		"severity": report.SeveritySign,
		"tones":    func() []health.Path { return []health.Path{health.Servo, health.Transmission, health.Total} },
		"sentence": report.Sentence,
		"legend":   legend,
		"state":    func(s book.State) report.Sign { return report.StateSign(string(s)) },
		"cause":    report.CauseTitle,
		"came": func(state book.State, word string, list []book.Problem) came {
			return came{report.Sign{Shape: report.StateSign(string(state)).Shape, Word: word}, list}
		},
		"day":    func(t interface{ Format(string) string }) string { return t.Format("2 Jan 2006 15:04") },
		"plural": plural,
	}
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + many
}

// withBook runs f with the catalogue open.
func withBook[T any](ctx context.Context, s *server, f func(*book.Book) (T, error)) (out T, err error) {
	b, err := s.desk.Book(ctx)
	if err != nil {
		return out, err
	}
	defer b.Close()
	return f(b)
}
