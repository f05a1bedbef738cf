package web

import (
	"context"
	"html/template"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"limbgauge/analyze/book"
	"limbgauge/analyze/health"
	"limbgauge/analyze/report"
	"limbgauge/rig"
)

// runsView is the list of runs, newest first.
type runsView struct {
	Runs                        []runLine
	Joint, Revision, Verdict    string // asked for; empty: all
	Joints, Revisions, Verdicts []string
	All, Shown                  int
	Newest                      string // the verdict of the newest run of all
	First                       string // joint of the bench, for whoever has no run yet
	Page, Pages                 int
	Newer, Older                string // queries of the neighbouring pages
}

// Heading says how many runs there are and what came of the newest, or how many are what was asked for.
func (v runsView) Heading() string {
	switch {
	case v.All == 0:
		return "No run yet"
	case v.All != v.Shown:
		return plural(v.All, "run", "runs") + ", " + strconv.Itoa(v.Shown) + " of them asked for"
	}
	return plural(v.All, "run", "runs") + ", the newest: " + v.Newest
}

func (v runsView) title() string {
	title := "Runs"
	for _, w := range []struct{ before, word string }{{" of ", v.Joint}, {", revision ", v.Revision}, {", ", v.Verdict}} {
		if w.word != "" {
			title += w.before + w.word
		}
	}
	if v.Pages > 1 {
		title += ", sheet " + strconv.Itoa(v.Page) + " of " + strconv.Itoa(v.Pages)
	}
	return title
}

type runLine struct {
	ID, Revision, Routine, Ended, Says string
	Started                            time.Time
	Joints                             []string
	Sign                               report.Sign
}

// perPage is how many runs a page lists.
const perPage = 50

func (s *server) runs(ctx context.Context, r *http.Request) (any, error) {
	q := r.URL.Query()
	v := runsView{Joint: q.Get("joint"), Revision: q.Get("revision"), Verdict: q.Get("verdict")}
	list, err := withBook(ctx, s, func(b *book.Book) ([]book.Told, error) { return b.Told(ctx) })
	if err != nil {
		return nil, err
	}
	var kept []runLine
	for _, t := range slices.Backward(list) {
		l := lineOf(t)
		if v.All++; v.All == 1 {
			v.Newest = l.Sign.Word
		}
		for _, j := range l.Joints {
			v.Joints = put(v.Joints, j)
		}
		v.Revisions, v.Verdicts = put(v.Revisions, l.Revision), put(v.Verdicts, l.Sign.Word)
		if (v.Joint == "" || slices.Contains(l.Joints, v.Joint)) && (v.Revision == "" || l.Revision == v.Revision) && (v.Verdict == "" || l.Sign.Word == v.Verdict) {
			kept = append(kept, l)
		}
	}
	if bench, err := s.desk.Bench(); err == nil && len(bench.Joints) > 0 {
		v.First = bench.Joints[0].Name
	}
	slices.Sort(v.Joints)
	slices.Sort(v.Verdicts)
	v.Shown = len(kept)
	v.Pages = max(1, (len(kept)+perPage-1)/perPage)
	v.Page = min(max(1, whole(q.Get("page"))), v.Pages)
	v.Runs = kept[min(len(kept), (v.Page-1)*perPage):min(len(kept), v.Page*perPage)]
	if v.Page > 1 {
		v.Newer = query(r, "page", v.Page-1)
	}
	if v.Page < v.Pages {
		v.Older = query(r, "page", v.Page+1)
	}
	return v, nil
}

func lineOf(t book.Told) runLine {
	l := runLine{ID: t.Run.ID, Revision: t.Run.Revision, Routine: t.Run.Routine, Ended: t.Run.Ended, Started: t.Run.Started}
	if t.Run.Bare {
		l.Routine += ", bare servo"
	}
	l.Joints = t.Run.Joints()
	if !t.Run.Judged {
		l.Sign, l.Says = report.VerdictSign(health.NoVerdict), "Recorded, not judged."
		l.Sign.Word = "not judged"
		if t.Run.Routine == rig.GaitName {
			l.Says = "The way of a gait, which is not judged: the check sweeps of its endurance test are."
		}
		return l
	}
	l.Sign, l.Says = report.Headline(&report.Document{Health: health.Health{Joints: t.Joints}, Run: report.Run{CutShort: !t.Run.Whole, Ended: t.Run.Ended}})
	return l
}

func whole(s string) int {
	n, err := strconv.Atoi(s)
	if err != nil {
		return 1
	}
	return n
}

// query returns the query of a request with one value changed.
func query(r *http.Request, key string, v int) string {
	q := r.URL.Query()
	q.Set(key, strconv.Itoa(v))
	return "?" + q.Encode()
}

func put(list []string, word string) []string {
	if word == "" || slices.Contains(list, word) {
		return list
	}
	return append(list, word)
}

// runView is one run: its report, and what there is to download.
type runView struct {
	ID     string
	Says   string
	Record any
	heads  template.CSS // on paper
	Files  []string
}

func (v runView) style() template.CSS { return v.heads }

func (v runView) title() string { return "Run " + v.ID + ": " + strings.TrimSuffix(v.Says, ".") }

// given are the files of a run's folder that a page hands out.
var given = []string{"report.html", "samples.parquet", "run.json", "health.json"}

func (s *server) run(ctx context.Context, r *http.Request) (any, error) {
	id := r.PathValue("run")
	if _, err := s.desk.RunDir(id); err != nil {
		return nil, notThere{"there is no run " + strings.ToValidUTF8(id, "?") + " on this bench", step{Path: "/runs", Name: "All runs"}}
	}
	d, err := s.desk.Report(ctx, id)
	if err != nil {
		return nil, err
	}
	_, says := report.Headline(d)
	v := runView{ID: id, Says: says, heads: report.Margins(d), Files: given}
	v.Record, err = report.Record(d)
	return v, err
}

// file hands out one file of a run. The report is made anew, the others are those of its folder.
func (s *server) file(w http.ResponseWriter, r *http.Request) {
	id, name := r.PathValue("run"), r.PathValue("file")
	w.Header().Set("Content-Disposition", `attachment; filename="`+strings.Map(plain, id)+"-"+strings.Map(plain, name)+`"`)
	if name == "report.html" {
		d, err := s.desk.Report(r.Context(), id)
		if err == nil {
			w.Header().Set("Content-Type", "text/html; charset=utf-8")
			err = report.HTML(w, d)
		}
		if err != nil {
			http.Error(w, report.Sentence(err.Error()), http.StatusNotFound)
		}
		return
	}
	dir, err := s.desk.RunDir(id)
	if err != nil || !slices.Contains(given, name) {
		http.Error(w, "There is no such file.", http.StatusNotFound)
		return
	}
	f, err := os.Open(filepath.Join(dir, name))
	if err != nil {
		http.Error(w, "There is no such file.", http.StatusNotFound)
		return
	}
	defer f.Close()
	http.ServeContent(w, r, name, time.Time{}, f)
}

// plain keeps of a name what may stand in a header.
func plain(r rune) rune {
	if r > ' ' && r < 0x7f && r != '"' && r != '\\' && r != '/' {
		return r
	}
	return '_'
}
